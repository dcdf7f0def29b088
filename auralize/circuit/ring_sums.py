"""What all turns of a coil do to one another: flux through each, field at each, and inductance.

All by conductor: what plus does, and what minus does, when both carry the loop's current.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from auralize.circuit.coil import Turns, ring_field, ring_self
from auralize.circuit.conductor import MU_0, Complex, Real
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


def flux_of_all(wound: Wound) -> Real:
    """Wb through each ring from all others that carry 1 A by their share."""
    rings = wound.rings
    groups = gather(rings.radius, rings.place, _MEMBERS)
    near, far = groups.near(_mutual), groups.far(_mutual)
    return np.asarray(apply(groups, near, far, rings.share))


def fields_of_each(wound: Wound) -> Complex:
    """H in A/m at each ring, radial + j axial, from all others of plus and of minus at 1 A.

    Shape (2, rings); the mean over each ring's own thin wire.
    """
    rings = wound.rings
    groups = gather(rings.radius, rings.place, _MEMBERS)
    near, far = groups.near(_field), groups.far(_field)
    radial, axial = apply(groups, near, far, wound.each * rings.share)
    return np.asarray(radial + 1j * axial)


def winding_inductance(wound: Wound, gmr: float) -> Real:
    """Inductance in H along plus and along minus, of the turns' own flux and what all others send.

    A part of a turn couples to the others by its share, and its own inductance is its share of a
    whole turn's.
    """
    rings = wound.rings
    own = np.abs(rings.share) * ring_self(rings.radius, gmr)
    return np.asarray(wound.each @ (own + rings.share * flux_of_all(wound)))


def _mutual(r1: Real, z1: Real, r: Real, z: Real) -> Values:
    """`coil.ring_mutual` in the older form, which takes half the time.

    What cancels in it far away is below 1e-9 of the coil's own.
    """
    from scipy.special import ellipe, ellipkm1  # 0.2 s to import: only where it is asked for

    dz = z - z1
    far2, near2 = (r1 + r) ** 2 + dz**2, (r1 - r) ** 2 + dz**2
    far = np.sqrt(far2)
    k, e = ellipkm1(near2 / far2), ellipe(4.0 * r1 * r / far2)
    return np.asarray(MU_0 * (0.5 * (far2 + near2) / far * k - far * e))


def _field(r1: Real, z1: Real, r: Real, z: Real) -> Values:
    """`coil.ring_field`, stacked."""
    return np.stack(ring_field(r1, z1, r, z))
