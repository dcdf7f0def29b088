"""Crowding: eddy currents that the field of other turns drives in each wire (proximity).

Wires answer as dipoles that drive one another; accuracy is stated in `added_impedance`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from auralize.circuit.coil import Turns, path_field, ring_field
from auralize.circuit.conductor import Complex, Real
from auralize.circuit.lays import LaidCable

_EIGHT_SAMPLE: Final = 7
# The field is sampled at every 7th piece, which walks through all places of the figure.


@dataclass(frozen=True)
class Crowding:
    """Modes of the eddy dipoles in the wires, those of the straight pair among them as negative.

    ``strength``: sum along the wires of H^2 at 1 A, 1/m; ``coupling``: field per dipole, 1/m2.
    """

    strength: Real
    coupling: Real


NO_CROWDING: Final = Crowding(np.zeros(0), np.zeros(0))


def crowding_of_rings(rings: Turns, cable: LaidCable) -> Crowding:
    """Of conductors as rings that carry 1 A by their share, less the same length of straight pair."""
    r, z = rings.radius, rings.place
    own = np.eye(len(r), dtype=bool)
    radial, axial = ring_field(r, z, r[:, None], z[:, None] + own * r)  # own place: set below
    # A ring's own field at its wire, from the hoop force mu0 I^2 (ln(8R/a) - 3/4) / 4 pi R
    # (Maxwell; value from memory).
    bend = (np.log(8.0 * r / cable.conductor.radius) - 0.75) / (4.0 * np.pi * r)
    h_radial = np.where(own, 0.0, radial) @ rings.share
    h_axial = np.where(own, 0.0, axial) @ rings.share + np.sign(rings.share) * bend
    weight = np.sqrt(rings.lengths)
    coupling, mode = np.linalg.eigh(_dipole_coupling(r + 1j * z))
    driven = mode.T @ np.append(weight * h_radial, weight * h_axial)
    pair = pair_field(cable)
    return Crowding(
        np.append(driven**2, -rings.lengths.sum() * pair**2),
        np.append(coupling, -2.0 * math.pi * pair**2),
    )


def _dipole_coupling(place: Complex) -> NDArray[np.float64]:
    """Field per dipole in 1/m2, (2 (m d) d - m) / 2 pi d^2, as between long straight wires.

    Shape (2N, 2N): along the real, then along the imaginary axis of the section; symmetric.
    """
    own = np.eye(len(place), dtype=bool)
    apart = place[:, None] - place + own
    twice = np.where(own, 0.0, (apart / np.abs(apart) ** 2) ** 2 / (2.0 * np.pi))
    return np.block([[twice.real, twice.imag], [twice.imag, -twice.real]])


def pair_field(cable: LaidCable) -> float:
    """H in A/m at each conductor from the other, straight pair, 1 A."""
    return 1.0 / (2.0 * math.pi * cable.spacing)


def crowding_of_paths(paths: list[NDArray[np.float64]], cable: LaidCable) -> Crowding:
    """From a sample of the pieces, less that of the straight pair; dipoles uncoupled."""
    middle = np.concatenate([0.5 * (p[1:] + p[:-1]) for p in paths])
    length = np.concatenate([np.linalg.norm(np.diff(p, axis=0), axis=1) for p in paths])
    sample = np.arange(0, len(middle), _EIGHT_SAMPLE)
    field = path_field(paths, [1.0, -1.0], middle[sample], list(sample))
    excess = (field**2).sum(axis=1) - pair_field(cable) ** 2
    strength = length.sum() * np.average(excess, weights=length[sample])
    return Crowding(np.array([strength]), np.zeros(1))
