"""Inductance and field of filaments along any path: Neumann's integral, Biot and Savart.

A path that goes round and round, each round lying a little beyond the last, changes slowly from
round to round, and so does what two rounds do to each other with the number of rounds between them.
Near rounds are all taken; of farther ones a few, for as many as lie about as far (`sampled`).
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from numpy.typing import NDArray

from auralize.circuit.conductor import MU_0, Real

_TILE: Final = 256
# Pieces of a path worked on at once, squared: keeps the arrays inside the processor's cache.
_NEAR: Final = 8
_POINTS: Final = 4
# Rounds all taken, and of each twice as long stretch beyond: 1e-4 of what eights add (tests).


def sampled(count: int, every: bool = False) -> tuple[NDArray[np.int64], Real]:
    """Numbers below ``count`` and weights whose sum stands for all, of what changes less and less.

    Exact for polynomials of degree `_POINTS` - 1 on each stretch; ``every``: all, by 1.
    """
    if every or count <= _NEAR:
        return np.arange(count), np.ones(count)
    numbers, weights = [np.arange(_NEAR)], [np.ones(_NEAR)]
    low, size = _NEAR, _NEAR
    while low < count:
        stretch = np.arange(low, min(low + size, count))
        chosen, weight = stretch, np.ones(len(stretch))
        if len(stretch) > _POINTS:
            place = 0.5 - 0.5 * np.cos((np.arange(_POINTS) + 0.5) * np.pi / _POINTS)
            chosen = stretch[np.round(place * (len(stretch) - 1)).astype(int)]
            x = 2.0 * (stretch - stretch.mean()) / len(stretch)
            moments = np.polynomial.legendre.legvander(x, _POINTS - 1)
            weight = np.linalg.solve(moments[chosen - low].T, moments.sum(axis=0))
        numbers.append(chosen)
        weights.append(weight)
        low, size = low + size, 2 * size
    return np.concatenate(numbers), np.concatenate(weights)


def path_inductance(
    paths: list[NDArray[np.float64]], currents: list[float], gmr: float, round_: int | None = None
) -> Real:
    """Inductance in H along each of some filaments in series, polylines of shape (points, 3) in m.

    Each filament's own and what the others put into it; the sum is that of the whole.

    Neumann's integral: the exact vector potential of each straight piece, taken at the middle of
    every other piece. Only a piece's own potential is regularised, at the distance ``gmr`` from it
    (thin-wire limit, 2 ln(piece / gmr)), so that it never reaches a neighbouring turn.
    ``currents`` are +1 or -1 for each path, of equally many points. Pieces need be short against
    the bends only, not against the distance between strands, as these run parallel. ``round_``:
    pieces in a round, where the paths go round and round.
    """
    nodes = np.stack(paths) - paths[0].mean(axis=0)
    sign = np.array(currents)[:, None, None]
    pieces = nodes.shape[1] - 1
    size = round_ or _TILE

    def window(n: int) -> tuple[Real, Real, Real]:
        ends = nodes[:, n * size : (n + 1) * size + 1]
        start, end = ends[:, :-1].reshape(-1, 3), ends[:, 1:].reshape(-1, 3)
        return start, end, (sign * np.diff(ends, axis=1)).reshape(-1, 3)

    def along(m: int, n: int, own_gmr: float | None) -> Real:
        each = _neumann(window(m), window(n), own_gmr)
        return np.asarray(each.reshape(len(paths), -1).sum(axis=1))

    def both_ways(m: int, n: int) -> Real:
        return along(m, n, None) + along(n, m, None)

    def within(n: int) -> Real:
        return along(n, n, gmr)

    whole, left = divmod(pieces, size)
    total = within(whole) if left else np.zeros(len(paths))
    for below, weight in zip(*sampled(whole, round_ is None), strict=True):
        m = whole - 1 - int(below)
        beyond = zip(*sampled(int(below), round_ is None), strict=True)
        each = within(m) + sum(w * both_ways(m, m + 1 + int(n)) for n, w in beyond)
        total += weight * (each + (both_ways(m, whole) if left else 0.0))
    return np.asarray(MU_0 / (4.0 * math.pi) * total)


def _neumann(
    at: tuple[Real, Real, Real], of: tuple[Real, Real, Real], own_gmr: float | None
) -> Real:
    """Potential of pieces (start, end, signed step) along each of others; ``own_gmr``: of themselves."""
    middle = 0.5 * (at[0] + at[1])
    piece = np.linalg.norm(of[2], axis=1)
    reach = _distances(middle, of[0]) + _distances(middle, of[1])
    if own_gmr is not None:  # a piece's own line is set apart
        np.fill_diagonal(reach, 2.0 * piece)
    potential = np.log((reach + piece) / (reach - piece))
    if own_gmr is not None:
        np.fill_diagonal(potential, 2.0 * np.log(piece / own_gmr))
    return np.asarray((potential * (at[2] @ (of[2].T / piece))).sum(axis=1))


def path_field(
    paths: list[NDArray[np.float64]], currents: Real, points: Real, skip: list[int]
) -> Real:
    """H in A/m, shape (sets, points, 3), of currents along polylines (Biot and Savart, exact).

    ``currents`` are sets of one for each path, shape (sets, paths). ``skip`` names for each point the
    piece (counted through all paths) that it lies on, which is left out: a straight piece makes no
    field on its own line.
    """
    middle = paths[0].mean(axis=0)
    points = points - middle
    start = np.concatenate([p[:-1] for p in paths]) - middle
    step = np.concatenate([np.diff(p, axis=0) for p in paths])
    sign = np.repeat(currents, [len(p) - 1 for p in paths], axis=1)
    one, other = _distances(points, start), _distances(points, start + step)
    reach = one + other
    share = one * other * (reach**2 - (step**2).sum(axis=1))
    share[np.arange(len(points)), skip] = np.inf
    share = reach / share / (2.0 * np.pi)
    # Each piece's (start - point) x step, summed by its share.
    moment = share @ (sign[:, :, None] * np.cross(start, step))
    return np.asarray(moment - np.cross(points, share @ (sign[:, :, None] * step)))


def _distances(a: Real, b: Real) -> Real:
    """Distance in m of each row of ``a`` from each row of ``b``, shape (len(a), len(b)).

    By the expanded square, which is quick; over the size of a coil good to 1e-9 of a wire's size.
    """
    square = a @ (-2.0 * b).T
    square += (a**2).sum(axis=1)[:, None]
    square += (b**2).sum(axis=1)
    return np.asarray(np.sqrt(np.maximum(square, 0.0)), dtype=np.float64)
