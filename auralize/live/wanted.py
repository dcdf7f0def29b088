"""What was chosen to be heard, and how."""

from __future__ import annotations

from dataclasses import dataclass, replace

from auralize.circuit.signals import ACROSS_WORDS
from auralize.errors import AuralizeError, RequestError
from auralize.gains import INSTALLED, SOURCE, DropsWay, End, Heard, Match, Source
from auralize.live.remembered import START_VOLUME
from auralize.rig.choice import Choice


@dataclass
class Wanted:
    """All that was chosen; it outlives a change of sample rate."""

    choices: dict[str, Choice]
    heard: Heard = SOURCE
    match: Match = INSTALLED
    makeup: float | None = None
    """dB; None: chosen."""
    drops: DropsWay = "one"
    volume: float = START_VOLUME
    """dB"""

    def check(self, heard: Heard) -> None:
        """Raise AuralizeError for an end of a choice there is not, or a drop that cannot be told."""
        if isinstance(heard, Source):
            return
        if heard.choice not in self.choices:
            raise RequestError(
                f"choice {heard.choice!r} was to be heard; right is one of {', '.join(self.choices)}"
            )
        self.choices[heard.choice].check_signal(heard.signal, heard.plain.across)

    def knows(self, heard: Heard) -> bool:
        """Whether this can be heard."""
        try:
            self.check(heard)
        except AuralizeError:
            return False
        return True

    def settle(self) -> str:
        """Where an edit left a drop that cannot be told: the one over both conductors, and why in words."""
        try:
            self.check(self.heard)
        except RequestError as error:
            assert isinstance(self.heard, End)  # the source can always be heard
            self.heard = replace(self.heard, across="both")
            return f" {ACROSS_WORDS['both']}: {error}"
        return ""

    def choice_of(self, heard: Heard) -> Choice | None:
        """The choice of which this is an end; None for the source."""
        return None if isinstance(heard, Source) else self.choices[heard.choice]
