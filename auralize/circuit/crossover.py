"""Passive networks in front of drivers: coils, capacitors and resistors in ladders.

o--[series]--+--[series]--+---- driver
             |            |
          [shunt]      [shunt]          rungs, as they come from the terminals
o------------+------------+-----------
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import reduce
from typing import Literal

import numpy as np

from auralize.circuit import twoport
from auralize.circuit.conductor import Complex, Real
from auralize.circuit.loudspeaker import Load


@dataclass(frozen=True)
class Coil(Load):
    """``inductance`` in H with its winding ``resistance`` in ohm."""

    inductance: float
    resistance: float = 0.0

    def __post_init__(self) -> None:
        _check("a coil", "inductance", self.inductance, self.resistance)

    def port(self, frequency: Real) -> Complex:
        """R + s L to 1; a short at 0 Hz where it has no resistance."""
        s = 2j * np.pi * np.asarray(frequency, dtype=np.float64)
        return twoport.port(self.resistance + s * self.inductance, 1.0)


@dataclass(frozen=True)
class Capacitor(Load):
    """``capacitance`` in F with its series ``resistance`` in ohm."""

    capacitance: float
    resistance: float = 0.0

    def __post_init__(self) -> None:
        _check("a capacitor", "capacitance", self.capacitance, self.resistance)

    def port(self, frequency: Real) -> Complex:
        """1 + s C R to s C; an open at 0 Hz."""
        s = 2j * np.pi * np.asarray(frequency, dtype=np.float64)
        return twoport.port(1.0 + s * self.capacitance * self.resistance, s * self.capacitance)


def _check(what: str, name: str, value: float, resistance: float) -> None:
    if not value > 0.0:
        raise ValueError(f"{what}'s {name} must be above zero")
    if not resistance >= 0.0:
        raise ValueError(f"{what}'s resistance cannot be below zero")


@dataclass(frozen=True)
class InSeries(Load):
    """Loads one behind the other (a notch across the terminals, say)."""

    parts: tuple[Load, ...]

    def __post_init__(self) -> None:
        if not self.parts:
            raise ValueError("nothing is in series: at least one part is needed")

    def port(self, frequency: Real) -> Complex:
        """One current through all."""
        return reduce(twoport.in_series, (part.port(frequency) for part in self.parts))


@dataclass(frozen=True)
class InParallel(Load):
    """Loads side by side (a trap in the line to a driver, say)."""

    parts: tuple[Load, ...]

    def __post_init__(self) -> None:
        if not self.parts:
            raise ValueError("nothing is in parallel: at least one part is needed")

    def port(self, frequency: Real) -> Complex:
        """One voltage over all."""
        return reduce(twoport.in_parallel, (part.port(frequency) for part in self.parts))


@dataclass(frozen=True)
class Rung:
    """``part`` in the line to the driver (series) or across it (shunt)."""

    place: Literal["series", "shunt"]
    part: Load


@dataclass(frozen=True)
class Ladder(Load):
    """One way of a crossover: rungs as they come from the terminals, and what they ``end`` in."""

    rungs: tuple[Rung, ...]
    end: Load

    def port(self, frequency: Real) -> Complex:
        """Seen at the terminals."""
        return self._walk(frequency)[0]

    def transfer(self, frequency: Real) -> Complex:
        """Voltage over the end (a driver's terminals) relative to that at the ladder's terminals.

        0 at 0 Hz where capacitors alone would share the voltage.
        """
        return self._walk(frequency)[1]

    def _walk(self, frequency: Real) -> tuple[Complex, Complex]:
        seen = self.end.port(frequency)
        ratio: Complex = np.ones(np.shape(frequency), dtype=np.complex128)
        for rung in reversed(self.rungs):
            part = rung.part.port(frequency)
            if rung.place == "series":
                ratio = ratio * twoport.share(part, seen)
                seen = twoport.in_series(part, seen)
            else:
                seen = twoport.in_parallel(part, seen)
        return seen, ratio


@dataclass(frozen=True)
class Crossover(Load):
    """The ways of a loudspeaker by name, all fed from the same terminals."""

    ways: Mapping[str, Ladder]

    def __hash__(self) -> int:
        return hash(tuple(self.ways.items()))

    def __post_init__(self) -> None:
        if not self.ways:
            raise ValueError("a crossover needs at least one way")

    def port(self, frequency: Real) -> Complex:
        """All ways side by side."""
        return InParallel(tuple(self.ways.values())).port(frequency)

    def transfer(self, way: str, frequency: Real) -> Complex:
        """Voltage over the driver of a ``way`` relative to that at the loudspeaker's terminals."""
        return self.ways[way].transfer(frequency)
