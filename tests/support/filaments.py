"""A second way to the impedance of parallel round conductors, which shares nothing with the first.

Each conductor is cut into annular sectors ("filaments") of uniform current density, finer towards
the surface. A filament has a resistance, and with every other one a mutual inductance per metre of
-mu0/2pi times the mean logarithm of their distance (Galerkin's method; the logarithm of Maxwell's
geometric mean distance). No Bessel function, no multipole: the field inside the metal is what the
filaments find. The error falls with the square of the cell size, so that two grids are extrapolated
to a third that is four times finer (Richardson).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import eigh

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]

MU_0 = 4e-7 * math.pi

GRADING = 1.6
"""Depth below the surface goes with this power of the ring's number."""
HARMONICS = 24
"""The Fourier sum of the mean logarithm runs to this many times the sectors of a ring."""
GAUSS = np.polynomial.legendre.leggauss(2)


@dataclass(frozen=True)
class Circle:
    """A circle of ``radius`` m in ``rings`` by ``sectors`` cells, ordered ring by ring."""

    radius: float
    rings: int
    sectors: int

    @cached_property
    def edges(self) -> Real:
        depth = (1.0 - np.arange(self.rings + 1) / self.rings) ** GRADING
        return self.radius * (1.0 - depth)

    @cached_property
    def areas(self) -> Real:
        """m2 of each cell, shape (rings * sectors,)."""
        return np.repeat(np.diff(self.edges**2) * math.pi / self.sectors, self.sectors)

    @cached_property
    def points(self) -> tuple[Complex, Real]:
        """Gauss points of every cell about the centre, and weights that sum to 1 in each."""
        node, weight = GAUSS
        square = self.edges**2  # uniform in r^2 is uniform in area
        mid, half = (square[1:] + square[:-1]) / 2.0, np.diff(square) / 2.0
        r = np.sqrt(mid[:, None] + half[:, None] * node)
        step = 2.0 * math.pi / self.sectors
        theta = (np.arange(self.sectors)[:, None] + 0.5 + 0.5 * node) * step
        z = r[:, None, :, None] * np.exp(1j * theta)[None, :, None, :]
        w = np.broadcast_to(0.25 * np.outer(weight, weight), z.shape)
        cells = self.rings * self.sectors
        return z.reshape(cells, -1), w.reshape(cells, -1)

    def mean_log_own(self) -> Real:
        """Mean of ln|z - z'| over each pair of cells of this circle, itself included.

        ln|z - z'| = ln r> - sum (r</r>)^n cos n(theta - theta') / n, averaged term by term: exact.
        """
        n = np.arange(1, HARMONICS * self.sectors + 1)
        step = 2.0 * math.pi / self.sectors
        angular = np.sinc(n * step / 2.0 / math.pi) ** 2 / n
        around = (np.arange(self.sectors)[:, None] - np.arange(self.sectors)) % self.sectors
        out = np.empty((self.rings, self.sectors, self.rings, self.sectors))
        for i in range(self.rings):
            for j in range(i + 1):
                constant, powers = _radial_means(self.edges, j, i, n)
                folded = np.bincount(n % self.sectors, powers * angular, self.sectors)
                by_step = constant - np.fft.fft(folded).real
                out[i, :, j, :] = out[j, :, i, :] = by_step[around]
        cells = self.rings * self.sectors
        return out.reshape(cells, cells)


def _radial_means(edges: Real, inner: int, outer: int, n: NDArray[np.int64]) -> tuple[float, Real]:
    """Area means of ln r> and of (r</r>)^n over two rings, the first one inside or the same."""
    p, q = float(edges[inner]), float(edges[inner + 1])
    u, v = float(edges[outer]), float(edges[outer + 1])
    power = n.astype(np.float64)
    area_in, area_out = (q**2 - p**2) / 2.0, (v**2 - u**2) / 2.0
    if inner == outer:
        # 2 * integral of r' g(r') * (integral of r up to r'), with p^(n+2) r^(2-n) kept scaled.
        pole = _integral_of_falling_power(p, q, power) * p**2 if p > 0.0 else 0.0 * power
        means = 2.0 / (power + 2.0) * ((q**4 - p**4) / 4.0 - pole) / area_in**2

        def with_log(r: float) -> float:  # integral of r ln r (r^2 - p^2)
            if r == 0.0:
                return 0.0
            fourth, square = r * r * r * r / 16.0, p * p * r * r / 4.0
            return fourth * (4.0 * math.log(r) - 1.0) - square * (2.0 * math.log(r) - 1.0)

        return (with_log(q) - with_log(p)) / area_in**2, means

    rising = (1.0 - (p / q) ** (power + 2.0)) * q**2 / (power + 2.0) / area_in
    falling = _integral_of_falling_power(u, v, power) / area_out
    log_mean = (v**2 * (2.0 * math.log(v) - 1.0) - u**2 * (2.0 * math.log(u) - 1.0)) / 4.0
    return log_mean / area_out, (q / u) ** power * rising * falling


def _integral_of_falling_power(u: float, v: float, n: Real) -> Real:
    """Integral of r (u/r)^n from u to v."""
    log = math.log(v / u)
    exponent = 2.0 - n
    return u**2 * np.where(
        n == 2.0, log, np.expm1(exponent * log) / np.where(n == 2.0, 1.0, exponent)
    )


