"""A choice with many values in turn: only those of its parts are read anew that these are in."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

from auralize.circuit.network import Network
from auralize.errors import RigError
from auralize.rig.cables import read_cable
from auralize.rig.chains import written_out
from auralize.rig.choice import Choice
from auralize.rig.folder import Folder
from auralize.rig.loads import read_load
from auralize.rig.overlay import common_part, laid_on
from auralize.rig.parts import read_amplifier, read_drive, read_run, read_transformer
from auralize.rig.reading import Rig
from auralize.rig.table import Table, dotted

Place = tuple[str, ...]
Values = Mapping[Place, Any]
Inside = Mapping[Place, Values]
"""Values by the part that they are in."""
Reader = Callable[[Table, Inside], Any]

_SINGLE: Final = ("amplifier", "programme")
_NAMED: Final = ("runs", "cables", "loads", "transformers")
_ELSEWHERE: Final = ("from", "at", "band", "type", "kind")
"""Keys that make a difference to other parts too."""
_MOST_KEPT: Final = 2000


def tables_of(values: Values) -> dict[str, Any]:
    """Values at their places, as tables of a rig file."""
    whole: dict[str, Any] = {}
    for place, value in values.items():
        table = whole
        for key in place[:-1]:
            table = table.setdefault(key, {})
        table[place[-1]] = value
    return whole


class VariedChoice:
    """A choice of a rig that has other values at some ``places``, as `Rig.changed` would have it.

    But for what is told, not solved: notes, label and fingerprint are those of one of its cases.
    """

    def __init__(self, rig: Rig, choice: Choice, places: list[Place]) -> None:
        self._rig, self._choice = rig, choice
        self._common = common_part(rig.data)
        self._over = rig.data.get("choices", {}).get(choice.name, {})
        said = rig.said(choice)
        self._places = [*said.get("runs", {}), *said.get("transformers", {})]
        self._cables = list(said.get("cables", {}))
        self._parts = {_part(place) for place in places}
        self._by_parts = all(map(_is_inside, places)) and _has_no_lines(said)
        self._base: Choice | None = None
        self._read: dict[Hashable, Any] = {}
        self._said: dict[Place, Mapping[str, Any]] = {}

    def at(self, values: Values) -> Choice:
        """With these values; raises RigError as `Rig.changed` does."""
        if self._base is not None:
            try:
                return self._made(self._base, values)
            except RigError:
                pass  # it is told by the whole reading, with the place in the file
        found = self._rig.changed(self._choice, {(): tables_of(values)})
        shorted = found.network.amplifier.resistance == 0.0  # which the whole is looked at for
        if self._by_parts and not shorted and self._is_there(found.network):
            self._base = found
        return found

    def _is_there(self, network: Network) -> bool:
        """Whether all that varies leads to a load."""
        there = {*network.runs, *network.loads, *network.transformers, *self._cables, *_SINGLE}
        return all(part[-1] in there for part in self._parts)

    def _made(self, base: Choice, values: Values) -> Choice:
        inside = _by_part(values)
        runs = self._some(base.runs, "runs", inside, self._run)
        loads = self._some(base.loads, "loads", inside, self._load)
        transformers = self._some(base.transformers, "transformers", inside, self._transformer)
        used = {run.cable_name for run in runs.values()}
        for part in self._parts:
            if part[0] == "cables" and part[1] not in used:  # checked all the same
                self._once(part, inside, self._cable)
        amplifier, rating, into = base.network.amplifier, base.rating, base.rated_into
        if ("amplifier",) in self._parts:
            amplifier, rating, into = self._once(("amplifier",), inside, self._amplifier)
            if amplifier.resistance == 0.0:
                raise RigError("whether it feeds a short circuit is seen of the whole")
        drive = base.drive
        if ("programme",) in self._parts:
            drive = read_drive(_alone(self._table(("programme",), inside)), loads)
        network = Network(
            amplifier,
            {name: read.run for name, read in runs.items()},
            {name: read.connected for name, read in loads.items()},
            {name: read.placed for name, read in transformers.items()},
        )
        return replace(
            base,
            network=network,
            runs=runs,
            loads=loads,
            transformers=transformers,
            rating=rating,
            rated_into=into,
            drive=drive,
        )

    def _some(
        self, known: Mapping[str, Any], table: str, inside: Inside, read: Reader
    ) -> dict[str, Any]:
        """All parts of a table, those read anew that something varies of; runs are made of cables."""
        of_cables = table == "runs" and any(part[0] == "cables" for part in self._parts)
        return {
            name: self._once((table, name), inside, read)
            if of_cables or (table, name) in self._parts
            else part
            for name, part in known.items()
        }

    def _once(self, part: Place, inside: Inside, read: Reader) -> Any:
        """A part read, once for all cases in which it says the same."""
        beside = "cables" if part[0] == "runs" else None
        said = [values for other, values in inside.items() if other == part or other[0] == beside]
        key = (part, repr(said))
        if key not in self._read:
            if len(self._read) >= _MOST_KEPT:
                self._read.clear()
            self._read[key] = read(self._table(part, inside), inside)
        return self._read[key]

    def _run(self, table: Table, inside: Inside) -> Any:
        cables = {name: self._table(("cables", name), inside) for name in self._cables}
        return read_run(table, cables, self._places, self._folder())

    def _cable(self, table: Table, inside: Inside) -> Any:
        return read_cable(table, 20.0, self._folder())

    def _load(self, table: Table, inside: Inside) -> Any:
        return read_load(table, self._places, self._folder())

    def _transformer(self, table: Table, inside: Inside) -> Any:
        return read_transformer(table, self._places)

    def _amplifier(self, table: Table, inside: Inside) -> Any:
        return read_amplifier(_alone(table))

    def _folder(self) -> Folder:
        path = self._rig.path
        return Folder(Path() if path is None else path.parent, self._rig.files_anywhere)

    def _table(self, part: Place, inside: Inside) -> Table:
        """What the rig says of a part with the values of a case, laid on as in `Rig.changed`."""
        if part not in inside:
            if part not in self._said:
                self._said[part] = laid_on(*self._both(part), part)
            return Table(self._said[part], part, dotted)
        common, over = self._both(part)
        values = _found(tables_of(inside[part]), part)
        return Table(laid_on(common, laid_on(over, values, part), part), part, dotted)

    def _both(self, part: Place) -> tuple[Mapping[str, Any], Mapping[str, Any]]:
        """What the common part of the rig says of it, and what the choice."""
        return _found(self._common, part), _found(self._over, part)


def _alone(table: Table) -> Table:
    """As all that a rig says."""
    return Table({table.place[0]: table.data}, (), dotted)


def _part(place: Place) -> Place:
    return place[: 1 if place[0] in _SINGLE else 2]


def _is_inside(place: Place) -> bool:
    """Whether a value makes a difference to the part alone that it is in."""
    known = place[0] in (*_SINGLE, *_NAMED) and len(place) > len(_part(place))
    return known and place[-1] not in _ELSEWHERE


def _has_no_lines(said: Mapping[str, Any]) -> bool:
    table = Table(said, (), dotted)
    return written_out(table) is table


def _by_part(values: Values) -> dict[Place, dict[Place, Any]]:
    found: dict[Place, dict[Place, Any]] = {}
    for place, value in values.items():
        found.setdefault(_part(place), {})[place] = value
    return found


def _found(data: Mapping[str, Any], part: Place) -> Mapping[str, Any]:
    for key in part:
        data = data.get(key, {})
    return data
