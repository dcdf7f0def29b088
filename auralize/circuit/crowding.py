"""Crowding: eddy currents that the field of other turns drives in each wire (proximity).

Wires answer as dipoles that drive one another; accuracy is stated in `added_impedance`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import eigh_tridiagonal

from auralize.circuit.coil import ROUNDING, Turns
from auralize.circuit.conductor import Complex, Real
from auralize.circuit.groups import apply, gather
from auralize.circuit.lays import LaidCable
from auralize.circuit.paths import path_field, sampled
from auralize.circuit.ring_sums import RingSums, ring_sums

_MEMBERS: Final = 40
# Wires in a group; few, as the coupling within neighbouring groups is kept in memory.
_MODES: Final = 8
# Twice as many move what coils add by under 1e-6, also where bare wires nearly touch (tests).


@dataclass(frozen=True)
class Crowding:
    """Modes of the eddy dipoles in the wires, those of the straight pair among them as negative.

    ``strength``: sum along the wires of H^2 at 1 A, 1/m; ``coupling``: field per dipole, 1/m2.
    """

    strength: Real
    coupling: Real


NO_CROWDING: Final = Crowding(np.zeros(0), np.zeros(0))


def crowding_of_rings(rings: Turns, cable: LaidCable, sums: RingSums | None = None) -> Crowding:
    """Of conductors as rings that carry 1 A by their share, less the same length of straight pair.

    ``sums``: theirs, where known.
    """
    r = rings.radius
    sums = sums or ring_sums(rings)
    # A ring's own field at its wire, from the hoop force mu0 I^2 (ln(8R/a) - 3/4) / 4 pi R
    # (Maxwell; value from memory).
    bend = (np.log(8.0 * r / cable.conductor.radius) - 0.75) / (4.0 * np.pi * r)
    axial = sums.axial + np.sign(rings.share) * bend
    driven = np.sqrt(rings.lengths) * (sums.radial + 1j * axial)
    strength, coupling = _driven_modes(rings, driven)
    pair = pair_field(cable)
    return Crowding(
        np.append(strength, -rings.lengths.sum() * pair**2),
        np.append(coupling, -2.0 * math.pi * pair**2),
    )


def _driven_modes(rings: Turns, driven: Complex) -> tuple[Real, Real]:
    """Strength and coupling of few modes that answer to the field as all of the dipoles do.

    Lanczos' vectors from the field on: n of them are right to the coupling's power 2 n - 1, and that
    power falls, as dipoles do not outdo the field that drives them.
    """
    groups = gather(rings.radius, rings.place, _MEMBERS)
    near, far = list(groups.near(_dipole)), list(groups.far(_dipole, shifts=True))
    size = float(np.linalg.norm(driven))
    found: list[Complex] = [driven / size]
    diagonal: list[float] = []
    beside: list[float] = []
    for _ in range(min(_MODES, 2 * len(driven))):
        field: Complex = apply(groups, near, far, found[-1].conj())
        diagonal.append(float(np.vdot(found[-1], field).real))
        for vector in found * 2:  # twice, so that rounding does not grow
            field = field - float(np.vdot(vector, field).real) * vector
        beside.append(float(np.linalg.norm(field)))
        if beside[-1] <= ROUNDING * max(np.abs(diagonal + beside[:-1])):
            break
        found.append(field / beside[-1])
    coupling, mode = eigh_tridiagonal(diagonal, beside[:-1])
    return size**2 * mode[0] ** 2, coupling


def _dipole(r1: Real, z1: Real, r: Real, z: Real) -> Complex:
    """Field per conjugate of the dipole in 1/m2, both as radial + j axial, of long straight wires.

    (2 (m d) d - m) / 2 pi d^2, d the vector between them.
    """
    return np.asarray(1.0 / (2.0 * np.pi * ((r - r1) - 1j * (z - z1)) ** 2))


def pair_field(cable: LaidCable) -> float:
    """H in A/m at each conductor from the other, straight pair, 1 A."""
    return 1.0 / (2.0 * math.pi * cable.spacing)


def crowding_of_paths(paths: list[NDArray[np.float64]], cable: LaidCable, round_: int) -> Crowding:
    """Of two paths that go round and round in ``round_`` pieces, less the straight pair.

    From a sample of the rounds; dipoles uncoupled.
    """
    pieces = len(paths[0]) - 1
    rounds = [slice(low, low + round_ + 1) for low in range(0, pieces, round_)]
    half = len(rounds) // 2
    up, down = sampled(half), sampled(len(rounds) - half)
    chosen = zip([*up[0], *(len(rounds) - 1 - down[0])], [*up[1], *down[1]], strict=True)
    excess, length = 0.0, 0.0
    for number, weight in chosen:
        square, along = _square_field(paths, rounds, int(number))
        excess += weight * float((along * (square - pair_field(cable) ** 2)).sum())
        length += weight * float(along.sum())
    whole = sum(float(np.linalg.norm(np.diff(p, axis=0), axis=1).sum()) for p in paths)
    return Crowding(np.array([whole * excess / length]), np.zeros(1))


def _square_field(
    paths: list[NDArray[np.float64]], rounds: list[slice], number: int
) -> tuple[Real, Real]:
    """H^2 in A^2/m^2 at the pieces of one round, and their lengths."""
    before, after = sampled(number), sampled(len(rounds) - 1 - number)
    others = [number, *(number - 1 - before[0]), *(number + 1 + after[0])]
    shares = [1.0, *before[1], *after[1]]
    sources = [p[rounds[n]] for n in others for p in paths]
    currents = [sign * share for share in shares for sign in (1.0, -1.0)]
    own = np.concatenate([0.5 * (p[1:] + p[:-1]) for p in sources[:2]])
    along = np.concatenate([np.linalg.norm(np.diff(p, axis=0), axis=1) for p in sources[:2]])
    field = path_field(sources, currents, own, list(range(len(own))))
    return np.asarray((field**2).sum(axis=1)), along
