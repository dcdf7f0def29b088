"""Loads in few words: one that is like another, and lines of many along a run, written out table by table."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any, Final

from auralize.rig.loads import LINE, OF_A_LOAD
from auralize.rig.overlay import laid_on
from auralize.rig.table import Table

_PLACES: Final = ("at", *LINE)
"""What a load that is like another does not take from it."""
_CONTINUED: Final = ("cable", "temperature")
"""What the runs between loudspeakers take from the run that leads to the first."""
MOST: Final = 200
"""Loudspeakers of one line."""


def written_out(top: Table) -> Table:
    """The tables of a choice with every load of its own; as they are where no load needs it.

    The loudspeakers of the line NAME along the run PATH are "NAME 1", "NAME 2"...; PATH leads to the
    first, and "PATH 2"... on to the others, through transformers "THROUGH 1"... where one is named. What
    the file says of any of these by its name is laid on it. Raises RigError.
    """
    loads = top.tables("loads")
    if not any(key in load for load in loads.values() for key in OF_A_LOAD):
        return top
    bodies = {name: _like(loads, name, ()) for name in loads}
    lines = {name for name, load in loads.items() if any(key in load for key in LINE)}
    made = _Made(top, bodies)
    members = {name: made.line(loads[name]) for name in bodies if name in lines}
    written: dict[str, Any] = {}
    for name, body in bodies.items():
        if name in lines:
            written |= members[name]
        elif ("loads", name) not in made.origins:
            written[name] = body
    data = {**top.data, **made.tables, "loads": written}
    alone = next((name for name in lines if len(members[name]) == len(written)), None)
    listen = data.get("listen", alone)
    if isinstance(listen, str) and listen in members:
        data["listen"] = list(members[listen])[-1]  # that which has the most cable before it
    return Table(data, (), made.locate)


def _like(loads: Mapping[str, Table], name: str, above: tuple[str, ...]) -> dict[str, Any]:
    """What a load says, laid on what it takes from the one that it is like."""
    load = loads[name]
    if "like" not in load:
        return dict(load.data)
    other = load.one_of("like", [known for known in loads if known != name])
    if other in above:
        raise load.refuse(
            "like", f"{other!r} is itself like {name!r}; right is a load that says what it is"
        )
    taken = _like(loads, other, (*above, name))
    taken = {key: value for key, value in taken.items() if key not in _PLACES}
    own = {key: value for key, value in load.data.items() if key != "like"}
    return laid_on(taken, own, ("loads", name))


@dataclass
class _Made:
    """What lines make: runs and transformers so far, and where each part stands in the file."""

    top: Table
    bodies: Mapping[str, Mapping[str, Any]]
    """What the file says of its loads."""
    tables: dict[str, dict[str, Any]] = field(default_factory=dict)
    origins: dict[tuple[str, str], tuple[str, str]] = field(default_factory=dict)

    def line(self, load: Table) -> dict[str, Any]:
        """The loudspeakers of a line; its runs and transformers are kept in ``tables``."""
        name, runs = load.place[-1], self.top.tables("runs")
        if "at" in load:
            raise load.refuse(
                "at", "a line has no one place; right is `along`, with the run to its first"
            )
        count = load.whole("count", 2, MOST)
        load.quantity("spacing", "length", "1 cm", "10 km")
        run = load.one_of("along", runs)
        places = [run, *(f"{run} {number}" for number in range(2, count + 1))]
        kept = {key: value for key, value in runs[run].data.items() if key in _CONTINUED}
        between = {**kept, "length": load.data["spacing"]}
        for before, place in pairwise(places):
            self._add("runs", place, {**between, "from": before}, run)
        if "through" in load:
            places = self._taps(load, places)
        own = {k: v for k, v in self.bodies[name].items() if k not in OF_A_LOAD}
        return {
            member: self._laid("loads", member, {**own, "at": place}, name)
            for number, place in enumerate(places, 1)
            for member in [f"{name} {number}"]
        }

    def _taps(self, load: Table, places: list[str]) -> list[str]:
        """The transformers between a line and each of its loudspeakers."""
        transformers = self.top.tables("transformers")
        kind = load.one_of("through", transformers)
        taps = [f"{kind} {number}" for number in range(1, len(places) + 1)]
        for tap, place in zip(taps, places, strict=True):
            self._add("transformers", tap, {**transformers[kind].data, "from": place}, kind)
        return taps

    def _add(self, kind: str, name: str, body: Mapping[str, Any], origin: str) -> None:
        if (kind, name) in self.origins:
            raise self.top.refuse(
                "loads",
                f"two lines would both make {kind}.{name}; right is one of its own for each",
            )
        tables = self.tables.setdefault(kind, dict(self.top.data[kind]))
        tables.pop(name, None)  # so that a line is in order, whatever the file says of one part
        tables[name] = self._laid(kind, name, body, origin)

    def _laid(self, kind: str, name: str, body: Mapping[str, Any], origin: str) -> Any:
        """A part that a line makes, what the file says of it by name laid on it."""
        given = self.bodies if kind == "loads" else self.top.tables(kind)
        self.origins[kind, name] = (kind, origin)
        if name not in given:
            return body
        said = given[name]
        return laid_on(body, said.data if isinstance(said, Table) else said, (kind, name))

    def locate(self, place: tuple[str, ...]) -> str:
        """Where a part stands that is not in the file by its name: at what it was made from."""
        part = (place[0], place[1]) if len(place) > 1 else ("", "")
        if part not in self.origins or part[1] in self.top.data.get(part[0], {}):
            return self.top.locate(place)
        return self.top.locate((*self.origins[part], *place[2:]))
