"""Inductances of rings, coils and paths by brute force: Neumann's double integral, summed directly.

No elliptic integral, no closed form of a loop, no thin-wire formula: what `auralize.circuit.coil`
and `auralize.circuit.added_impedance` are checked against. Lengths in m, inductance in H.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.distance import cdist

Real = NDArray[np.float64]
MU_0 = 4e-7 * math.pi


def rings(r1: Real, z1: Real, r2: Real, z2: Real, nodes: int = 48) -> Real:
    """Mutual inductance of coaxial rings, every argument broadcast, by Gauss's rule.

    M = mu0 r1 r2 times the integral of cos(phi) / distance over half a turn; phi = w sinh(t) spreads
    the points evenly over the peak where the rings are near (w: their distance over the radius).
    """
    r1, z1, r2, z2 = np.broadcast_arrays(r1, z1, r2, z2)
    peak = np.hypot(r1 - r2, z1 - z2) / np.sqrt(r1 * r2)
    top = np.arcsinh(np.pi / peak)
    node, weight = np.polynomial.legendre.leggauss(nodes)
    t = 0.5 * top[..., None] * (node + 1.0)
    phi = peak[..., None] * np.sinh(t)
    jacobian = peak[..., None] * np.cosh(t) * 0.5 * top[..., None]
    square = ((r1 - r2) ** 2 + (z1 - z2) ** 2)[..., None]
    distance = np.sqrt(square + 4.0 * (r1 * r2)[..., None] * np.sin(0.5 * phi) ** 2)
    return MU_0 * r1 * r2 * (weight * jacobian * np.cos(phi) / distance).sum(axis=-1)


def thick_ring(radius: float, wire: float) -> float:
    """Self-inductance of a ring of round wire, current spread evenly, internal part included.

    The mean mutual inductance of filaments over the wire's section, taken twice with points that
    never coincide; right to 0.04 %.
    """

    def filaments(across: int, round_: int, turn: float) -> tuple[Real, Real]:
        rho = wire * np.sqrt((np.arange(across) + 0.5) / across)  # equal areas
        angle = 2.0 * np.pi * (np.arange(round_) + turn) / round_
        return (rho[:, None] * np.cos(angle)).ravel(), (rho[:, None] * np.sin(angle)).ravel()

    x, y = filaments(9, 24, 0.0)
    u, v = filaments(10, 24, 0.5)
    return float(rings(radius + x[:, None], y[:, None], radius + u, v, nodes=32).mean())


def coil(r: Real, z: Real, current: Real, wire: float) -> float:
    """Inductance of coaxial turns in series that carry ``current`` (+1 or -1)."""
    return float(along_turns(r, z, current, wire).sum())


def along_turns(r: Real, z: Real, current: Real, wire: float) -> Real:
    """What each of those turns keeps, of its own flux and what all others send through it."""
    i, j = np.triu_indices(len(r), 1)
    between = current[i] * current[j] * rings(r[i], z[i], r[j], z[j])
    # L / R is nearly linear in ln R: three radii, and a parabola through them.
    some = np.linspace(r.min(), r.max(), 3) if np.ptp(r) > 0.0 else r[:1]
    per_radius = [thick_ring(radius, wire) / radius for radius in some]
    fit = np.polyfit(np.log(some), per_radius, len(some) - 1)
    own = r * np.polyval(fit, np.log(r))
    return own + np.bincount(i, between, len(r)) + np.bincount(j, between, len(r))


def circles_beside(
    r1: Real, z1: Real, r2: Real, z2: Real, distance: float, points: int = 360
) -> float:
    """Sum of mutual inductances of two sets of circles on parallel axes, same circulation."""
    angle = 2.0 * np.pi * np.arange(points) / points
    cos, sin, step = np.cos(angle), np.sin(angle), 2.0 * np.pi / points
    along = cos[:, None] * cos + sin[:, None] * sin
    total = 0.0
    for ra, za in zip(r1, z1, strict=True):
        for rb, zb in zip(r2, z2, strict=True):
            dx = ra * cos[:, None] - rb * cos - distance
            dy = ra * sin[:, None] - rb * sin
            total += float((ra * rb * along / np.sqrt(dx**2 + dy**2 + (za - zb) ** 2)).sum())
    return MU_0 / (4.0 * math.pi) * total * step**2


def evenly(curve: Real, points: int) -> Real:
    """The curve, densely sampled, at ``points`` places of equal distance along it."""
    along = np.append(0.0, np.cumsum(np.linalg.norm(np.diff(curve, axis=0), axis=1)))
    places = np.linspace(0.0, along[-1], points)
    return np.stack([np.interp(places, along, axis) for axis in curve.T], axis=-1)


def paths(curves: list[Real], currents: list[float], gmr: float, near: int = 12) -> float:
    """Inductance of closely and evenly sampled curves, shape (points, 3), in series."""
    return float(along_paths(curves, currents, gmr, near).sum())


def along_paths(curves: list[Real], currents: list[float], gmr: float, near: int = 12) -> Real:
    """What each of those curves keeps, of its own flux and what the others send through it.

    A point's own curve is left out up to ``near`` steps, and put back as wire of that GMR with the
    local bend kappa: integral of cos(angle) / chord to second order, -11/24 (kappa reach)^2.
    """
    total = np.zeros(len(curves))
    middles = [0.5 * (c[1:] + c[:-1]) for c in curves]
    steps = [np.diff(c, axis=0) for c in curves]
    for a, (ma, sa) in enumerate(zip(middles, steps, strict=True)):
        for b in range(a, len(curves)):
            along = currents[a] * currents[b] * _between(ma, sa, middles[b], steps[b], near, a == b)
            total[a] += along
            total[b] += along if b > a else 0.0  # Neumann's integral is the same either way
        length = np.linalg.norm(sa, axis=1)
        turned = np.linalg.norm(np.diff(sa / length[:, None], axis=0), axis=1)
        bend = np.append(turned, turned[-1]) / length
        there = np.cumsum(length) - 0.5 * length
        near_part = np.zeros_like(length)
        for to_end in (there, there[-1] + 0.5 * length[-1] - there):
            reach = np.minimum((near + 0.5) * length, to_end)
            near_part += np.arcsinh(reach / gmr) - 11.0 / 48.0 * (bend * reach) ** 2
        total[a] += float((length * near_part).sum())
    return np.asarray(MU_0 / (4.0 * math.pi) * total)


def _between(ma: Real, sa: Real, mb: Real, sb: Real, near: int, own: bool) -> float:
    """Sum of dot products of steps over their distance; of the own curve, without those near by."""
    total = 0.0
    for low in range(0, len(ma), 200):
        rows = np.arange(low, min(low + 200, len(ma)))
        distance = cdist(ma[rows], mb)
        if own:
            columns = np.arange(max(low - near, 0), min(rows[-1] + near + 1, len(mb)))
            by = np.abs(rows[:, None] - columns) <= near
            distance[:, columns] = np.where(by, np.inf, distance[:, columns])
        total += float(((sa[rows] @ sb.T) / distance).sum())
    return total


def twisted_pair(spacing: float, lay_length: float, gmr: float) -> float:
    """Loop inductance per metre of an endless twisted pair."""
    there_and_back = np.array([0.0, math.pi]), np.array([1.0, -1.0])
    return float(twisted_cores(*there_and_back, spacing, lay_length, gmr).sum())


def twisted_cores(angle: Real, share: Real, across: float, lay_length: float, gmr: float) -> Real:
    """Inductance per metre along each of endless helices on one circle, by its share of the current.

    The field of all of them along each; the part far away swings about its limit, and the mean over
    the last periods is taken.
    """
    b, k = 0.5 * across, 2.0 * math.pi / lay_length
    node, weight = np.polynomial.legendre.leggauss(40)
    edges = np.concatenate(
        [
            [0.0],
            np.geomspace(gmr / 4.0, lay_length / 4.0, 40),
            np.arange(2, 1600) * lay_length / 4.0,
        ]
    )
    half = 0.5 * np.diff(edges)
    u = half[:, None] * node + 0.5 * (edges[1:] + edges[:-1])[:, None]
    found = []
    for core, part in zip(angle, share, strict=True):
        field = np.zeros_like(u)
        for other, current in zip(angle, share, strict=True):
            own = gmr**2 if other == core else 0.0
            for turn in (k * u, -k * u):  # ahead and behind
                swing = np.cos(turn + other - core)
                distance = np.sqrt(u**2 + 2.0 * b**2 * (1.0 - swing) + own)
                field += 0.5 * current * (1.0 + (b * k) ** 2 * swing) / distance
        sums = np.cumsum((field * weight).sum(axis=1) * half)
        found.append(part * MU_0 / (2.0 * math.pi) * sums[-400:].mean())
    return np.array(found)
