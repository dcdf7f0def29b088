"""A table of a rig file, read key by key: every refusal names file, field, what was found, what is right."""

from __future__ import annotations

import difflib
import json
import math
import re
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field
from typing import Any, Final

from auralize import units
from auralize.errors import RigError

_seen: Final[ContextVar[dict[tuple[str, ...], set[str]] | None]] = ContextVar("seen", default=None)


@contextmanager
def keys_seen() -> Iterator[Mapping[tuple[str, ...], set[str]]]:
    """The keys that may stand in each table that is read in here, by its path."""
    seen: dict[tuple[str, ...], set[str]] = {}
    token = _seen.set(seen)
    try:
        yield seen
    finally:
        _seen.reset(token)


@dataclass
class Table:
    """``data`` at ``place`` (its dotted path) of a rig file; keys that were asked for are ticked off."""

    data: Mapping[str, Any]
    place: tuple[str, ...]
    locate: Callable[[tuple[str, ...]], str]
    """Text that says where a path stands in the file."""
    asked: set[str] = field(default_factory=set)

    def refuse(self, key: str | None, sentence: str) -> RigError:
        """The error to raise about ``key`` (None: about the table itself)."""
        place = self.place if key is None else (*self.place, key)
        error = RigError(f"{self.locate(place)}: {sentence}")
        error.place, error.sentence = place, sentence
        return error

    def __contains__(self, key: str) -> bool:
        return key in self.data

    def tables(self, key: str) -> dict[str, Table]:
        """The named tables under ``key``, empty where there is none."""
        outer = self.table(key)
        for name in outer.data:
            if not name.isprintable():
                found = units.quoted(name)
                raise outer.refuse(
                    None, f"the name {found} was found; right is one without control characters"
                )
            if not isinstance(outer.data[name], Mapping):
                found, example = units.quoted(outer.data[name]), dotted((*self.place, key, "NAME"))
                raise outer.refuse(
                    name,
                    f"{found} was found where a table is right, with a name of your own: [{example}]",
                )
        return {name: outer.table(name) for name in outer.data}

    def table(self, key: str) -> Table:
        """The table under ``key``, empty where there is none."""
        value = self._get(key, {})
        if not isinstance(value, Mapping):
            found = units.quoted(value)
            raise self.refuse(key, f"{found} was found where a table [{key}] is right")
        return Table(value, (*self.place, key), self.locate)

    def text(self, key: str, default: str | None = None) -> str:
        """A string; required where ``default`` is None."""
        value = self._required(key) if default is None else self._get(key, default)
        if not isinstance(value, str):
            found = units.quoted(value)
            raise self.refuse(key, f"{found} was found where a text in quotes is right")
        if not value.isprintable():
            found = units.quoted(value)
            raise self.refuse(
                key, f"{found} was found; right is one line without control characters"
            )
        return value

    def one_of(self, key: str, allowed: Iterable[str], default: str | None = None) -> str:
        """A string out of a closed set."""
        names = list(allowed)
        if key not in self.data:  # else no words are needed
            self._present(key, default, f"one of {', '.join(repr(n) for n in names)}")
        value = self.text(key, default)
        if value not in names:
            wanted = ", ".join(repr(n) for n in names) or "nothing, as none is described"
            raise self.refuse(
                key, f"{units.quoted(value)} is not known{guess(value, names)}; right is {wanted}"
            )
        return value

    def number(self, key: str, low: float, high: float, default: float | None = None) -> float:
        """A plain number from ``low`` to ``high``."""
        value = self._required(key) if default is None else self._get(key, default)
        if isinstance(value, bool) or not isinstance(value, int | float):
            found = units.quoted(value)
            raise self.refuse(key, f"{found} was found where a plain number is right")
        if not low <= value <= high:  # also refuses NaN
            raise self.refuse(
                key,
                f"{units.quoted(value)} was found; right is a number from {low:g} to {high:g}",
            )
        return float(value)

    def whole(self, key: str, low: int, high: int, default: int | None = None) -> int:
        """A whole number from ``low`` to ``high``."""
        value = self.number(key, low, high, default)
        if value != int(value):
            raise self.refuse(key, f"{value:g} was found; right is a whole number")
        return int(value)

    def flag(self, key: str, *, default: bool) -> bool:
        """true or false."""
        value = self._get(key, default)
        if not isinstance(value, bool):
            raise self.refuse(key, f"{units.quoted(value)} was found; right is true or false")
        return value

    def quantity(
        self, key: str, kind: units.Quantity, low: str, high: str, default: str | None = None
    ) -> float:
        """A quantity with its unit, in SI, from ``low`` to ``high`` (both as people write them)."""
        if default is None:
            value = self._required(key, units.a(kind), f", such as {units.EXAMPLES[kind]}")
        else:
            value = self._get(key, default)
        if isinstance(value, int | float) and not isinstance(value, bool):
            value = str(value)
        if not isinstance(value, str):
            found = units.quoted(value)
            raise self.refuse(key, f"{found} was found where {units.a(kind)} in quotes is right")
        try:
            parsed = units.parse(value, kind)
        except ValueError as error:
            raise self.refuse(key, str(error)) from None
        if not (
            math.isfinite(parsed) and units.parse(low, kind) <= parsed <= units.parse(high, kind)
        ):
            raise self.refuse(
                key,
                f"{units.quoted(value)} was found; right is {units.a(kind)} from {low} to {high}",
            )
        return parsed

    def exclusive(self, *groups: tuple[str, ...]) -> None:
        """Refuse keys out of more than one of ``groups``."""
        given = [
            next(k for k in group if k in self) for group in groups if any(k in self for k in group)
        ]
        if len(given) > 1:
            raise self.refuse(
                given[1], f"stands beside {given[0]!r}, which says the same; keep one"
            )

    def finish(self) -> None:
        """Refuse what nobody asked for: a misspelt key would otherwise be silently ignored."""
        for key in self.data:
            if key not in self.asked:
                raise self._unknown(key, self.asked)
        if (seen := _seen.get()) is not None:
            seen[self.place] = self.asked

    def refuse_misspelt(self, known: Collection[str]) -> None:
        """Refuse what is close to a key of ``known`` and is none, before that is missed."""
        for key in self.data:
            if key not in known and guess(key, known):
                raise self._unknown(key, known)

    def _unknown(self, key: str, known: Collection[str]) -> RigError:
        right = ", ".join(sorted(known))
        return self.refuse(key, f"this key is not known here{guess(key, known)}; known are {right}")

    def finish_any(self) -> None:
        """Let every key pass: what they say makes no difference here, and is known to make none."""
        self.asked |= set(self.data)

    def _get(self, key: str, default: Any) -> Any:
        self.asked.add(key)
        return self.data.get(key, default)

    def _required(self, key: str, what: str = "a value", example: str = "") -> Any:
        self.asked.add(key)
        self._present(key, None, what, example)
        return self.data[key]

    def _present(self, key: str, default: Any, what: str, example: str = "") -> None:
        if default is None and key not in self.data:
            near = [k for k in self.data if k not in self.asked and _close(k, [key])]
            there = f"; {near[0]!r} is there, which is not known" if near else example
            raise self.refuse(key, f"{what} is missing{there}")


