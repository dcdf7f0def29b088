"""Blind trials: what is fixed before the first one, and the order that follows from a seed.

- Order: block c = SHA-256 of the seed followed by c as 8 bytes, big-endian, c = 0, 1, 2, ... The bytes of
  all blocks in a row are one stream. A trial has m equally likely arrangements; it takes bytes until one
  is under the largest multiple of m that is not above 256, and its draw is that byte modulo m.
- Matched to sample (m = 2): the references are the first and the second choice, the unknown is
  choice 0 or 1 as drawn, the right answer is the draw. Triangle (m = 6): the odd presentation is draw
  div 2 (counted from 0), the choice heard twice is draw mod 2, the right answer is the odd presentation.

Draws are independent and not balanced. The exact binomial tail supposes that, and in a balanced order
whoever counts would know the last trials better than by chance.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from auralize.errors import AuralizeError
from auralize.trials.statistics import MOST_TRIALS, Protocol, Result, check_protocol, evaluate

FORMAT: Final = "auralize listening session 1"


SEED_BYTES: Final = 32
MOST_LISTENERS: Final = 1000
ROW_DIGITS: Final = 16


LONGEST_TEXT: Final = 500  # characters in a name


ARRANGEMENTS: Final[dict[Protocol, int]] = {"matched-to-sample": 2, "triangle": 6}
"""Equally likely arrangements of a trial."""


PRESENTATIONS: Final[dict[Protocol, tuple[str, ...]]] = {
    "matched-to-sample": ("the first", "the second", "the unknown"),
    "triangle": ("1", "2", "3"),
}
"""What can be listened to in a trial, as often as wanted."""


ANSWERS: Final[dict[Protocol, tuple[str, ...]]] = {
    "matched-to-sample": ("the unknown is the first", "the unknown is the second"),
    "triangle": ("1 is the odd one", "2 is the odd one", "3 is the odd one"),
}


class TrialError(AuralizeError, ValueError):
    """A session cannot be held, or its log cannot be used, as asked."""


@dataclass(frozen=True)
class Compared:
    """One of the two that are compared, as it is heard."""

    name: str
    gain_db: float
    built: str
    """The cables and lays of its run, in words."""
    rig_sha256: str
    """Of all that the rig file says of it (JSON with sorted keys)."""


@dataclass(frozen=True)
class Row:
    """Listeners who take their turns on one machine, as many as were fixed before the first.

    Raises TrialError where this session has no place in it.
    """

    name: str
    """The same for all of its sessions: 16 hexadecimal digits, drawn anew for each row."""
    place: int
    """From 1."""
    listeners: int

    def __post_init__(self) -> None:
        if type(self.listeners) is not int or not 2 <= self.listeners <= MOST_LISTENERS:
            raise TrialError(
                f"listeners in a row: from 1 (alone) to {MOST_LISTENERS} are expected, not {self.listeners!r}"
            )
        if type(self.place) is not int or not 1 <= self.place <= self.listeners:
            raise TrialError(
                f"place in a row: from 1 to {self.listeners} is expected, not {self.place!r}"
            )
        if not is_hex(self.name, ROW_DIGITS):
            raise TrialError(
                f"row: {ROW_DIGITS} hexadecimal digits are expected, not {self.name!r}"
            )

    @property
    def over(self) -> bool:
        """True in the last session."""
        return self.place == self.listeners


@dataclass(frozen=True)
class Plan:
    """All that is fixed before the first trial. Raises TrialError where something is missing."""

    protocol: Protocol
    trials: int
    choices: tuple[Compared, Compared]
    match: str
    """How levels were matched, in the words of the screen."""
    programme: str
    programme_sha256: str
    listener: str
    """A name or a pseudonym."""
    difference: str = ""
    """How small the difference is, in words; told when the session is over."""
    row: Row | None = None
    """None: this listener alone."""

    def __post_init__(self) -> None:
        try:
            check_protocol(self.protocol)
        except ValueError as error:
            raise TrialError(str(error)) from None
        if type(self.trials) is not int or not 1 <= self.trials <= MOST_TRIALS:
            raise TrialError(f"trials: from 1 to {MOST_TRIALS} are expected, not {self.trials!r}")
        if len(self.choices) != 2:
            raise TrialError(f"choices: two are compared, not {len(self.choices)}")
        for what, text in (
            *(
                (f"{what} of the {('first', 'second')[i]} choice", text)
                for i, choice in enumerate(self.choices)
                for what, text in (("name", choice.name), ("build", choice.built))
            ),
            ("level match", self.match),
            ("programme", self.programme),
            ("listener", self.listener),
            *([("difference", self.difference)] if self.difference else []),
        ):
            check_text(what, text)
        for choice in self.choices:
            if type(choice.gain_db) not in (int, float) or not math.isfinite(choice.gain_db):
                raise TrialError(
                    f"gain of {choice.name}: decibels are expected, not {choice.gain_db!r}"
                )
        for what, digits in (
            ("programme", self.programme_sha256),
            *((f"rig of {choice.name}", choice.rig_sha256) for choice in self.choices),
        ):
            if not is_hex(digits, 64):
                raise TrialError(
                    f"{what}: its SHA-256 is expected as 64 hexadecimal digits, not {digits!r}"
                )

    @property
    def question(self) -> str:
        """What is compared, and on which programme, as it stands on the screen."""
        return question_words([choice.name for choice in self.choices], self.match, self.programme)

    @property
    def who(self) -> str:
        """The listener, and the place in a row."""
        row = self.row
        return self.listener + (f", listener {row.place} of {row.listeners}" if row else "")

    @property
    def comparison(self) -> tuple[object, ...]:
        """What must be equal for two sessions to ask the same question."""
        return (self.protocol, self.choices, self.match, self.programme_sha256)


@dataclass(frozen=True)
class Arrangement:
    """One trial laid open: the choice behind each presentation, and the right answer."""

    plays: tuple[int, int, int]
    right: int


@dataclass(frozen=True)
class Outcome:
    """A finished session laid open."""

    seed: str
    right: tuple[int, ...]
    answers: tuple[int, ...]
    correct: int
    result: Result


def order(seed: bytes, protocol: Protocol, trials: int) -> tuple[Arrangement, ...]:
    """The arrangements of a session, by the rule at the head of this module."""
    ways = ARRANGEMENTS[protocol]
    stream = _stream(seed)
    fair = 256 - 256 % ways
    draws = (byte % ways for byte in stream if byte < fair)
    return tuple(arrange(protocol, next(draws)) for _ in range(trials))


def commitment(seed: bytes, facts: bytes) -> str:
    """SHA-256 of seed and facts, in hexadecimal."""
    return hashlib.sha256(seed + facts).hexdigest()


def _stream(seed: bytes) -> Iterator[int]:
    counter = 0
    while True:
        yield from hashlib.sha256(seed + counter.to_bytes(8, "big")).digest()
        counter += 1


def arrange(protocol: Protocol, draw: int) -> Arrangement:
    """The arrangement of a draw, from 0 to one less than there are arrangements."""
    if protocol == "matched-to-sample":
        return Arrangement((0, 1, draw), draw)
    odd, twice = divmod(draw, 2)
    first, second, third = (1 - twice if place == odd else twice for place in range(3))
    return Arrangement((first, second, third), odd)


def score(right: Iterable[int], answers: Iterable[int]) -> int:
    """Right answers so far; a session that was given up has fewer answers than trials."""
    return sum(r == a for r, a in zip(right, answers, strict=False))


def outcome_of(plan: Plan, seed: bytes, answers: Iterable[int]) -> Outcome:
    """A session laid open; the answers are as many as its plan has trials."""
    right = tuple(arrangement.right for arrangement in order(seed, plan.protocol, plan.trials))
    given = tuple(answers)
    correct = score(right, given)
    result = evaluate(correct, plan.trials, plan.protocol)
    return Outcome(seed.hex(), right, given, correct, result)


def question_words(names: Sequence[str], match: str, programme: str) -> str:
    """What is compared, and on which programme."""
    return f"{' against '.join(names)}, {match}; {programme}"


def check_text(what: str, text: object) -> None:
    """Raise TrialError unless this is printable text of a bearable length."""
    if not isinstance(text, str) or not text.strip() or not text.isprintable():
        raise TrialError(f"{what}: printable text is expected, not {text!r}")
    if len(text) > LONGEST_TEXT:
        raise TrialError(f"{what}: up to {LONGEST_TEXT} characters are expected, not {len(text)}")


def check_index(what: str, index: object, count: int) -> None:
    """Raise TrialError unless this is a whole number from 0 to count - 1."""
    if type(index) is not int or not 0 <= index < count:
        raise TrialError(f"{what}: a number from 0 to {count - 1} is expected, not {index!r}")


def is_hex(text: object, digits: int) -> bool:
    """Whether this is text of so many hexadecimal digits, in lower case."""
    return isinstance(text, str) and len(text) == digits and set(text) <= set("0123456789abcdef")
