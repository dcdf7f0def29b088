"""What a cable is to the circuit: series impedance and shunt admittance per metre, at any frequency."""

from __future__ import annotations

import math
from abc import ABC, abstractmethod
from dataclasses import dataclass
from functools import lru_cache
from typing import Final, Protocol

import numpy as np

from auralize.circuit.coaxial import coaxial_impedance
from auralize.circuit.conductor import MU_0, Complex, Conductor, Real
from auralize.circuit.pair import loop_impedance, pair_capacitance, pair_impedance, twist_factor

REFERENCE_FREQUENCY: Final = 1000.0
"""Hz at which a capacitance is stated, as is common in data sheets."""
TABLE_TOP: Final = 1.0e6
"""Hz; the field is solved up to here, which is also how far a response may be asked."""
_POINTS_PER_DECADE: Final = 20
# With quintic splines of log f this keeps the table within 2e-7 of the direct solve (tested).
_SMALLEST_ARGUMENT: Final = 2e-3
# |ka|^2 at the table's foot: below it R and L differ from DC by |ka|^4 / 50, under 1e-7.


class Cable(Protocol):
    """Per metre of cable (both conductors in the loop), at frequencies in Hz, 0 included."""

    def series(self, frequency: Real) -> Complex:
        """Loop impedance in ohm/m."""
        ...

    def shunt(self, frequency: Real) -> Complex:
        """Admittance between the conductors in S/m."""
        ...


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
        relative = 1j * np.asarray(frequency, dtype=np.float64) / REFERENCE_FREQUENCY
        modulus = 2.0 * math.pi * REFERENCE_FREQUENCY * self.capacitance
        return modulus * np.asarray(relative**power, dtype=np.complex128)


class SolvedCable(ABC):
    """A cable whose field is solved once on a table over frequency, then interpolated smoothly."""

    conductor: Conductor
    dielectric: Dielectric

    @property
    @abstractmethod
    def lengthening(self) -> float:
        """Metres of conductor for each metre of cable: twist lengthens R, L and C alike."""

    @abstractmethod
    def solve(self, frequency: Real) -> Complex:
        """Loop impedance in ohm/m of the untwisted cable, above 0 Hz."""

    def series(self, frequency: Real) -> Complex:
        """Loop impedance in ohm/m of cable, 0 Hz to `TABLE_TOP`."""
        return self.lengthening * _table(self)(frequency)

    def shunt(self, frequency: Real) -> Complex:
        """Admittance in S/m of cable."""
        return self.lengthening * self.dielectric.admittance(frequency)


@lru_cache(maxsize=64)
def _table(cable: SolvedCable) -> ImpedanceTable:
    conductor = cable.conductor
    foot = _SMALLEST_ARGUMENT * conductor.resistivity / (2 * math.pi * MU_0 * conductor.radius**2)
    count = math.ceil(_POINTS_PER_DECADE * math.log10(TABLE_TOP / foot)) + 1
    grid = np.geomspace(foot, TABLE_TOP, count)
    return ImpedanceTable(grid, cable.solve(grid))


@dataclass(frozen=True)
class PairCable(SolvedCable):
    """Two equal conductors at a ``spacing`` in m, twisted where a ``lay_length`` in m is given.

    The field is that of the straight pair; twist lengthens the conductors.
    """

    conductor: Conductor
    spacing: float
    dielectric: Dielectric
    lay_length: float | None = None

    @property
    def lengthening(self) -> float:
        """Metres of conductor for each metre of cable."""
        return 1.0 if self.lay_length is None else twist_factor(self.spacing, self.lay_length)

    def solve(self, frequency: Real) -> Complex:
        """Loop impedance in ohm/m of the untwisted pair."""
        return pair_impedance(frequency, self.spacing, self.conductor)


@dataclass(frozen=True)
class FourCoreCable(SolvedCable):
    """Four equal conductors in a square of side ``spacing`` m, two in parallel there, two back.

    ``crossed``: those opposite each other are joined, else those beside each other.
    """

    conductor: Conductor
    spacing: float
    dielectric: Dielectric
    lay_length: float
    crossed: bool = True

    @property
    def lengthening(self) -> float:
        """Metres of conductor for each metre of cable; the helices run round the square."""
        return twist_factor(math.sqrt(2.0) * self.spacing, self.lay_length)

    def solve(self, frequency: Real) -> Complex:
        """Loop impedance in ohm/m of the untwisted square."""
        four = [self.conductor] * 4
        return loop_impedance(frequency, square(self.spacing), four, four_shares(self.crossed))


def square(side: float) -> list[complex]:
    """Centres of four cores in m, in order round the square."""
    return [0.0, side, side * (1 + 1j), side * 1j]


def four_shares(crossed: bool) -> list[float]:
    """What part of the current each core of the `square` carries."""
    return [0.5, -0.5, 0.5, -0.5] if crossed else [0.5, 0.5, -0.5, -0.5]


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

    def solve(self, frequency: Real) -> Complex:
        """Loop impedance in ohm/m."""
        return coaxial_impedance(frequency, self.conductor, self.inner, self.outer, self.resistance)


class ImpedanceTable:
    """R(f) and L(f) between the points of a table: splines of log f, constant below its foot.

    Smooth in R and L, so that a filter made from it decays. Raises ValueError above the table.
    """

    def __init__(self, frequency: Real, impedance: Complex) -> None:
        from scipy.interpolate import make_interp_spline  # 0.2 s that --help need not wait for

        self._foot, self._top = float(frequency[0]), float(frequency[-1])
        omega = 2.0 * np.pi * frequency
        values = np.stack([impedance.real, impedance.imag / omega], axis=-1)
        self._spline = make_interp_spline(np.log(frequency), values, k=5)

    def __call__(self, frequency: Real) -> Complex:
        """ohm/m at frequencies in Hz."""
        frequency = np.asarray(frequency, dtype=np.float64)
        if frequency.size and not 0.0 <= frequency.min() <= frequency.max() <= self._top:
            raise ValueError(f"the cable is solved from 0 to {self._top:g} Hz")
        r_and_l = self._spline(np.log(np.maximum(frequency, self._foot)))
        omega = 2.0 * np.pi * frequency
        return np.asarray(r_and_l[..., 0] + 1j * omega * r_and_l[..., 1], dtype=np.complex128)


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
) -> PairCable:
    """Pair with its capacitance from geometry and dielectric, or as given in F/m of cable."""
    from_geometry = pair_capacitance(spacing, conductor.radius, permittivity)
    pair = PairCable(conductor, spacing, Dielectric(from_geometry, loss_tangent), lay_length)
    if capacitance is None:
        return pair
    return PairCable(
        conductor, spacing, Dielectric(capacitance / pair.lengthening, loss_tangent), lay_length
    )
