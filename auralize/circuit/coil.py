"""Inductance and field of thin rings, of windings made of them, and of any path (magnetostatics).

A turn is a filament at its centre line. Its finite round wire enters by the geometric mean radius
(GMR) of the wire; what that leaves out is of the order (wire radius / ring radius)^2, and the
pitch of a real winding (a ring closes on itself, a turn does not) of (pitch / circumference)^2.
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import ellipe, ellipkm1, elliprd

from auralize.circuit.conductor import MU_0, Real

GMR_ROUND: Final = math.exp(-0.25)
"""GMR of a round wire over its radius, current spread evenly (Maxwell, Treatise, art. 692)."""
_BESIDE_NODES: Final = 48
# Gauss points on half a ring beside another coil: 1e-4 where the nearest wires touch (tested).
_BLOCK: Final = 256
# Rows of the path integral worked on at once; keeps its arrays inside the processor's cache.


def ring_mutual(r1: Real, z1: Real, r2: Real, z2: Real) -> Real:
    """Mutual inductance in H of coaxial rings, radii and axial places in m; arrays broadcast.

    Maxwell, Treatise, art. 701, in the form that takes the farthest and nearest distance between
    the rings; K - E as Carlson's R_D (DLMF 19.25.1), which loses no digits near or far. Infinite
    where the rings coincide.
    """
    farthest = np.hypot(r1 + r2, z1 - z2)
    nearest = np.hypot(r1 - r2, z1 - z2)
    total = farthest + nearest
    modulus = 4.0 * r1 * r2 / total**2
    complement = 4.0 * farthest * nearest / total**2  # 1 - modulus^2 without the subtraction
    return MU_0 / 3.0 * total * modulus**2 * elliprd(0.0, complement, 1.0)


def ring_self(radius: Real, gmr: Real | float) -> Real:
    """Self-inductance in H of a ring of thin wire; ``gmr`` and ``radius`` in m, gmr << radius.

    Maxwell's limit mu0 R (ln(8 R / gmr) - 2); for a round wire with its internal inductance
    gmr = `GMR_ROUND` * wire radius. Left out: about (wire radius / R)^2 of the value.
    """
    return MU_0 * radius * (np.log(8.0 * radius / gmr) - 2.0)


def ring_field(r1: Real, z1: Real, r: Real, z: Real) -> tuple[Real, Real]:
    """Radial and axial H in A/m per ampere of the ring (r1, z1), at radius r > 0 and place z.

    Smythe, Static and Dynamic Electricity, section 7.10 (formula from memory).
    """
    dz = z - z1
    far2, near2 = (r1 + r) ** 2 + dz**2, (r1 - r) ** 2 + dz**2
    k = ellipkm1(near2 / far2)
    e = ellipe(4.0 * r1 * r / far2) / near2
    scale = 1.0 / (2.0 * np.pi * np.sqrt(far2))
    radial = scale * dz / r * ((r1**2 + r**2 + dz**2) * e - k)
    axial = scale * ((r1**2 - r**2 - dz**2) * e + k)
    return radial, axial


def winding_inductance(radius: Real, place: Real, share: Real, gmr: float) -> float:
    """Inductance in H of coaxial rings in series; ``share`` is the part of each turn that is wound.

    A part of a turn couples to the others by its share, and its own inductance is its share of a
    whole turn's.
    """
    i, j = np.triu_indices(len(radius), 1)
    coupled = share[i] * share[j] * ring_mutual(radius[i], place[i], radius[j], place[j])
    return float(2.0 * coupled.sum() + (share * ring_self(radius, gmr)).sum())


def mutual_beside(r1: Real, z1: Real, r2: Real, z2: Real, distance: float) -> NDArray[np.float64]:
    """Mutual inductance in H of each ring 1 with each ring 2, shape (len(r1), len(r2)).

    The axes are parallel, ``distance`` m apart, and no ring 2 reaches inside a ring 1's wire.
    Positive where equal circulation aids: rings that lie side by side give a negative value.
    The vector potential of ring 1 is integrated along ring 2 by Gauss's rule, with the points
    gathered where the rings are nearest.
    """
    node, weight = np.polynomial.legendre.leggauss(_BESIDE_NODES)
    u = 0.5 * (node + 1.0)
    angle, weight = np.pi * u**2, weight * np.pi * u
    r2, z2 = r2[:, None], z2[:, None]
    axis_distance = np.hypot(distance - r2 * np.cos(angle), r2 * np.sin(angle))
    along = weight * r2 * (r2 - distance * np.cos(angle)) / axis_distance
    per_ring = along / (np.pi * axis_distance)  # A = M / (2 pi rho); both halves of ring 2
    return np.array(
        [
            (per_ring * ring_mutual(np.asarray(r), np.asarray(z), axis_distance, z2)).sum(axis=1)
            for r, z in zip(r1, z1, strict=True)
        ]
    )


def path_inductance(paths: list[NDArray[np.float64]], currents: list[float], gmr: float) -> float:
    """Inductance in H of filaments along polylines, shape (points, 3) in m, in series.

    Neumann's integral: the exact vector potential of each straight piece, taken at the middle of
    every other piece. Only a piece's own potential is regularised, at the distance ``gmr`` from it,
    so that it never reaches a neighbouring turn. ``currents`` are +1 or -1 for each path. Take
    pieces short against the bends, not against the distance between strands: those run parallel.
    """
    steps = [np.diff(p, axis=0) for p in paths]
    middle = np.concatenate([0.5 * (p[1:] + p[:-1]) for p in paths])
    signed = np.concatenate([c * s for c, s in zip(currents, steps, strict=True)])
    length = np.linalg.norm(signed, axis=1)
    direction = signed / length[:, None]
    start = np.concatenate([p[:-1] for p in paths])
    end = np.concatenate([p[1:] for p in paths])
    total = 0.0
    for low in range(0, len(length), _BLOCK):
        rows = slice(low, low + _BLOCK)
        columns = slice(low, None)
        reach = _distances(middle[rows], start[columns]) + _distances(middle[rows], end[columns])
        own = np.arange(len(length[rows]))
        reach[own, own] = 2.0 * np.hypot(0.5 * length[rows], gmr)
        potential = np.log((reach + length[columns]) / (reach - length[columns]))
        linked = (signed[rows] @ direction[columns].T) * potential
        # Pieces beyond the block are met once and count twice; inside it both orders are met.
        total += linked[:, : len(own)].sum() + 2.0 * linked[:, len(own) :].sum()
    return float(MU_0 / (4.0 * np.pi) * total)


def path_field(
    paths: list[NDArray[np.float64]], currents: list[float], points: Real, skip: list[int]
) -> Real:
    """H in A/m, shape (points, 3), of unit currents along polylines (Biot and Savart, exact).

    ``skip`` names for each point the piece (counted through all paths) that it lies on, which is
    left out: a straight piece makes no field on its own line.
    """
    start = np.concatenate([p[:-1] for p in paths])
    end = np.concatenate([p[1:] for p in paths])
    sign = np.concatenate([np.full(len(p) - 1, c) for p, c in zip(paths, currents, strict=True)])
    field = np.empty((len(points), 3))
    for n, (point, own) in enumerate(zip(points, skip, strict=True)):
        a, b = start - point, end - point
        ra, rb = np.linalg.norm(a, axis=1), np.linalg.norm(b, axis=1)
        denominator = ra * rb * (ra * rb + (a * b).sum(axis=1))
        denominator[own] = np.inf
        field[n] = (sign * (ra + rb) / denominator) @ np.cross(a, b) / (4.0 * np.pi)
    return field


def _distances(a: Real, b: Real) -> Real:
    """Distance of each row of ``a`` from each row of ``b``, shape (len(a), len(b)).

    By the expanded square, which is quick; relative to the wire's size it is good to 1e-9.
    """
    centre = b.mean(axis=0)
    a, b = a - centre, b - centre
    square = (a**2).sum(axis=1)[:, None] + (b**2).sum(axis=1) - 2.0 * (a @ b.T)
    return np.sqrt(np.maximum(square, 0.0))
