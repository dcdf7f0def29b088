"""Many installations of one layout as a single one, to be solved in one go.

All that is solved is a function of frequency, point by point. So installations one after another, each
over the same frequencies, are one installation over all of these points, whose parts have a value of
their own at each point.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from auralize.circuit.cable import Cable
from auralize.circuit.conductor import Complex, Real
from auralize.circuit.loudspeaker import Load
from auralize.circuit.network import Amplifier, Connected, Contact, Network, Placed, Run
from auralize.circuit.transformer import Transformer


def layout(network: Network) -> Hashable:
    """Equal for installations that can be stacked: what hangs where, and which way round."""
    return (
        tuple((name, run.fed_from) for name, run in network.runs.items()),
        tuple((name, placed.fed_from) for name, placed in network.transformers.items()),
        tuple((name, load.at, load.reversed) for name, load in network.loads.items()),
    )


def tiled(frequency: Real, count: int) -> Real:
    """Frequencies in Hz for so many installations, one after another."""
    return np.tile(frequency, count)


class Stacked:
    """Installations of one `layout`; what each of their parts does over ``grid`` (Hz, rising) is kept.

    It is worked out once for all that have the same part.
    """

    def __init__(self, networks: Sequence[Network], grid: Real) -> None:
        self._networks, first = networks, networks[0]
        self._cables = {n: _Stack([o.runs[n].cable for o in networks], grid) for n in first.runs}
        self._added = {
            n: _Stack([o.runs[n].added or _nothing for o in networks], grid)
            for n in first.runs
            if any(o.runs[n].added is not None for o in networks)
        }
        self._loads = {n: _Stack([o.loads[n].load for o in networks], grid) for n in first.loads}
        self._transformers = {
            n: _Stack([o.transformers[n].transformer for o in networks], grid)
            for n in first.transformers
        }

    def over(self, frequency: Real) -> Network:
        """All as one, to be solved over `tiled` frequencies, which are some of the grid."""

        def each(value: Callable[[Network], float]) -> Any:  # an array where one has a number
            return np.repeat([value(network) for network in self._networks], len(frequency))

        def contact(of: Callable[[Network], Contact]) -> Contact:
            return Contact(each(lambda n: of(n).plus), each(lambda n: of(n).minus))

        def run(name: str, fed_from: str | None) -> Run:
            added = self._added.get(name)
            return Run(
                _Cables(self._cables[name]),
                each(lambda n: n.runs[name].length),
                fed_from,
                None if added is None else lambda f: added.over(f, _added, 1),
                contact(lambda n: n.runs[name].near),
                contact(lambda n: n.runs[name].far),
            )

        def load(name: str, held: Connected) -> Connected:
            own = contact(lambda n: n.loads[name].contact)
            return Connected(_Loads(self._loads[name]), held.at, own, held.reversed)

        def placed(name: str, fed_from: str | None) -> Placed:
            ratio = each(lambda n: n.transformers[name].transformer.ratio)
            made: Any = _Transformers(self._transformers[name], ratio)
            return Placed(made, fed_from)

        first = self._networks[0]
        amplifier = Amplifier(
            each(lambda n: n.amplifier.resistance), each(lambda n: n.amplifier.inductance)
        )
        return Network(
            amplifier,
            {name: run(name, one.fed_from) for name, one in first.runs.items()},
            {name: load(name, one) for name, one in first.loads.items()},
            {name: placed(name, one.fed_from) for name, one in first.transformers.items()},
        )


What = Callable[[Any, Real], Any]
"""What a part does over frequency."""


class _Stack:
    """One part of each installation."""

    def __init__(self, parts: Sequence[Any], grid: Real) -> None:
        numbers: dict[Any, int] = {}
        self._which = np.array([numbers.setdefault(part, len(numbers)) for part in parts])
        self._unlike, self._grid = list(numbers), grid
        self._known: dict[What, Any] = {}

    def over(self, frequency: Real, what: What, axis: int = 0) -> Any:
        """``what`` of each over its own frequencies, which are its ``axis``, one after another."""
        if what not in self._known:
            found = [what(part, self._grid) for part in self._unlike]
            self._known[what] = np.stack(found, axis=axis)
        own = frequency[: len(frequency) // len(self._which)]
        taken = self._known[what].take(self._which, axis=axis)
        if len(own) != len(self._grid):
            taken = taken.take(np.searchsorted(self._grid, own), axis=axis + 1)
        return taken.reshape(*taken.shape[:axis], -1, *taken.shape[axis + 2 :])


def _series(cable: Cable, frequency: Real) -> Complex:
    return cable.series(frequency)


def _by_conductor(cable: Cable, frequency: Real) -> Complex:
    return cable.by_conductor(frequency)


def _shunt(cable: Cable, frequency: Real) -> Complex:
    return cable.shunt(frequency)


def _port(load: Load, frequency: Real) -> Complex:
    return load.port(frequency)


def _two_port(transformer: Transformer, frequency: Real) -> Complex:
    return transformer.two_port(frequency)[0]


def _factor(transformer: Transformer, frequency: Real) -> Complex:
    return transformer.two_port(frequency)[1]


def _added(added: Callable[[Real], Complex], frequency: Real) -> Complex:
    return added(frequency)


def _nothing(frequency: Real) -> Complex:
    return np.zeros((2, *frequency.shape), np.complex128)


@dataclass(frozen=True, eq=False)
class _Cables:
    stack: _Stack

    def series(self, frequency: Real) -> Complex:
        return self.stack.over(frequency, _series)

    def by_conductor(self, frequency: Real) -> Complex:
        return self.stack.over(frequency, _by_conductor, 1)

    def shunt(self, frequency: Real) -> Complex:
        return self.stack.over(frequency, _shunt)


@dataclass(frozen=True, eq=False)
class _Loads(Load):
    stack: _Stack

    def port(self, frequency: Real) -> Complex:
        return self.stack.over(frequency, _port)


@dataclass(frozen=True, eq=False)
class _Transformers:
    stack: _Stack
    ratio: Real

    def two_port(self, frequency: Real) -> tuple[Complex, Complex]:
        return self.stack.over(frequency, _two_port), self.stack.over(frequency, _factor)
