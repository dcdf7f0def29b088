"""What lies between the points of an impedance that are far apart: a resonance is not cut off there."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

import numpy as np

from auralize.circuit.conductor import Complex, Real
from auralize.circuit.curve import Curve
from auralize.circuit.rational import fitted
from auralize.circuit.spline import Spline

DENSE: Final = 24.0
"""Points an octave from which a spline alone is within 1 % of every loudspeaker's resonance (tests)."""
_FILLED: Final = 48
"""Points an octave that are put between those known."""
_FEWEST, _MOST = 8, 400
"""Points; with fewer nothing could be left out, with more the search would take seconds."""
_ORDERS: Final = range(2, 15)
"""From a driver in free air to two ways in a vented box."""
_FOLDS: Final = 3
"""Each point but the first and last is left out once, every third at a time."""
_SHARPEST: Final = 40.0
"""Q of a pole, above which it stands for no loudspeaker but for noise."""
_BETTER: Final = 0.9
"""Share of what a lower order misses that a higher one may miss to be taken instead."""
_ENOUGH: Final = 2e-4
"""Share of Z that may be missed: as little as a good analyser tells."""

Interpolated = Callable[[Real], Complex]


def filled(frequency: Real, impedance: Complex) -> tuple[Real, Complex]:
    """The points, and where they lie far apart others between them, which a rational function tells.

    Its order is that which tells best what is left out of the data; where the spline alone tells that
    better, or no function is passive over the data, the points stay alone. At the points themselves the
    impedance is what was given: the small ratio that is left goes from one to the next as a spline.
    """
    gaps = np.diff(np.log2(frequency))
    if not _FEWEST <= len(frequency) <= _MOST or float(np.median(gaps)) * DENSE <= 1.0:
        return frequency, impedance
    dense = _between(frequency, gaps)
    with np.errstate(all="ignore"):  # what comes to no number is not passive, and misses
        order = _best_order(frequency, impedance, dense)
        if order is None:
            return frequency, impedance
        found = _through(frequency, impedance, order)(dense)
    found[np.searchsorted(dense, frequency)] = impedance
    return (dense, found) if _passive(found) else (frequency, impedance)


def _between(frequency: Real, gaps: Real) -> Real:
    """The frequencies, and `_FILLED` an octave between them."""
    steps = np.ceil(gaps * _FILLED).astype(int)
    inside = [
        np.geomspace(a, b, n + 1)[1:-1]
        for a, b, n in zip(frequency, frequency[1:], steps, strict=False)
    ]
    return np.sort(np.concatenate([frequency, *inside]))


def _passive(impedance: Complex) -> bool:
    return bool(np.isfinite(impedance).all() and (impedance.real > 0.0).all())


def _best_order(f: Real, z: Complex, dense: Real) -> int | None:
    """The order that misses what is left out by least; None where the spline misses it by less."""
    best, order = _missed(f, z, lambda f, z: Curve(f, z, False)), None
    for tried in _ORDERS:
        if 2 * (tried + 1) > len(f) - len(f) // _FOLDS:
            break  # half as many unknowns as there are numbers: soon it would fit anything
        if best < _ENOUGH:
            break
        missed = _missed_by_order(f, z, tried, dense)
        if missed < best * _BETTER:
            best, order = missed, tried
    return order


def _missed_by_order(f: Real, z: Complex, order: int, dense: Real) -> float:
    """`_missed` by a rational function of an order; infinite where none of that order can be."""
    try:
        function = fitted(f, z, order)
        if function.sharpest > _SHARPEST or not _passive(function(dense)):
            return np.inf
        return _missed(f, z, lambda f, z: _through(f, z, order))
    except ValueError:  # LinAlgError too: the points lie too far apart in size
        return np.inf


def _missed(f: Real, z: Complex, made: Callable[[Real, Complex], Interpolated]) -> float:
    """Root mean square of ln(told / known) over all points, each left out in turn."""
    index, squares = np.arange(len(f)), []
    for fold in range(_FOLDS):
        out = (index % _FOLDS == fold) & (index > 0) & (index < len(f) - 1)
        told = made(f[~out], z[~out])(f[out])
        squares.append(np.abs(np.log(told / z[out])) ** 2)
    return float(np.sqrt(np.mean(np.concatenate(squares))))


def _through(f: Real, z: Complex, order: int) -> Interpolated:
    """The rational function of an order, led through the points."""
    function = fitted(f, z, order)
    ratio = z / function(f)
    parts = np.stack([np.log(np.abs(ratio)), np.angle(ratio)], axis=-1)
    left = Spline(np.log(f), parts, 3)

    def interpolated(frequency: Real) -> Complex:
        level, angle = np.moveaxis(left(np.log(frequency)), -1, 0)
        return np.asarray(function(frequency) * np.exp(level + 1j * angle))

    return interpolated
