"""Impedance known at some frequencies only: smooth and passive between, below and above them.

Between points that lie far apart a rational function goes from one to the next where one is found
(`between.filled`); the rest is a `Curve`, smooth and passive whatever was measured.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from auralize.circuit import twoport
from auralize.circuit.between import filled
from auralize.circuit.cable import NOT_BY_CONDUCTOR, REFERENCE_FREQUENCY, Dielectric
from auralize.circuit.conductor import Complex, Real
from auralize.circuit.curve import Curve
from auralize.circuit.loudspeaker import Load
from auralize.units import show_frequency

FEWEST: Final = 4
"""Points that a spline needs."""
_CONTINUED: Final = 1e3
"""How far below and above the data the spline goes on; beyond, it is a plain power of f."""
_PER_DECADE: Final = 40
"""Points a decade outside of the data."""
_FIT_SPAN: Final = 2.0
"""Ratio of frequencies over which a circuit is fitted to what is lowest."""
_FIT_POINTS: Final = 8
_FIT_ROUNDS: Final = 2
_FIT_MISS: Final = 0.05
_FIT_RANGE: Final = 4.0
_FIT_FAR: Final = 100.0
# A fitted circuit is believed where it meets the data within 5 %, is passive and stable (poles 100 times
# higher in frequency do not count: a circuit of lower order has them anywhere), and where |Z| below the
# data is not 4 times beyond all of them.
_SLOPE_SPAN: Final = 2.0 ** (1.0 / 3.0)
"""Ratio of frequencies over which the slope at the first and last point is taken."""
_CAPACITIVE: Final = math.tan(math.radians(-75.0))
# X/R of a lowest point that only a capacitor in the line explains: a driver above its resonance stays
# within -70 degrees up to Qms/Qes of 30.


class SampledImpedance(Load):
    """Measured ``impedance`` in ohm at ``frequency`` in Hz, rising, as a load.

    Below the data it is led to a resistance at 0 Hz: ``dc_resistance`` in ohm where given, or a first
    point at 0 Hz, or what the lowest octave tells, as a circuit of third order (so that it stays
    causal); it is taken as a capacitor where the lowest point lies below -75 degrees. Above, it goes on
    as A + s L + K sqrt(s) with the last value and slope (where that is capacitive, at its angle). Raises
    ValueError for fewer than `FEWEST` points, frequencies that do not rise, and impedances that are not
    passive.
    """

    def __init__(
        self, frequency: Real, impedance: Complex, dc_resistance: float | None = None
    ) -> None:
        f, z, at_dc = _checked(frequency, impedance)
        at_dc = dc_resistance if at_dc is None else at_dc
        if at_dc is not None and not at_dc > 0.0:
            raise ValueError("a resistance at 0 Hz must be above zero")
        self.lowest, self.highest = float(f[0]), float(f[-1])
        self.widest = float(np.diff(np.log2(f)).max())
        """Octaves between two points, at most."""
        self.capacitive = at_dc is None and bool(z[0].imag < _CAPACITIVE * z[0].real)
        below = _outside(f[0] / _CONTINUED, f[0])
        foot = _power_law(below, f[0], z[0]) if self.capacitive else _circuit(below, f, z, at_dc)
        f, z = filled(f, z)
        above, top = _top(f, z)
        self._curve = Curve(
            np.concatenate([below, f, above]), np.concatenate([foot, z, top]), self.capacitive
        )

    def port(self, frequency: Real) -> Complex:
        """Z to 1; an open at 0 Hz for a capacitor."""
        f = np.asarray(frequency, dtype=np.float64)
        if not self.capacitive:
            return twoport.port(self._curve(f), 1.0)
        still = f == 0.0
        z = self._curve(np.where(still, self.lowest, f))
        return twoport.port(np.where(still, 1.0, z), np.where(still, 0.0, 1.0))

    def beyond(self, lowest: float, highest: float) -> str | None:
        """One sentence on what is not measured between two frequencies in Hz, None if all is."""
        return _beyond(
            self,
            lowest,
            highest,
            "a capacitor is taken" if self.capacitive else "it is led to a resistance at 0 Hz",
            "coils are taken",
        )


class SampledCable:
    """A cable whose loop impedance in ohm/m was measured at ``frequency`` in Hz, rising.

    Below the data, R and L go smoothly to what their slopes lead to at 0 Hz; above, the impedance goes
    on as A + s L + K sqrt(s), as skin effect does. Raises ValueError as `SampledImpedance` does.
    """

    def __init__(self, frequency: Real, series: Complex, dielectric: Dielectric) -> None:
        f, z, at_dc = _checked(frequency, series)
        self.lowest, self.highest, self.dielectric = float(f[0]), float(f[-1]), dielectric
        below = _outside(f[0] / _CONTINUED, f[0])
        above, top = _top(f, z)
        self._curve = Curve(
            np.concatenate([below, f, above]),
            np.concatenate([_foot(below, f, z, at_dc), z, top]),
            False,
        )

    def series(self, frequency: Real) -> Complex:
        """Loop impedance in ohm/m."""
        return self._curve(np.asarray(frequency, dtype=np.float64))

    def by_conductor(self, frequency: Real) -> Complex:
        """Raises ValueError."""
        raise ValueError(NOT_BY_CONDUCTOR)

    def shunt(self, frequency: Real) -> Complex:
        """Admittance in S/m."""
        return self.dielectric.admittance(frequency)

    def beyond(self, lowest: float, highest: float) -> str | None:
        """One sentence on what is not measured between two frequencies in Hz, None if all is."""
        below = "R and L are led to those at 0 Hz"
        return _beyond(self, lowest, highest, below, "skin effect is taken to go on")


def _beyond(
    data: SampledImpedance | SampledCable, lowest: float, highest: float, below: str, above: str
) -> str | None:
    parts = []
    if lowest < data.lowest:
        parts.append(f"below, {below}")
    if highest > data.highest:
        parts.append(f"above, {above}")
    if not parts:
        return None
    span = f"{show_frequency(data.lowest)} to {show_frequency(data.highest)}"
    return f"measured from {span} only: {'; '.join(parts)}"


def _checked(frequency: Real, impedance: Complex) -> tuple[Real, Complex, float | None]:
    """Data above 0 Hz, and the resistance at 0 Hz where that is among it."""
    f = np.asarray(frequency, dtype=np.float64)
    z = np.asarray(impedance, dtype=np.complex128)
    if f.ndim != 1 or f.shape != z.shape:
        raise ValueError("there must be as many impedances as frequencies")
    if not (np.isfinite(f).all() and np.isfinite(z).all()):
        raise ValueError("frequencies and impedances must be numbers")
    if not (np.diff(f) > 0.0).all() or (f < 0.0).any():
        raise ValueError("frequencies must rise, from 0 Hz or above")
    if not (z.real > 0.0).all():
        raise ValueError("the real part of an impedance must be above zero")
    at_dc = None
    if f.size and f[0] == 0.0:
        at_dc, f, z = float(z[0].real), f[1:], z[1:]
    if f.size < FEWEST:
        raise ValueError(f"at least {FEWEST} frequencies above 0 Hz are needed")
    return f, z, at_dc


def _outside(end: float, edge: float) -> Real:
    """Frequencies from ``edge``, itself left out, to ``end``, rising."""
    count = round(_PER_DECADE * abs(math.log10(end / edge)))
    return np.sort(np.geomspace(end, edge, count, endpoint=False))


def _power_law(frequency: Real, edge: float, at_edge: complex) -> Complex:
    """Z (s / s_edge)^(angle / 90 degrees): the same angle at all frequencies."""
    exponent = np.angle(at_edge) / (np.pi / 2.0)
    return at_edge * (frequency / edge) ** exponent


def _circuit(below: Real, f: Real, z: Complex, at_dc: float | None) -> Complex:
    """Below the data: a circuit of third order like that of the lowest octave, else `_foot`."""
    first = max(_FIT_POINTS, int(np.searchsorted(f, f[0] * _FIT_SPAN)))
    if f.size < _FIT_POINTS:
        return _foot(below, f, z, at_dc)
    data, edge = z[:first], float(f[0])
    over, under = _fitted(1j * f[:first] / edge, data, at_dc)
    met = np.polyval(over, 1j * f[:first] / edge) / np.polyval(under, 1j * f[:first] / edge)
    low = np.polyval(over, 1j * below / edge) / np.polyval(under, 1j * below / edge)
    modulus, poles = np.abs(data), np.roots(under)
    believable = (
        (poles.real[np.abs(poles) < _FIT_FAR] < 0.0).all()
        and over[-1] > 0.0
        and (low.real > 0.0).all()
        and np.abs(met / data - 1.0).max() < _FIT_MISS
        and np.abs(low).max() < _FIT_RANGE * modulus.max()
        and np.abs(low).min() > modulus.min() / _FIT_RANGE
    )
    return low if believable else _foot(below, f, z, at_dc)


def _fitted(s: Complex, data: Complex, at_dc: float | None) -> tuple[Real, Real]:
    """Z = (a3 s^3 + a2 s^2 + a1 s + a0) / (b3 s^3 + b2 s^2 + b1 s + 1) nearest to data, a0 as given or free.

    C. K. Sanathanan and J. Koerner, IEEE Trans. Automatic Control 8 (1963) 56 (from memory).
    """
    powers = s[:, None] ** np.arange(3, 0, -1)
    constant = np.ones((len(s), 1 if at_dc is None else 0))
    columns = np.concatenate([powers, constant, -data[:, None] * powers], axis=1)
    wanted, weight = data - (at_dc or 0.0), 1.0 / np.abs(data)
    for _ in range(_FIT_ROUNDS):
        system, right = columns * weight[:, None], wanted * weight
        found = np.linalg.lstsq(
            np.concatenate([system.real, system.imag]),
            np.concatenate([right.real, right.imag]),
            rcond=None,
        )[0]
        weight = 1.0 / np.abs(data * (1.0 + powers @ found[-3:]))
    over = np.append(found[:3], found[3] if at_dc is None else at_dc)
    return over, np.append(found[-3:], 1.0)


def _foot(below: Real, f: Real, z: Complex, at_dc: float | None) -> Complex:
    """Below the data: ln R = ln R0 + c (f/f1)^2, as R of a real circuit is even in f, and L as at f1.

    Where R0 is not given c follows from the slope at f1, R0 being no more than R there and no less than
    a quarter of the lowest R.
    """
    log_r = np.log(z.real)
    if at_dc is None:
        led = float(log_r[0]) - _slope(f, log_r) / 2.0
        log_r0 = min(max(led, float(log_r.min()) - math.log(_FIT_RANGE)), float(log_r[0]))
    else:
        log_r0 = math.log(at_dc)
    ratio = below / f[0]
    return np.exp(log_r0 + (log_r[0] - log_r0) * ratio**2) + 1j * z[0].imag * ratio


def _top(f: Real, z: Complex) -> tuple[Real, Complex]:
    """Frequencies above the data, and A + s L + K sqrt(s) there: none of the three below zero.

    The part of K is as large in R as in X, and rises in R with half its own value for each unit of ln f.
    """
    above = _outside(f[-1] * _CONTINUED, f[-1])
    if z[-1].imag <= 0.0:
        return above, _power_law(above, f[-1], z[-1])
    slope = -_slope(1.0 / f[::-1], z[::-1].real)
    root = min(max(2.0 * slope, 0.0), z[-1].real, z[-1].imag)
    ratio = above / f[-1]
    r = z[-1].real + root * (np.sqrt(ratio) - 1.0)
    x = (z[-1].imag - root) * ratio + root * np.sqrt(ratio)
    return above, r + 1j * x


def _slope(f: Real, values: Real) -> float:
    """d value / d ln f at the first frequency: of the parabola nearest to the first points."""
    first = max(FEWEST, int(np.searchsorted(f, f[0] * _SLOPE_SPAN)))
    u = np.log(f[:first] / f[0])
    columns = np.stack([np.ones_like(u), u, u * u], axis=1)
    return float(np.linalg.lstsq(columns, values[:first], rcond=None)[0][1])


@dataclass(frozen=True)
class WarmedCable:
    """A measured cable whose resistance at 0 Hz is ``warmer`` times that in the measurement.

    What skin and proximity effect add is left as it was measured. For 20 % more resistance that puts R
    within 3 % of the solved field up to 20 kHz (pairs of 2.5 to 10 mm2, tests).
    """

    measured: SampledCable
    warmer: float

    def series(self, frequency: Real) -> Complex:
        """Loop impedance in ohm/m."""
        at_dc = self.measured.series(np.zeros(1))[0].real
        return self.measured.series(frequency) + (self.warmer - 1.0) * at_dc

    def by_conductor(self, frequency: Real) -> Complex:
        """Raises ValueError."""
        return self.measured.by_conductor(frequency)

    def shunt(self, frequency: Real) -> Complex:
        """Admittance in S/m."""
        return self.measured.shunt(frequency)


def fitted_dielectric(frequency: Real, shunt: Complex) -> Dielectric:
    """The `Dielectric` nearest to a measured admittance in S/m, above 0 Hz.

    C falls as f^(-2 delta / pi) where the loss angle is delta; both are read from Im Y / omega by least
    squares, weighted with f as C is hard to measure at low frequency. Where the measurement finds no
    capacitance, it is 0.
    """
    f = np.asarray(frequency, dtype=np.float64)
    capacitance = shunt.imag / (2.0 * np.pi * f)
    found = capacitance > 0.0
    if not found.any():
        return Dielectric(0.0)
    weight = np.sqrt(f[found])
    columns = np.stack([np.ones_like(weight), np.log(f[found] / REFERENCE_FREQUENCY)], axis=1)
    wanted = np.log(capacitance[found]) * weight
    level, slope = np.linalg.lstsq(columns * weight[:, None], wanted, rcond=None)[0]
    delta = min(max(0.0, -slope) * math.pi / 2.0, math.pi / 4.0)
    return Dielectric(math.exp(level) / math.cos(delta), math.tan(delta))


@dataclass(frozen=True)
class LineConstants:
    """Per metre of cable over frequency: loop impedance in ohm/m and admittance in S/m."""

    series: Complex
    shunt: Complex


def line_constants(matrix: Complex, length: float) -> LineConstants:
    """Z' and Y' of a uniform line of ``length`` m from its chain matrix: `twoport.line` undone.

    x = asinh sqrt(B C), Z' = B x / (l sinh x), Y' = C x / (l sinh x). Raises ValueError where the line is
    a quarter of a wavelength or more, as then nothing tells by how many turns.
    """
    if not length > 0.0:
        raise ValueError("the length of a measured cable must be above zero")
    a, b, c, d = (matrix[..., i, j] for i in (0, 1) for j in (0, 1))
    if ((a + d).real <= 0.0).any():
        raise ValueError("the measured cable is longer than a quarter of a wavelength")
    ratio = twoport.sinh_over_x(np.arcsinh(np.sqrt(b * c)))
    return LineConstants(b / (length * ratio), c / (length * ratio))
