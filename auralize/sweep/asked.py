"""What varies, as it was asked for: by options, in a file, or both."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping, Sequence
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final, get_args

from auralize.errors import RequestError, RigError
from auralize.figures.fit import Kind
from auralize.files import read_bounded
from auralize.rig.choice import Choice
from auralize.rig.place_words import place_words
from auralize.rig.reading import Rig
from auralize.rig.stepped import SteppedValue
from auralize.rig.table import Table, dotted
from auralize.rig.varied import Place
from auralize.sweep.cases import MOST_CASES, Cases
from auralize.sweep.cheapest import MOST_PRICE
from auralize.sweep.uncertain import UncertainValue
from auralize.units import quoted

USUAL_DRAWS: Final = 1000
"""Enough for the 5 % and 95 % to be within 1.4 % of all cases (two standard errors)."""
_MOST_BYTES: Final = 1_000_000
_MOST_STEPS: Final = 10_000
"""Of one value."""


@dataclass(frozen=True)
class AskedSweep:
    """``steps`` and ``tolerances`` each as "KEY = VALUES"; None where nothing was said."""

    steps: Sequence[str] = ()
    tolerances: Sequence[str] = ()
    draws: int | None = None
    seed: int | None = None
    limits: Mapping[Kind, str] = field(default_factory=dict)
    """What is to be kept, as options have it."""
    prices: Mapping[str, float] = field(default_factory=dict)
    """Of a metre of each cable."""
    files: dict[str, Path] = field(default_factory=dict)
    """The sweep file that says a line of these, a limit or the price of a cable; of options there is none."""

    def beside(self, other: AskedSweep) -> AskedSweep:
        """With all that another one says; for numbers that one counts."""
        return AskedSweep(
            (*self.steps, *other.steps),
            (*self.tolerances, *other.tolerances),
            self.draws if other.draws is None else other.draws,
            self.seed if other.seed is None else other.seed,
            {**self.limits, **other.limits},
            {**self.prices, **other.prices},
            {one: file for one, file in self.files.items() if one not in other.prices}
            | other.files,
        )

    def cases(self, rig: Rig, choices: Sequence[Choice]) -> Cases:
        """The cases of a rig; raises RequestError."""
        contents = [rig.said(choice) for choice in choices]
        steps, tolerances = list[SteppedValue](), list[UncertainValue]()
        for text in self.steps:
            with self.naming(text):
                steps.append(SteppedValue.of(text, _MOST_STEPS))
        for text in self.tolerances:
            with self.naming(text):
                tolerances.append(UncertainValue.of(text, lambda p: _said(contents, p)))
        with self.naming(*self.steps, *self.tolerances):
            return Cases(
                tuple(steps),
                tuple(tolerances),
                USUAL_DRAWS if self.draws is None else self.draws,
                1 if self.seed is None else self.seed,
            )

    def file_of(self, *said: str) -> Path | None:
        """The file that says any of these."""
        return next((self.files[one] for one in said if one in self.files), None)

    def naming(self, *said: str) -> AbstractContextManager[None]:
        """Let a RequestError begin with the file that says any of these."""
        return naming(self.file_of(*said))

    @contextmanager
    def blaming(self) -> Iterator[None]:
        """Let a RigError, which is about a field of the rig file, end with who asked for its value."""
        try:
            yield
        except RigError as error:
            lines = {*self.steps, *self.tolerances}
            if (file := self.file_of(*lines)) is None:
                raise
            who = f"{file} says" if lines <= self.files.keys() else f"{file} and options say"
            raise RigError(f"{error}, as {who}") from None


@contextmanager
def naming(file: Path | None) -> Iterator[None]:
    """Let a RequestError begin with this file, if there is one."""
    try:
        yield
    except RequestError as error:
        if file is None:
            raise
        raise RequestError(f"{file}: {error}") from None


def _said(contents: Sequence[Mapping[str, Any]], place: Place) -> Any:
    """What all choices say at a place; raises ValueError where that is not one value."""
    found = []
    for inside in contents:
        value: Any = inside
        for key in place:
            value = value.get(key) if isinstance(value, Mapping) else None
        found.append(value)
    if any(isinstance(one, Mapping) or one is None or one != found[0] for one in found):
        raise ValueError(
            f"the choices have no one value as {place_words(place)}; right is to give the nominal value too"
        )
    return found[0]


def read_sweep(path: Path) -> AskedSweep:
    """A sweep file: TOML with [steps] and [tolerances], with keys of a rig file, [limits], and [prices].

    Raises RequestError or RigError, which name file and field.
    """
    try:
        data = tomllib.loads(read_bounded(path, _MOST_BYTES).decode("utf-8-sig"))
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise RequestError(f"{path}: the sweep file cannot be read: {reason}") from None
    except UnicodeDecodeError:
        raise RequestError(
            f"{path}: this is no text in UTF-8; a sweep file is a TOML text"
        ) from None
    except ValueError as error:
        raise RequestError(f"{path}: this is no valid TOML: {error}") from None
    except RecursionError:
        raise RequestError(f"{path}: this is no valid TOML: it is nested too deeply") from None
    table = Table(data, (), lambda place: f"{path}: {dotted(place)}")
    prices = table.table("prices")
    if "prices" in table and not prices.data:
        raise prices.refuse(None, _EMPTY)
    steps, tolerances = list(_lines(table, "steps")), list(_lines(table, "tolerances"))
    limits = _limits(table.table("limits")) if "limits" in table else {}
    asked = AskedSweep(
        steps,
        tolerances,
        table.whole("draws", 1, MOST_CASES) if "draws" in table else None,
        table.whole("seed", 0, 2**32 - 1) if "seed" in table else None,
        limits,
        {name: prices.number(name, 0.0, MOST_PRICE) for name in prices.data},
        dict.fromkeys(
            [*steps, *tolerances, *(f"limits.{kind}" for kind in limits), *prices.data], path
        ),
    )
    table.asked |= {"draws", "seed"}
    table.finish()
    return asked


def _limits(table: Table) -> dict[Kind, str]:
    """By figure, as options have them; a damping factor, or any other, may be a plain number."""
    if not table.data:
        raise table.refuse(None, _EMPTY)
    kinds: tuple[Kind, ...] = get_args(Kind)
    found = {kind: str(table.data[kind]) for kind in kinds if kind in table}
    table.asked |= {*kinds}
    table.finish()
    return found


_EMPTY: Final = "this table is empty; right is at least one value in it, or no such table"


def _lines(table: Table, name: str) -> Iterator[str]:
    """The values of a table as options have them: "runs.pond.length = 20 m, 30 m"."""
    for place, value in _leaves(table.table(name).data) if name in table else ():
        parts = value if isinstance(value, list) else [value]
        if not parts or not all(isinstance(part, str | int | float) for part in parts):
            wrong = f"{quoted(value)} was found; right is a text, or a list of values"
            where = table.locate((name, *place))
            raise RequestError(f"{where}: {_EMPTY if value == {} else wrong}")
        texts = [str(part).lower() if isinstance(part, bool) else str(part) for part in parts]
        yield f"{dotted(place)} = {', '.join(texts)}"


def _leaves(data: Mapping[str, Any], place: Place = ()) -> Iterator[tuple[Place, Any]]:
    """Every value in tables, and each table that is empty."""
    if not data:
        yield place, data
    for key, value in data.items():
        if isinstance(value, Mapping):
            yield from _leaves(value, (*place, key))
        else:
            yield (*place, key), value
