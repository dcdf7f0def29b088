"""What all turns of a coil do to one another: flux through each, field at each, and inductance.

All by conductor: what plus does, and what minus does, when both carry the loop's current.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import ellipe, ellipkm1

from auralize.circuit.coil import Turns, ring_self
from auralize.circuit.conductor import MU_0, Real
from auralize.circuit.groups import Values, apply, gather

_MEMBERS: Final = 64
# Rings in a group: as much work within neighbouring groups as between the others.


@dataclass(frozen=True)
class Wound:
    """Rings of both conductors, each by its share, and which of them are of plus."""

    rings: Turns
    of_plus: NDArray[np.bool_]

    @classmethod
    def of(cls, plus: Turns, minus: Turns) -> Wound:
        """Both together; the sign of each share is that of its current."""
        radius, place, share = (
            np.concatenate([getattr(plus, name), getattr(minus, name)])
            for name in ("radius", "place", "share")
        )
        return cls(Turns(radius, place, share), np.arange(len(radius)) < len(plus.radius))

    @property
    def each(self) -> Real:
        """1 where a ring is of plus, then of minus, shape (2, rings)."""
        return np.stack([self.of_plus, ~self.of_plus]).astype(np.float64)


@dataclass(frozen=True)
class RingSums:
    """At each ring, from all others of plus and of minus: Wb, and radial and axial A/m, at 1 A.

    Shape (2, rings).
    """

    flux: Real
    radial: Real
    axial: Real


def ring_sums(wound: Wound) -> RingSums:
    """Sums over the other rings; the field is the mean over each ring's own thin wire."""
    rings = wound.rings
    groups = gather(rings.radius, rings.place, _MEMBERS)
    near, far = groups.near(_influence), groups.far(_influence)
    return RingSums(*apply(groups, near, far, wound.each * rings.share))


def winding_inductance(wound: Wound, gmr: float, flux: Real) -> Real:
    """Inductance in H along plus and along minus, of the turns' own flux and what all others send.

    ``flux`` is that of `ring_sums`. A part of a turn couples to the others by its share, and its own
    inductance is its share of a whole turn's.
    """
    rings = wound.rings
    own = np.abs(rings.share) * ring_self(rings.radius, gmr)
    return np.asarray(wound.each @ (own + rings.share * flux.sum(axis=0)))


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