_BARE: Final = re.compile(r"[A-Za-z0-9_-]+")
"""Keys that TOML needs no quotes for."""
_LONGEST_KEY: Final = 60
"""Letters of a key that are shown; no key that is known has so many."""


def dotted(place: Iterable[str]) -> str:
    """The path of a field as TOML writes it, what is too long for a sentence cut."""
    shown = (k if len(k) <= _LONGEST_KEY else f"{k[:_LONGEST_KEY]}..." for k in place)
    return ".".join(k if _BARE.fullmatch(k) else json.dumps(k, ensure_ascii=False) for k in shown)


_MEANT: Final = {
    "conductor": ("size", "area", "gauge", "awg", "csa", "cross_section"),
    "loads": ("speaker", "speakers", "loudspeaker", "loudspeakers", "drivers"),
    "cables": ("wire", "wires", "lines"),
    "amplifier": ("amp", "amps", "source"),
    "nominal": ("impedance", "nominal_impedance", "z", "ohms"),
    "construction": ("kind", "make"),
    "damping_factor": ("df", "damping"),
    "material": ("metal",),
    "length": ("distance", "metres", "feet"),
    "lay_length": ("pitch", "twist"),
    "driver": ("speaker", "loudspeaker", "woofer"),
}
"""Other words of the trade for a key, which no likeness of letters would find."""


def _close(word: str, known: Iterable[str]) -> list[str]:
    folded = {k.casefold(): k for k in known}
    for key, others in _MEANT.items():
        if key in folded and word.casefold() in others:
            return [key]
    return [folded[k] for k in difflib.get_close_matches(word.casefold(), folded, n=1)]


def guess(word: str, known: Iterable[str]) -> str:
    """The known word that an unknown one is close to, to be put behind it; nothing for none."""
    close = _close(word, known)
    return f" (did you mean {close[0]!r}?)" if close else ""
