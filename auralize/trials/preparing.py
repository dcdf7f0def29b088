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
from auralize.figures.against import difference
from auralize.figures.against_text import matched_words
from auralize.files import make_folder
from auralize.gains import LOUDNESS, DropsWay, End, Match
from auralize.rig.reading import Rig
from auralize.trials.checking import Check, cut_off
from auralize.trials.compared import Recognised, check_programme, check_same, compared, pair_of
from auralize.trials.plan import Plan, question_words
from auralize.trials.rows import new_row, next_plan
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

    def slot_heard(self) -> float:
        """s of sound of the one asked for last that have left through the device since then."""


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
    listeners: str = "1"
    """How many listen one after another."""


@dataclass(frozen=True)
class Preparation:
    """Begins trials on what is open, or goes on with a session that was cut off.

    All that begin raise AuralizeError where that cannot be, and then nothing was begun.
    """

    rig: Rig
    programme: Recognised
    folder: Path
    """Where the logs of sessions are."""
    player: SlotPlayer

    def cut_off(self) -> Check | None:
        """The last session that was cut off, on this programme if there is one; its plan is sound."""
        found = [one for one in cut_off(self.folder) if one.plan is not None]
        with suppress(AuralizeError):
            now = self.programme.fingerprint()
            same = [one for one in found if one.plan and one.plan.programme_sha256 == now]
            found = same or found
        return found[-1] if found else None

    def practise(self, wish: Wish) -> Practice:
        """Trials that do not count."""
        pair = _pair(wish)
        self._load(pair)
        names = [heard.words for heard in pair]
        return Practice(wish.protocol, question_words(names, EQUALLY_LOUD, self.programme.name))

    def begin(self, wish: Wish) -> Session:
        """A session that counts; the first line of its log is on the disk."""
        pair = _pair(wish)
        gains = self._load(pair)
        plan = self._plan(wish, pair, gains)
        return self._start(plan)

    def follow(self, before: Plan, listener: str) -> Session:
        """The session of the next listener of a row: the same question, in an order of its own."""
        plan = next_plan(before, _named(listener), self.folder)
        self._check(before)
        return self._start(plan)

    def resume(self, check: Check) -> Session:
        """Go on where a session was cut off, if what is heard is the same as it was."""
        assert check.plan is not None  # see `cut_off`
        self._check(check.plan)
        return Session.resume(check.path)

    def _start(self, plan: Plan) -> Session:
        make_folder(self.folder)
        place = f"-{plan.row.place}" if plan.row else ""
        name = f"trial-{datetime.now():%Y%m%d-%H%M%S}{place}.jsonl"
        return Session.start(plan, self.folder / name)

    def _check(self, plan: Plan) -> None:
        """Load what a plan compares, as it was when it was made."""
        check_programme(plan, self.programme)
        check_same(plan, self.rig, self._load(pair_of(plan, self.rig)))

    def sound(self, slot: int) -> None:
        """Let one of the two be heard, by its number."""
        self.player.hear_slot(slot)
        self.player.play()

    def heard(self) -> float:
        """s for which what `sound` was asked for last has been heard."""
        return self.player.slot_heard()

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
        return Plan(
            wish.protocol,
            _number(wish.trials),
            (first, second),
            EQUALLY_LOUD,
            self.programme.name,
            self.programme.fingerprint(),
            _named(wish.listener),
            self._difference(pair),
            new_row(_number(wish.listeners)),
        )

    def _difference(self, pair: Sequence[End]) -> str:
        first, second = (self.rig.choices[heard.choice] for heard in pair)
        return matched_words(difference(second, first, pair[0].signal, pair[0].across))


def _number(typed: str) -> int:
    """A number as it was typed; 0, which is refused where it belongs, for anything else."""
    return int(typed) if typed.isdecimal() and typed.isascii() else 0


def _named(listener: str) -> str:
    if not listener.strip():
        raise RequestError("who listens? type a name or a pseudonym")
    return listener.strip()


def _pair(wish: Wish) -> list[End]:
    first, second = wish.choices
    if first == second:
        raise RequestError("both choices are the same; pick two")
    return [End(wish.signal, choice, wish.across).plain for choice in (first, second)]
