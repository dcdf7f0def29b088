"""The phase of an impedance of which only the modulus is known: an impedance is of minimum phase.

What is passive has neither poles nor zeros in the right half plane, so that its angle follows from ln|Z|
by Hilbert's transform. H. W. Bode, Network Analysis and Feedback Amplifier Design, 1945 (from memory).
"""

from __future__ import annotations

from typing import Final

import numpy as np

from auralize.circuit.conductor import Real
from auralize.circuit.rational import fitted
from auralize.circuit.spline import Spline

_PER_OCTAVE: Final = 96
"""Cells over which ln|Z| is taken as straight."""
_BEYOND: Final = 14.0
"""Octaves that are added at each end; what lies farther adds under 0.01 degrees."""
_EDGE: Final = 1.0 / 3.0
"""Octaves over which the slope at an end is taken, three points at least."""
_TOP: Final = 1.0
"""Octaves from which is told how |Z| goes on above."""
_CAPACITOR: Final = -0.8
"""Slope of ln|Z| over ln f below which a capacitor in the line goes on as such."""
_MOST_ANGLE: Final = 0.499 * np.pi
"""No loudspeaker is a pure coil or capacitor."""


def derived_phase(frequency: Real, modulus: Real) -> Real:
    """Angle of Z in radians: `minimum_phase`, or from few points that of the simplest circuit near them.

    From third octaves of a driver in free air or in a closed box it is then within 6 degrees, where
    `minimum_phase` is off by up to 31 (tests); of more involved loads it is that, and far off beside a
    resonance.
    """
    if float(np.median(np.diff(np.log2(frequency)))) * _DENSE <= 1.0:
        return minimum_phase(frequency, modulus)
    for order in _ORDERS:
        try:
            with np.errstate(all="ignore"):  # what comes to no number is not near
                found = _of_circuit(frequency, modulus, order)
        except ValueError:  # LinAlgError too: the points lie too far apart in size
            continue
        if found is not None:
            return found
    return minimum_phase(frequency, modulus)


_DENSE: Final = 11.5
"""Points an octave from which Hilbert's transform is the better."""
_ORDERS: Final = (2, 3, 4)
"""A driver and its box, with one eddy current or two; beyond, magnitude alone tells no order."""
_ROUNDS: Final = 25
_MISSED: Final = 0.02
"""Root mean square of ln|Z| by which a circuit may miss the points."""
_SHARPEST: Final = 40.0
"""Q, above which a pole stands for noise."""


def _of_circuit(f: Real, modulus: Real, order: int) -> Real | None:
    """The angle of a rational function whose modulus is nearest; None where none is near and passive.

    Each round gives the points the angles that the function of the round before has.
    """
    angle, best, nearest = minimum_phase(f, modulus), _MISSED, None
    for _ in range(_ROUNDS):
        function = fitted(f, modulus * np.exp(1j * angle), order)
        z = function(f)
        angle = np.angle(z)
        missed = float(np.sqrt(np.mean(np.log(np.abs(z) / modulus) ** 2)))
        if missed < best and function.sharpest < _SHARPEST:
            best, nearest = missed, function
    if nearest is None:
        return None
    wide = np.geomspace(f[0] / 4.0, f[-1] * 4.0, 40 * len(f))
    return np.angle(nearest(f)) if (nearest(wide).real > 0.0).all() else None


def minimum_phase(frequency: Real, modulus: Real) -> Real:
    """Angle of Z in radians at rising frequencies in Hz above 0, from |Z| in ohm there.

    Below the data, ln|Z| runs level as f^2 does, beginning with the slope that it has at the first
    points; or goes on with that slope where a capacitor is in the line. Above, it goes on as the last octave
    does, as resistor, coil and what lies between the two. Both are guesses: an angle is off by up to 6
    degrees within an octave of the lowest point, and else by up to 2.5, from 24 points an octave on (tests).
    """
    u, level = np.log(frequency), np.log(modulus)
    spline = Spline(u, level, 3)
    step = np.log(2.0) / _PER_OCTAVE
    edges = np.arange(u[0] - _BEYOND * np.log(2.0), u[-1] + _BEYOND * np.log(2.0), step)
    told = spline(np.clip(edges, u[0], u[-1]))
    told += _below(np.minimum(edges - u[0], 0.0), _slope(u, level))
    told += _above(np.maximum(edges - u[-1], 0.0), u - u[-1], level)
    count = len(edges)
    angle = np.convolve(np.diff(told) / step, _weights(count, step))[count - 2 : 2 * count - 2]
    return np.clip(np.interp(u, edges, angle), -_MOST_ANGLE, _MOST_ANGLE)


def _below(under: Real, slope: float) -> Real:
    """ln|Z| less that of the first point at ln(f / first), 0 or below."""
    if slope < _CAPACITOR:
        return under * slope
    return 0.5 * slope * np.expm1(2.0 * under)


def _above(over: Real, u: Real, level: Real) -> Real:
    """ln|Z| less that of the last point at ln(f / last), 0 or above: |Z|^2 = a + b f + c f^2, each >= 0."""
    from scipy.optimize import nnls

    last = slice(min(len(u) - 4, int(np.searchsorted(u, -_TOP * np.log(2.0)))), None)
    ratio, squares = np.exp(u[last]), np.exp(2.0 * (level[last] - level[-1]))
    columns = ratio[:, None] ** np.arange(3)
    found = nnls(columns / squares[:, None], np.ones(len(squares)))[0]
    powers = np.exp(over)[:, None] ** np.arange(3)
    return np.asarray(0.5 * np.log(powers @ found / found.sum()))


def _slope(u: Real, level: Real) -> float:
    """d level / du at the first point: of the straight line nearest to the first ones."""
    count = max(3, int(np.searchsorted(u, u[0] + _EDGE * np.log(2.0), side="right")))
    return float(np.polyfit(u[:count], level[:count], 1)[0])


def _weights(count: int, step: float) -> Real:
    """What a slope of 1 over a cell adds to the angle at an edge so many cells away.

    1/pi times the integral of ln coth|u/2| over the cell: G(u) = pi^2/4 - Li2(e^-u) + Li2(-e^-u), where
    Li2(x) is SciPy's spence(1 - x).
    """
    from scipy.special import spence

    u = step * np.arange(count)
    far = np.exp(-u)
    whole = np.pi**2 / 4.0 - spence(1.0 - far) + spence(1.0 + far)
    one_side = np.diff(whole) / np.pi
    return np.concatenate([one_side[::-1], one_side])