def mean_log_between(one: Circle, other: Circle, offset: complex) -> Real:
    """Mean of ln|z - z'| between the cells of two circles, by Gauss points; ``other`` at ``offset``."""
    return _mean_log(*one.points, offset + other.points[0], other.points[1])


def _mean_log(z1: Complex, w1: Real, z2: Complex, w2: Real) -> Real:
    out = np.zeros((z1.shape[0], z2.shape[0]))
    for a in range(z1.shape[1]):
        for b in range(z2.shape[1]):
            distance = np.abs(z1[:, a, None] - z2[None, :, b])
            out += w1[:, a, None] * w2[None, :, b] * np.log(distance)
    return out


@dataclass(frozen=True)
class Ladder:
    """Loop of a pair as parallel R-L branches, for any size and metal of the same proportions.

    Y(s) = radius^2 / resistivity * sum of g / (1 + s t radius^2 / resistivity), with ``g`` pure
    numbers and ``t`` in H/m.
    """

    g: Real
    t: Real

    def impedance(self, frequency: Real, radius: float, resistivity: float) -> Complex:
        """ohm/m."""
        scale = radius**2 / resistivity
        s = 2j * np.pi * np.asarray(frequency, dtype=np.float64)[..., None]
        admittance = scale * np.sum(self.g / (1.0 + s * scale * self.t), axis=-1)
        return np.asarray(1.0 / admittance)


@lru_cache(maxsize=32)
def pair_ladder(ratio: float, grid: tuple[int, int]) -> Ladder:
    """Eigenmodes of the filaments of two equal conductors, ``ratio`` diameters between centres.

    The pair is its own mirror image from side to side (currents change sign) and from top to bottom
    (they do not), so that a quarter of the filaments tells all.
    """
    circle = Circle(1.0, *grid)
    rings, sectors = grid
    cell = np.arange(rings * sectors).reshape(rings, sectors)
    upper = cell[:, : sectors // 2].ravel()
    below = cell[:, : sectors // 2 - 1 : -1].ravel()  # the same cells' images under the axis
    z, w = circle.points
    # The other conductor's cell opposite z is at 2 ratio - conj(z) above, and carries the current back.
    opposite = _mean_log(z[upper], w[upper], 2.0 * ratio - z.conj(), w)
    logs = circle.mean_log_own()[upper] - opposite
    # Each unknown is the current of a cell and its image together: mean of two logs, twice the area.
    logs = (logs[:, upper] + logs[:, below]) / 2.0
    root = np.sqrt(2.0 * circle.areas[upper])
    t, modes = eigh(root[:, None] * (-MU_0 / (2.0 * math.pi) * logs) * root[None, :])
    # Two conductors in series: half the admittance of one against the plane between them.
    return Ladder(0.5 * (modes.T @ root) ** 2, t)


def pair_impedance(
    frequency: Real,
    ratio: float,
    radius: float,
    resistivity: float,
    coarse: tuple[int, int] = (8, 24),
) -> Complex:
    """Loop impedance in ohm/m, extrapolated from ``coarse`` (rings, sectors) and twice that."""
    one, two = (
        pair_ladder(ratio, (k * coarse[0], k * coarse[1])).impedance(frequency, radius, resistivity)
        for k in (1, 2)
    )
    return (4.0 * two - one) / 3.0


def loop_impedances(
    frequency: Real,
    centres: Sequence[complex],
    radii: Sequence[float],
    resistivities: Sequence[float],
    coarse: tuple[int, int] = (4, 16),
) -> Complex:
    """Voltage on each conductor less that on the last, for unit current out in one and back in the last.

    Shape (frequencies, N - 1, N - 1) in ohm/m; any round conductors anywhere, extrapolated.
    """
    one, two = (
        _loops(frequency, centres, radii, resistivities, (k * coarse[0], k * coarse[1]))
        for k in (1, 2)
    )
    return (4.0 * two - one) / 3.0


def _loops(
    frequency: Real,
    centres: Sequence[complex],
    radii: Sequence[float],
    resistivities: Sequence[float],
    grid: tuple[int, int],
) -> Complex:
    circles = [Circle(r, *grid) for r in radii]
    logs = np.block(
        [
            [
                one.mean_log_own() if i == j else mean_log_between(one, other, b - a)
                for j, (b, other) in enumerate(zip(centres, circles, strict=True))
            ]
            for i, (a, one) in enumerate(zip(centres, circles, strict=True))
        ]
    )
    # The currents sum to zero, so that the unit of length in the logarithms does not matter; one
    # longer than all distances keeps the system well conditioned.
    logs -= math.log(max(abs(a - b) for a in centres for b in centres) + 2.0 * max(radii))
    resistance = np.concatenate([p / c.areas for p, c in zip(resistivities, circles, strict=True)])
    gather = np.kron(np.eye(len(radii)), np.ones((circles[0].areas.size, 1)))
    loops = []
    for f in frequency:
        system = np.diag(resistance) - 1j * f * MU_0 * logs
        z = np.linalg.inv(gather.T @ np.linalg.solve(system, gather))
        loops.append(z[:-1, :-1] - z[:-1, -1:] - z[-1:, :-1] + z[-1, -1])
    return np.array(loops)
