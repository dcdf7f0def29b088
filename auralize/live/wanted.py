"""What was chosen to be heard, and how."""

from __future__ import annotations

from dataclasses import dataclass

from auralize.errors import RequestError
from auralize.gains import INSTALLED, SOURCE, End, Heard, Match, Source
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
    volume: float = START_VOLUME
    """dB"""

    def check(self, heard: Heard) -> None:
        """Raise AuralizeError for an end of a choice there is not."""
        if isinstance(heard, End) and heard.choice not in self.choices:
            raise RequestError(
                f"choice {heard.choice!r} was to be heard; right is one of {', '.join(self.choices)}"
            )

    def choice_of(self, heard: Heard) -> Choice | None:
        """The choice of which this is an end; None for the source."""
        return None if isinstance(heard, Source) else self.choices[heard.choice]
