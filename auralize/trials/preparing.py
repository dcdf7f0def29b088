"""Before the first trial: what is asked for becomes a plan, and two signals that are equally loud."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Final, Protocol

from auralize.circuit.signals import Signal
from auralize.circuit.solution import Across
from auralize.errors import AuralizeError, RequestError
from auralize.files import make_folder
from auralize.gains import LOUDNESS, DropsWay, End, Match
from auralize.outputs import sha256_of
from auralize.rig.reading import Rig
from auralize.trials.checking import Check, cut_off
from auralize.trials.compared import check_programme, check_same, compared, pair_of
from auralize.trials.plan import Plan
from auralize.trials.session import Practice, Session
from auralize.trials.statistics import Protocol as TrialProtocol

EQUALLY_LOUD: Final = "made equally loud"
"""How levels are matched in every session, in the words of its plan."""


class Levels(Protocol):
    """What is known of the levels of what is heard."""

    @property
    def editing(self) -> bool:
        """True while an edit is being worked out."""

    @property
    def certainty(self) -> str:
        """measured: nothing about them is a guess."""


class SlotPlayer(Protocol):
    """What plays two signals by their numbers, and shows nothing that could tell which."""

    def status(self) -> Levels:
        """How things are now."""

    def set_match(self, match: Match) -> None:
        """How levels are matched."""

    def set_drops(self, way: DropsWay) -> None:
        """How drops are made up."""

    def set_makeup(self, makeup: float | None) -> None:
        """dB on drops at one gain; None: chosen."""

    def load_slots(self, heard: Sequence[End], *, equal: bool = False) -> list[float]:
        """Make these ready (``equal``: equally loud); the gain of each in dB."""

    def hear_slot(self, number: int) -> None:
        """Fade over to one of them."""

    def play(self) -> None:
        """Go on."""


@dataclass(frozen=True)
class Wish:
    """What a listener asks for; numbers and names as they were typed."""

    protocol: TrialProtocol
    signal: Signal
    choices: tuple[str, str]
    trials: str = ""
    listener: str = ""
    across: Across = "both"
    """Which conductors a drop is over."""


@dataclass(frozen=True)
class Preparation:
    """Begins trials on what is open, or goes on with a session that was cut off.

    All that begin raise AuralizeError where that cannot be, and then nothing was begun.
    """

    rig: Rig
    programme: Path
    folder: Path
    """Where the logs of sessions are."""
    player: SlotPlayer

    def cut_off(self) -> Check | None:
        """The last session that was cut off, on this programme if there is one; its plan is sound."""
        found = [one for one in cut_off(self.folder) if one.plan is not None]
        with suppress(AuralizeError):
            now = sha256_of(self.programme)
            same = [one for one in found if one.plan and one.plan.programme_sha256 == now]
            found = same or found
        return found[-1] if found else None

    def practise(self, wish: Wish) -> Practice:
        """Trials that do not count."""
        self._load(_pair(wish))
        return Practice(wish.protocol)

    def begin(self, wish: Wish) -> Session:
        """A session that counts; the first line of its log is on the disk."""
        pair = _pair(wish)
        gains = self._load(pair)
        plan = self._plan(wish, pair, gains)
        make_folder(self.folder)
        return Session.start(plan, self.folder / f"trial-{datetime.now():%Y%m%d-%H%M%S}.jsonl")

    def resume(self, check: Check) -> Session:
        """Go on where a session was cut off, if what is heard is the same as it was."""
        assert check.plan is not None  # see `cut_off`
        check_programme(check.plan, self.programme)
        check_same(check.plan, self.rig, self._load(pair_of(check.plan, self.rig)))
        return Session.resume(check.path)

    def sound(self, slot: int) -> None:
        """Let one of the two be heard, by its number."""
        self.player.hear_slot(slot)
        self.player.play()

    def _load(self, pair: Sequence[End]) -> list[float]:
        for heard in pair:
            self.rig.choices[heard.choice].check_signal(heard.signal, heard.across)
        self.player.set_match(LOUDNESS)
        self.player.set_drops("one")  # always the same, so that a session finds its gains again
        self.player.set_makeup(None)
        levels = self.player.status()
        if levels.editing:
            raise RequestError("an edit is still being worked out; begin again in a second")
        if levels.certainty != "measured":
            raise RequestError("levels are still being measured; begin again in a few seconds")
        return self.player.load_slots(pair, equal=True)

    def _plan(self, wish: Wish, pair: Sequence[End], gains: Sequence[float]) -> Plan:
        first, second = (
            compared(self.rig, heard, gain) for heard, gain in zip(pair, gains, strict=True)
        )
        listener = wish.listener.strip()
        if not listener:
            raise RequestError("who listens? type a name or a pseudonym")
        return Plan(
            wish.protocol,
            int(wish.trials) if wish.trials.isdecimal() else 0,
            (first, second),
            EQUALLY_LOUD,
            self.programme.name,
            sha256_of(self.programme),
            listener,
        )


def _pair(wish: Wish) -> list[End]:
    first, second = wish.choices
    if first == second:
        raise RequestError("both choices are the same; pick two")
    return [End(wish.signal, choice, wish.across).plain for choice in (first, second)]
