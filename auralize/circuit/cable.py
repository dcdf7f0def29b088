"""What a cable is to the circuit: series impedance and shunt admittance per metre, at any frequency."""

from __future__ import annotations

import cmath
import math
from abc import ABC, abstractmethod
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Final, Literal, Protocol, Self, get_args

import numpy as np

from auralize.circuit.coaxial import coaxial_impedance, transfer_impedance
from auralize.circuit.coil import helix_inductance
from auralize.circuit.conductor import MU_0, UNIT, Complex, Conductor, Real
from auralize.circuit.frequency_table import ImpedanceTable, check_within
from auralize.circuit.pair import impedance_by_conductor, pair_capacitance, twist_factor

REFERENCE_FREQUENCY: Final = 1000.0
"""Hz at which a capacitance is stated, as is common in data sheets."""
TABLE_TOP: Final = 1.0e6
"""Hz; the field is solved up to here, which is also how far a response may be asked."""
_POINTS_PER_DECADE: Final = 20
# With quintic splines of log f this keeps the table within 2e-7 of the direct solve (tested).
_STEPS_PER_DECADE: Final = 4
# In which tables end, so that those of one cable at many temperatures are one or two.
_ROUNDING: Final = 1e-6
# By which they end later, so that their end is not missed by the last digit.
Side = Literal["plus", "minus"]
"""One of the two conductors, by the terminal it comes from."""
SIDES: Final[tuple[Side, ...]] = get_args(Side)
_SMALLEST_ARGUMENT: Final = 2e-3
# |ka|^2 at the table's foot: below it R and L differ from DC by |ka|^4 / 50, under 1e-7.


class Cable(Protocol):
    """Per metre of cable (both conductors in the loop), at frequencies in Hz, 0 included."""

    def series(self, frequency: Real) -> Complex:
        """Loop impedance in ohm/m."""
        ...

    def by_conductor(self, frequency: Real) -> Complex:
        """What plus and minus each keep of it, shape (2, frequencies); both add up to it.

        The voltage between a conductor's two ends along itself at 1 A in the loop, of its own flux less
        what the other's sends through it, as read with short leads where both ends lie together (at
        a coaxial shield: along its outside). Raises ValueError where the cable was measured as a loop.
        """
        ...

    def shunt(self, frequency: Real) -> Complex:
        """Admittance between the conductors in S/m."""
        ...


NOT_BY_CONDUCTOR: Final = (
    "a cable measured as a loop does not tell what each conductor keeps; describe it by its "
    "construction and conductors instead"
)


@dataclass(frozen=True)
class Dielectric:
    """Capacitance in F/m at 1 kHz and loss tangent (0 to below 1), the same at all frequencies.

    The admittance j omega C (j omega / omega_ref)^(-2 delta / pi) has exactly the angle 90 degrees
    less delta everywhere and is causal, as a constant C beside a constant G / omega is not.
    """

    capacitance: float
    loss_tangent: float = 0.0

    def admittance(self, frequency: Real) -> Complex:
        """S/m; 0 at 0 Hz."""
        power = 1.0 - 2.0 / math.pi * math.atan(self.loss_tangent)
        relative = np.asarray(frequency, dtype=np.float64) / REFERENCE_FREQUENCY
        modulus = 2.0 * math.pi * REFERENCE_FREQUENCY * self.capacitance
        return modulus * cmath.exp(0.5j * math.pi * power) * relative**power


_NO_DIELECTRIC: Final = Dielectric(0.0)


class SolvedCable(ABC):
    """A cable whose field is solved once on a table over frequency, then interpolated smoothly.

    What it has per ohm of DC resistance depends on its proportions and on frequency per ohm alone, as do
    all fields of eddy currents: so one table, of `unit`, serves all temperatures and sizes.
    """

    conductor: Conductor
    dielectric: Dielectric

    @property
    @abstractmethod
    def lengthening(self) -> float:
        """Metres of conductor for each metre of cable: twist lengthens R, L and C alike."""

    @property
    def wires(self) -> tuple[Conductor, ...]:
        """What is solid in it and crowds the current."""
        return (self.conductor,)

    @abstractmethod
    def unit(self) -> SolvedCable:
        """The same in its proportions, its `conductor` of 1 m of radius and 1 ohm/m."""

    @abstractmethod
    def solve(self, frequency: Real) -> Complex:
        """Along plus and minus in ohm/m of the untwisted cable, shape (2, frequencies), above 0 Hz."""

    def series(self, frequency: Real) -> Complex:
        """Loop impedance in ohm/m of cable, 0 Hz to `TABLE_TOP`."""
        return np.asarray(self.by_conductor(frequency).sum(axis=0))

    def by_conductor(self, frequency: Real) -> Complex:
        """What plus and minus each keep of it in ohm/m of cable, shape (2, frequencies)."""
        frequency = np.asarray(frequency, dtype=np.float64)
        check_within(frequency, TABLE_TOP)
        ohm, unit = self.conductor.resistance, self.unit()
        foot = _foot(unit)
        steps = math.ceil(_STEPS_PER_DECADE * math.log10(TABLE_TOP / ohm / foot) + _ROUNDING)
        return self.lengthening * ohm * _table(unit, foot, steps)(frequency / ohm)

    def shunt(self, frequency: Real) -> Complex:
        """Admittance in S/m of cable."""
        return self.lengthening * self.dielectric.admittance(frequency)


