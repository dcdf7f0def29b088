"""Both conductors coiled together: a flat twin whose sides are known, or turns that lie at random.

Each conductor of each turn is a ring; accuracy is stated in `added_impedance`.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Final

import numpy as np
from scipy.interpolate import CubicSpline

from auralize.circuit.coil import ROUNDING, Turns, pack, ring_mutual, ring_self, twist_coupling
from auralize.circuit.conductor import Real
from auralize.circuit.crowding import Crowding, crowding_of_rings
from auralize.circuit.groups import apply, gather
from auralize.circuit.iron import IronBar, coil_field, require_bar_fits
from auralize.circuit.lay_effect import Effect
from auralize.circuit.lays import Coiled, LaidCable
from auralize.circuit.ring_sums import ring_sums, winding_inductance

_MEMBERS: Final = 64
# Turns in a group.
_REACH: Final = 5.0
_TABLED: Final = 400
# Lay lengths beyond which twisted pairs no longer couple (exp(-2 pi 5)), and points up to there.
_ORIENTATIONS: Final = 8
# Equal steps of the angle over half a turn: exact for the harmonics that matter (up to the 15th).


def coiled_effect(lay: Coiled, cable: LaidCable) -> Effect:
    """Raises ValueError where the cable cannot lie so, or iron does not go through."""
    turns = turns_of(lay, cable)
    require_bar_fits(lay.iron, turns, cable.thickness)
    if lay.facing == "random":
        return random_pair(turns, cable)
    return _flat_pair(turns, cable, lay.iron)


def turns_of(lay: Coiled, cable: LaidCable) -> Turns:
    """Centres of the cable in every turn."""
    if lay.facing == "random":  # each turn takes the room that it needs in any orientation
        return pack(lay.winding, cable.width, cable.width)
    cable.require_flat_sides(lay.facing)
    columns = None
    if lay.facing == "edge to edge":
        columns = math.ceil(lay.winding.turns)
    elif lay.facing == "stacked":
        pile = max(1, math.floor(0.5 * lay.winding.mean_diameter / cable.thickness))
        columns = math.ceil(lay.winding.turns / pile)
    return pack(lay.winding, cable.width, cable.thickness, columns)


def _flat_pair(turns: Turns, cable: LaidCable, iron: IronBar | None) -> Effect:
    """Conductors of every turn at its radius, side by side along the axis."""
    r, z, share, half = turns.radius, turns.place, turns.share, 0.5 * cable.spacing
    rings = Turns(np.tile(r, 2), np.append(z - half, z + half), np.append(share, -share))
    sums = ring_sums(rings)
    # A part of a turn has its share of a whole turn's own inductance, both conductors' coupling in it.
    own = share * (1.0 - share) * ring_mutual(r, z - half, r, z + half)
    inductance = winding_inductance(rings, cable.spacing, sums) - 2.0 * float(own.sum())
    field = coil_field(iron, rings) if iron else None
    return Effect(inductance, crowding_of_rings(rings, cable, sums), iron, field)


def random_pair(turns: Turns, cable: LaidCable, in_phase: float = 0.0) -> Effect:
    """Mean over all orientations of every turn (or twist phases), each free of the others.

    The turns' couplings then cancel exactly, as does their field on iron; what is left is the bend
    within each turn. ``in_phase``: mean cosine between the turns' phases of a twisted pair.
    """
    groups = gather(turns.radius, turns.place, _MEMBERS)

    def summed(of_distance: Callable[[Real], Real], weight: Real) -> Real:
        def kernel(r1: Real, z1: Real, r: Real, z: Real) -> Real:
            return of_distance(np.hypot(r - r1, z - z1))

        near, far = groups.near(kernel), groups.far(kernel, shifts=True)
        return np.asarray(apply(groups, near, far, weight))

    inductance = float(turns.share @ _bend(turns.radius, cable.spacing))
    if in_phase and cable.lay_length is not None:
        # Two turns meet along the geometric mean of their lengths.
        met = turns.share * np.sqrt(2.0 * np.pi * turns.radius)
        inductance += in_phase * float(met @ summed(_tabled_coupling(cable), met))

    def square(distance: Real) -> Real:
        # Mean square field of a pair (half spacing b) at a conductor b off the centre of another
        # pair, 4 b^2 (d^2 + b^2) / (d^2 - b^2)^3 / 4 pi^2: plane field, right within 1 % from d = 4 b.
        b2, d2 = 0.25 * cable.spacing**2, distance**2
        return np.asarray(b2 * (d2 + b2) / (d2 - b2) ** 3 / np.pi**2)

    strength = 2.0 * turns.lengths @ summed(square, turns.share)
    return Effect(inductance, Crowding(np.array([strength]), np.zeros(1)))


def _tabled_coupling(cable: LaidCable) -> Callable[[Real], Real]:
    """`twist_coupling` over distance, to 1e-7 of its value, as it takes long for many turns."""
    assert cable.lay_length is not None
    reach = _REACH * cable.lay_length
    # Touching cables may come out a rounding nearer than a cable's width.
    distance = np.linspace((1.0 - ROUNDING) * cable.width, cable.width + reach, _TABLED)
    known = CubicSpline(distance, np.log(twist_coupling(distance, cable.spacing, cable.lay_length)))

    def coupling(at: Real) -> Real:
        return np.where(at < distance[-1], np.exp(known(np.minimum(at, distance[-1]))), 0.0)

    return coupling


def _bend(radius: Real, spacing: float) -> Real:
    """H that bending a straight pair to a turn adds, in the mean over the pair's orientation."""
    angle = np.arange(_ORIENTATIONS) * np.pi / _ORIENTATIONS
    up, along = 0.5 * spacing * np.sin(angle), 0.5 * spacing * np.cos(angle)
    inner, outer = radius[:, None] - up, radius[:, None] + up
    bent = ring_self(inner, spacing) + ring_self(outer, spacing)
    bent = bent - 2.0 * ring_mutual(inner, along, outer, -along)
    return np.asarray(bent.mean(axis=1), dtype=np.float64)
