"""Interpolating splines of odd degree, as `scipy.interpolate.make_interp_spline` makes them.

Ours, since that module takes longer to import than most commands run.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from auralize.circuit.conductor import Real

_AT_ONCE: Final = 4096
# Points told in one go, which the cache holds.

_Factors = list[tuple[int, list[float], list[float]]]
# Of each row of a banded matrix: the first column of its lower part, that part, the upper part.


class Spline:
    """A piecewise polynomial of odd ``degree`` through values (n, ...), real or complex, at rising x.

    Smooth in ``degree`` - 1 derivatives; "not a knot": the outermost pieces are one polynomial over
    (degree + 1) / 2 intervals, which also goes on outside. Needs degree + 1 points or more. Rounding:
    some 1e-15 of the largest value near by. de Boor, 'A Practical Guide to Splines', chapters IX, X
    and XIII (from memory).
    """

    def __init__(self, x: Real, values: NDArray[Any], degree: int) -> None:
        x = np.asarray(x, dtype=np.float64)
        values = np.asarray(values)
        self._shape = values.shape[1:]
        knots, end = _knots(x, degree), len(x) - 1
        columns = values.reshape(len(x), -1).T.tolist()
        factors = _factors(x.tobytes(), degree)
        weights = np.array([_solved(factors, column) for column in columns]).T
        self._starts = knots[degree : end + 1]
        self._pieces = _pieces(knots, weights, degree)

    def __call__(self, x: Real) -> NDArray[Any]:
        """Values of shape x.shape + (...)."""
        x = np.asarray(x, dtype=np.float64)
        flat = x.reshape(-1)
        told = np.empty((len(flat), self._pieces.shape[2]), self._pieces.dtype)
        for first in range(0, len(flat), _AT_ONCE):
            part = flat[first : first + _AT_ONCE]
            piece = np.maximum(np.searchsorted(self._starts, part, side="right") - 1, 0)
            away = (part - self._starts[piece])[:, None]
            powers = self._pieces[piece]
            out = told[first : first + _AT_ONCE]
            out[:] = powers[:, -1]
            for power in range(powers.shape[1] - 2, -1, -1):
                out *= away
                out += powers[:, power]
        return told.reshape(x.shape + self._shape)


def _knots(x: Real, degree: int) -> Real:
    """The points, but for those next to the ends, and the ends as often as makes them sharp."""
    half = (degree + 1) // 2
    ends = np.repeat(x[[0, -1]], degree + 1)
    return np.concatenate([ends[: degree + 1], x[half:-half], ends[degree + 1 :]])


def _bases(knots: Real, interval: NDArray[np.intp], x: Real, degree: int) -> Sequence[Real]:
    """B-splines of degree 0, 1, ... ``degree`` that are not zero at x within intervals: (degree + 1, x)."""
    every = [np.ones((1, len(x)))]
    for last in range(1, degree + 1):
        before, now = every[-1], np.zeros((last + 1, len(x)))
        for n in range(last):
            right, left = knots[interval + n + 1], knots[interval + n + 1 - last]
            share = before[n] / (right - left)
            now[n] += (right - x) * share
            now[n + 1] += (x - left) * share
        every.append(now)
    return every


@lru_cache(maxsize=4)
def _factors(points: bytes, degree: int) -> _Factors:
    """What Gaussian elimination makes of the B-splines at the points.

    Without pivots, as of a totally positive matrix. Kept, since all choices of a rig ask for the same.
    """
    x = np.frombuffer(points)
    knots, end = _knots(x, degree), len(x) - 1
    interval = np.clip(np.searchsorted(knots, x, side="right") - 1, degree, end)
    rows = _bases(knots, interval, x, degree)[-1].T.tolist()
    found: _Factors = []
    for place, (first, row) in enumerate(zip((interval - degree).tolist(), rows, strict=True)):
        for column in range(first, place):
            at, upper = column - first, found[column][2]
            share = row[at] = row[at] / upper[0]
            for n in range(1, len(upper)):
                row[at + n] -= share * upper[n]
        while not row[-1]:
            row.pop()
        found.append((first, row[: place - first], row[place - first :]))
    return found


def _solved(factors: _Factors, column: list[Any]) -> list[Any]:
    """The weights of the B-splines for one column of values."""
    found = list(column)
    for place, (first, lower, _) in enumerate(factors):
        value, at = found[place], first
        for share in lower:
            value -= share * found[at]
            at += 1
        found[place] = value
    for place in reversed(range(len(found))):
        pivot, *upper = factors[place][2]
        value, at = found[place], place
        for share in upper:
            at += 1
            value -= share * found[at]
        found[place] = value / pivot
    return found


def _pieces(knots: Real, weights: NDArray[Any], degree: int) -> NDArray[Any]:
    """Coefficients (pieces, powers, columns) of x less where a piece begins: its derivatives there."""
    interval = np.arange(degree, len(weights))
    bases = _bases(knots, interval, knots[interval], degree)
    made = np.empty((len(interval), degree + 1, weights.shape[1]), weights.dtype)
    for power in range(degree + 1):
        left = degree - power
        first = interval - degree
        made[:, power] = sum(bases[left][n][:, None] * weights[first + n] for n in range(left + 1))
        if left:  # the weights of the derivative, over the power's share of the factorial
            width = knots[degree + 1 : -power - 1] - knots[power + 1 : -degree - 1]
            weights = np.diff(weights, axis=0) * (left / (power + 1) / width)[:, None]
    return made