def _foot(cable: SolvedCable) -> float:
    """Hz of `_SMALLEST_ARGUMENT` in the wire that crowds the current first."""
    return min(
        _SMALLEST_ARGUMENT * wire.resistivity / (2 * math.pi * MU_0 * wire.radius**2)
        for wire in cable.wires
    )


@lru_cache(maxsize=512)
def _table(cable: SolvedCable, foot: float, steps: int) -> ImpedanceTable:
    count = steps * _POINTS_PER_DECADE // _STEPS_PER_DECADE + 1
    grid = foot * 10.0 ** (np.arange(count) / _POINTS_PER_DECADE)
    return ImpedanceTable(grid, cable.solve(grid))


@dataclass(frozen=True)
class PairCable(SolvedCable):
    """Two conductors at a ``spacing`` in m, twisted where a ``lay_length`` in m is given.

    The field is that of the straight pair; twist lengthens the conductors. ``conductor`` is that of
    plus, and of minus too unless that is given.
    """

    conductor: Conductor
    spacing: float
    dielectric: Dielectric
    lay_length: float | None = None
    minus: Conductor | None = None

    @property
    def lengthening(self) -> float:
        """Metres of conductor for each metre of cable."""
        return 1.0 if self.lay_length is None else twist_factor(self.spacing, self.lay_length)

    @property
    def wires(self) -> tuple[Conductor, ...]:
        """Plus and minus."""
        return self.conductor, self.minus or self.conductor

    def unit(self) -> PairCable:
        """In its proportions; twist and dielectric make no difference to the field."""
        minus = None if self.minus is None else self.minus.relative_to(self.conductor)
        return PairCable(UNIT, self.spacing / self.conductor.radius, _NO_DIELECTRIC, minus=minus)

    def solve(self, frequency: Real) -> Complex:
        """Along plus and minus in ohm/m of the untwisted pair."""
        return impedance_by_conductor(frequency, [0.0, self.spacing], self.wires, [1.0, -1.0])


class ParallelCores(SolvedCable):
    """Equal cores twisted round one axis, some in parallel there and some back, as symmetry lets them.

    What the twist adds to the inductance is part of it.
    """

    spacing: float
    lay_length: float

    def unit(self) -> Self:
        """In its proportions; twist and dielectric make no difference to the field."""
        spacing = self.spacing / self.conductor.radius
        alike = {"conductor": UNIT, "spacing": spacing, "dielectric": _NO_DIELECTRIC}
        return replace(self, lay_length=math.inf, **alike)  # type: ignore[type-var]

    @property
    @abstractmethod
    def centres(self) -> list[complex]:
        """Of the cores in m, from the axis."""

    @property
    @abstractmethod
    def shares(self) -> list[float]:
        """What part of the current each carries."""

    @property
    def lengthening(self) -> float:
        """Metres of conductor for each metre of cable; the helices run round the axis."""
        return twist_factor(2.0 * abs(self.centres[0]), self.lay_length)

    def solve(self, frequency: Real) -> Complex:
        """Along plus and minus in ohm/m of the untwisted cores."""
        cores = [self.conductor] * len(self.centres)
        return impedance_by_conductor(frequency, self.centres, cores, self.shares)

    def by_conductor(self, frequency: Real) -> Complex:
        """What plus and minus each keep in ohm/m of cable; each core of the twist by its share."""
        centres, shares = np.array(self.centres), np.array(self.shares)
        across = 2.0 * abs(self.centres[0])
        twist = helix_inductance(np.angle(centres), shares, across, self.lay_length)
        squares = np.array([(shares[shares > 0.0] ** 2).sum(), (shares[shares < 0.0] ** 2).sum()])
        reactance = 2j * np.pi * np.asarray(frequency, dtype=np.float64) * twist
        return super().by_conductor(frequency) + np.outer(squares / squares.sum(), reactance)


