"""One value of the rig file in several steps."""

from __future__ import annotations

import math
import re
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from auralize.errors import RequestError, RigError
from auralize.rig.choice import Choice
from auralize.rig.place_words import place_words, value_words
from auralize.rig.reading import Rig

MOST_STEPS: Final = 24
"""A slider with more is nowhere left on purpose, and each costs room in the page."""
_RIGHT: Final = (
    'right is a value of the rig file in steps, such as "runs.pond.length = 20 m, 30 m" or '
    '"... = 20 m to 40 m in 5"'
)
NUMBER: Final = r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?"
"""As one is typed."""
_RANGE: Final = re.compile(rf"\s*({NUMBER})\s*(.*?)\s+to\s+({NUMBER})\s*(.*?)\s+in\s+(\d+)\s*")


@dataclass(frozen=True)
class SteppedValue:
    """A place in the rig file, and the values that it takes one after another."""

    place: tuple[str, ...]
    values: tuple[Any, ...]
    """As a rig file has them."""
    shown: tuple[str, ...]
    """The same in words; of a range with four digits, or as many as tell them apart."""

    @property
    def words(self) -> str:
        """What changes: "length of the pond run"."""
        return place_words(self.place)

    @classmethod
    def of(cls, text: str, most: int = MOST_STEPS) -> SteppedValue:
        """From "runs.pond.length = 20 m, 30 m", or "... = 20 m to 40 m in 5"; raises RequestError."""
        key, _, listed = text.partition("=")
        place = asked_place(key)
        written, short = _listed(listed, most)
        values = tuple(map(asked_value, written))
        shown = tuple(short or map(value_words, values))
        if not (place and all(shown) and text.isprintable()):
            raise RequestError(f"steps: {text!r} was found; {_RIGHT}")
        if not 2 <= len(shown) <= most:
            raise RequestError(
                f"steps: {len(shown)} of {key.strip()} were found; right are 2 to {most}"
            )
        if len(set(shown)) < len(shown):
            raise RequestError(f"steps: {text!r} has a value twice; right is each once")
        return cls(place, values, shown)

    def choices(self, rig: Rig, choices: Sequence[Choice]) -> list[list[Choice]]:
        """All of these at every step; raises RigError for a value that the rig file could not have."""
        try:
            found = [
                [rig.changed(choice, {self.place: value}) for choice in choices]
                for value in self.values
            ]
        except RigError as error:  # in the file it would be sought in vain
            raise RigError(f"{error}; it was asked for as a step") from None
        self._check_apart(found)
        return found

    def _check_apart(self, found: Sequence[Sequence[Choice]]) -> None:
        """Refuse steps that make the same of every choice: "20 m" and "20.0 m"."""
        networks = [[choice.network for choice in some] for some in found]
        for at, made in enumerate(networks):
            if made in networks[:at]:
                same = self.shown[networks.index(made)]
                raise RequestError(
                    f"steps: {same} and {self.shown[at]} are the same for these choices; right is each once"
                )


def _listed(text: str, most: int) -> tuple[list[str], list[str]]:
    """The values as they are written; of a range so many, equally far apart, with both ends, and in short."""
    found = _RANGE.fullmatch(text)
    if found is None:
        return [one.strip() for one in text.split(",")], []
    low, high, count = float(found[1]), float(found[3]), min(int(found[5]), most + 1)
    if found[2] != found[4] or not math.isfinite(high - low):
        raise RequestError(
            f"steps: {text.strip()!r} was found; right is one unit for both ends, and an end to both"
        )
    apart = (high - low) / max(count - 1, 1)
    numbers = [low + at * apart for at in range(count)]
    written, *shorter = (
        [f"{float(f'{number:.{digits}g}'):.12g} {found[2]}".rstrip() for number in numbers]
        for digits in (12, *range(4, 12))
    )
    return written, next((some for some in shorter if len(set(some)) == count), written)


def asked_place(key: str) -> tuple[str, ...]:
    """The parts of a dotted key of TOML; none where it is no key."""
    try:
        found: Any = tomllib.loads(f"{key.strip()} = 0")
    except ValueError:
        return ()
    place = []
    while isinstance(found, dict) and len(found) == 1:
        ((name, found),) = found.items()
        place.append(name)
    return tuple(place) if found == 0 else ()


def asked_value(text: str) -> Any:
    """A number, a text in quotes, true or false as TOML has them; all else is text, as quantities are."""
    try:
        found = tomllib.loads(f"value = {text}")["value"]
    except ValueError:
        return text
    return found if isinstance(found, bool | int | float | str) else text
