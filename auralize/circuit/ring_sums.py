"""What all turns of a coil do to one another: flux through each, field at each, and inductance."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.special import ellipe, ellipkm1

from auralize.circuit.coil import Turns, ring_self
from auralize.circuit.conductor import MU_0, Real
from auralize.circuit.groups import Values, apply, gather

_MEMBERS: Final = 64
# Rings in a group: as much work within neighbouring groups as between the others.


@dataclass(frozen=True)
class RingSums:
    """At each ring, from all others that carry 1 A by their share: Wb, and radial and axial A/m."""

    flux: Real
    radial: Real
    axial: Real


def ring_sums(rings: Turns) -> RingSums:
    """Sums over the other rings; the field is the mean over each ring's own thin wire."""
    groups = gather(rings.radius, rings.place, _MEMBERS)
    near, far = groups.near(_influence), groups.far(_influence)
    return RingSums(*apply(groups, near, far, rings.share))


def winding_inductance(rings: Turns, gmr: float, sums: RingSums | None = None) -> float:
    """Inductance in H of coaxial turns in series; ``sums``: theirs, where known.

    A part of a turn couples to the others by its share, and its own inductance is its share of a
    whole turn's.
    """
    sums = sums or ring_sums(rings)
    own = float((np.abs(rings.share) * ring_self(rings.radius, gmr)).sum())
    return own + float(rings.share @ sums.flux)


def _influence(r1: Real, z1: Real, r: Real, z: Real) -> Values:
    """Mutual inductance in H, radial and axial H in A/m, of the ring (r1, z1) at (r, z), stacked.

    `coil.ring_mutual` and `coil.ring_field` from the same two elliptic integrals. What cancels in
    the former far away is below 1e-9 of the coil's own.
    """
    dz = z - z1
    far2, near2 = (r1 + r) ** 2 + dz**2, (r1 - r) ** 2 + dz**2
    far = np.sqrt(far2)
    k, e = ellipkm1(near2 / far2), ellipe(4.0 * r1 * r / far2)
    both = 0.5 * (far2 + near2)
    mutual = MU_0 * (both / far * k - far * e)
    e = e / near2
    scale = 1.0 / (2.0 * np.pi * far)
    radial = scale * dz / r * (both * e - k)
    axial = scale * ((2.0 * r1**2 - both) * e + k)
    return np.stack([mutual, radial, axial])