@dataclass(frozen=True)
class FourCoreCable(ParallelCores):
    """Four cores in a square of side ``spacing`` m, two in parallel there, two back.

    ``crossed``: those opposite each other are joined, else those beside each other.
    """

    conductor: Conductor
    spacing: float
    dielectric: Dielectric
    lay_length: float
    crossed: bool = True

    @property
    def centres(self) -> list[complex]:
        """In order round the square."""
        return [
            self.spacing * corner for corner in (-0.5 - 0.5j, 0.5 - 0.5j, 0.5 + 0.5j, -0.5 + 0.5j)
        ]

    @property
    def shares(self) -> list[float]:
        """Of the current."""
        return [0.5, -0.5, 0.5, -0.5] if self.crossed else [0.5, 0.5, -0.5, -0.5]


@dataclass(frozen=True)
class ThreeCoreCable(ParallelCores):
    """Three cores, each ``spacing`` m from both others; two in parallel make plus or minus."""

    conductor: Conductor
    spacing: float
    dielectric: Dielectric
    lay_length: float
    doubled: Side = "minus"

    @property
    def centres(self) -> list[complex]:
        """The single core, then the two."""
        radius = self.spacing / math.sqrt(3.0)
        return [
            radius * complex(math.cos(a), math.sin(a)) for a in np.arange(3) * 2.0 * math.pi / 3.0
        ]

    @property
    def shares(self) -> list[float]:
        """Of the current."""
        return [1.0, -0.5, -0.5] if self.doubled == "minus" else [-1.0, 0.5, 0.5]


@dataclass(frozen=True)
class CoaxialCable(SolvedCable):
    """Core and shield; ``inner`` and ``outer`` radius of the shield in m, its ``resistance`` in ohm/m."""

    conductor: Conductor
    inner: float
    outer: float
    resistance: float
    dielectric: Dielectric

    @property
    def lengthening(self) -> float:
        """1: nothing is twisted."""
        return 1.0

    def unit(self) -> CoaxialCable:
        """In its proportions."""
        radius, ohm = self.conductor.radius, self.conductor.resistance
        shield = (self.inner / radius, self.outer / radius, self.resistance / ohm)
        return CoaxialCable(UNIT, *shield, _NO_DIELECTRIC)

    def solve(self, frequency: Real) -> Complex:
        """Along core and shield in ohm/m, the shield's along its outside."""
        shield = self.inner, self.outer, self.resistance
        loop = coaxial_impedance(frequency, self.conductor, *shield)
        outside = transfer_impedance(frequency, *shield)
        return np.stack([loop - outside, outside])


@dataclass(frozen=True)
class MeasuredCable:
    """Loop resistance in ohm/m, inductance in H/m and dielectric as measured, constant over frequency.

    No skin or proximity effect: take values measured well below 1 kHz for the resistance and expect
    the loss above 10 kHz to be under-stated.
    """

    resistance: float
    inductance: float
    dielectric: Dielectric

    def series(self, frequency: Real) -> Complex:
        """Loop impedance in ohm/m."""
        s = 2j * np.pi * np.asarray(frequency, dtype=np.float64)
        return np.asarray(self.resistance + s * self.inductance, dtype=np.complex128)

    def by_conductor(self, frequency: Real) -> Complex:
        """Raises ValueError."""
        raise ValueError(NOT_BY_CONDUCTOR)

    def shunt(self, frequency: Real) -> Complex:
        """Admittance in S/m."""
        return self.dielectric.admittance(frequency)


def make_pair(
    conductor: Conductor,
    spacing: float,
    *,
    permittivity: float,
    loss_tangent: float,
    capacitance: float | None = None,
    lay_length: float | None = None,
    minus: Conductor | None = None,
) -> PairCable:
    """Pair with its capacitance from geometry and dielectric, or as given in F/m of cable."""
    other = (minus or conductor).radius
    from_geometry = pair_capacitance(spacing, conductor.radius, permittivity, other)
    pair = PairCable(conductor, spacing, Dielectric(from_geometry, loss_tangent), lay_length, minus)
    if capacitance is None:
        return pair
    return replace(pair, dielectric=Dielectric(capacitance / pair.lengthening, loss_tangent))
