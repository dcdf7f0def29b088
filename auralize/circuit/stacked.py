"""Many installations of one layout as a single one, to be solved in one go.

All that is solved is a function of frequency, point by point. So installations one after another, each
over the same frequencies, are one installation over all of these points, whose parts have a value of
their own at each point.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

import numpy as np
from numpy.typing import NDArray

from auralize.circuit.cable import Cable
from auralize.circuit.conductor import Complex, Real
from auralize.circuit.loudspeaker import Load
from auralize.circuit.network import Amplifier, Connected, Contact, Network, Placed, Run
from auralize.circuit.transformer import Transformer

Part = TypeVar("Part")


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


def stacked(networks: Sequence[Network], points: int) -> Network:
    """Installations of one `layout`, each over ``points`` frequencies, as one over `tiled` ones.

    What a part does is worked out once for all that have the same.
    """
    first = networks[0]

    def each(value: Callable[[Network], float]) -> Any:  # an array where one has a number
        return np.repeat(np.array([value(network) for network in networks], np.float64), points)

    def contact(of: Callable[[Network], Contact]) -> Contact:
        return Contact(each(lambda n: of(n).plus), each(lambda n: of(n).minus))

    def run(name: str) -> Run:
        return Run(
            _Cables(_Stack([n.runs[name].cable for n in networks])),
            each(lambda n: n.runs[name].length),
            first.runs[name].fed_from,
            _added([n.runs[name].added for n in networks]),
            contact(lambda n: n.runs[name].near),
            contact(lambda n: n.runs[name].far),
        )

    def load(name: str) -> Connected:
        loads = _Loads(_Stack([n.loads[name].load for n in networks]))
        held = first.loads[name]
        return Connected(loads, held.at, contact(lambda n: n.loads[name].contact), held.reversed)

    def placed(name: str) -> Placed:
        some = [n.transformers[name].transformer for n in networks]
        ratio = each(lambda n: n.transformers[name].transformer.ratio)
        made: Any = _Transformers(_Stack(some), ratio)
        return Placed(made, first.transformers[name].fed_from)

    amplifier = Amplifier(
        each(lambda n: n.amplifier.resistance), each(lambda n: n.amplifier.inductance)
    )
    return Network(
        amplifier,
        {name: run(name) for name in first.runs},
        {name: load(name) for name in first.loads},
        {name: placed(name) for name in first.transformers},
    )


class _Stack(Generic[Part]):
    """One part of each installation."""

    def __init__(self, parts: Sequence[Part]) -> None:
        numbers: dict[Part, int] = {}
        self._which = np.array([numbers.setdefault(part, len(numbers)) for part in parts])
        self._unlike = list(numbers)

    def over(self, frequency: Real, what: Callable[[Part, Real], NDArray[Any]], axis: int) -> Any:
        """``what`` of each over its own frequencies, which are its ``axis``, one after another."""
        count = len(self._which)
        own = frequency[: len(frequency) // count]
        if len(self._unlike) == 1:
            found = what(self._unlike[0], own)
            reps = [1] * found.ndim
            reps[axis] = count
            return np.tile(found, reps)
        every = np.stack([what(part, own) for part in self._unlike], axis=axis)
        taken = every.take(self._which, axis=axis)
        return taken.reshape(*taken.shape[:axis], -1, *taken.shape[axis + 2 :])


@dataclass(frozen=True, eq=False)
class _Cables:
    stack: _Stack[Cable]

    def series(self, frequency: Real) -> Complex:
        return self.stack.over(frequency, lambda cable, f: cable.series(f), 0)

    def by_conductor(self, frequency: Real) -> Complex:
        return self.stack.over(frequency, lambda cable, f: cable.by_conductor(f), 1)

    def shunt(self, frequency: Real) -> Complex:
        return self.stack.over(frequency, lambda cable, f: cable.shunt(f), 0)


@dataclass(frozen=True, eq=False)
class _Loads(Load):
    stack: _Stack[Load]

    def port(self, frequency: Real) -> Complex:
        return self.stack.over(frequency, lambda load, f: load.port(f), 0)


@dataclass(frozen=True, eq=False)
class _Transformers:
    stack: _Stack[Transformer]
    ratio: Real

    def two_port(self, frequency: Real) -> tuple[Complex, Complex]:
        return (
            self.stack.over(frequency, lambda one, f: one.two_port(f)[0], 0),
            self.stack.over(frequency, lambda one, f: one.two_port(f)[1], 0),
        )


Added = Callable[[Real], Complex]


def _added(some: Sequence[Added | None]) -> Added | None:
    if all(one is None for one in some):
        return None
    stack = _Stack([one or _nothing for one in some])
    return lambda frequency: stack.over(frequency, lambda one, f: one(f), 1)


def _nothing(frequency: Real) -> Complex:
    return np.zeros((2, *frequency.shape), np.complex128)
