"""Both conductors coiled together: a flat twin whose sides are known, or turns that lie at random.

Each conductor of each turn is a ring; accuracy is stated in `added_impedance`.
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np

from auralize.circuit.coil import Turns, pack, ring_mutual, ring_self, twist_coupling
from auralize.circuit.conductor import Real
from auralize.circuit.crowding import Crowding, crowding_of_rings
from auralize.circuit.iron import IronBar, coil_field, require_bar_fits
from auralize.circuit.lay_effect import Effect
from auralize.circuit.lays import Coiled, LaidCable
from auralize.circuit.ring_sums import ring_sums, winding_inductance

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
    distance = np.hypot(turns.radius[:, None] - turns.radius, turns.place[:, None] - turns.place)
    own = np.eye(len(distance), dtype=bool)
    distance[own] = cable.width  # any: what it gives is set to zero
    inductance = float(turns.share @ _bend(turns.radius, cable.spacing))
    if in_phase and cable.lay_length is not None:
        coupling = twist_coupling(distance, cable.spacing, cable.lay_length)
        met = 2.0 * np.pi * np.sqrt(np.outer(turns.radius, turns.radius))
        coupled = np.where(own, 0.0, met * coupling)
        inductance += in_phase * float(turns.share @ coupled @ turns.share)
    # Mean square field of a pair (half spacing b) at a conductor b off the centre of another pair,
    # 4 b^2 (d^2 + b^2) / (d^2 - b^2)^3 / 4 pi^2: plane field, right within 1 % from d = 4 b on.
    b2, d2 = 0.25 * cable.spacing**2, distance**2
    square = np.where(own, 0.0, b2 * (d2 + b2) / (d2 - b2) ** 3 / np.pi**2)
    strength = 2.0 * turns.lengths @ square @ turns.share
    return Effect(inductance, Crowding(np.array([strength]), np.zeros(1)))


def _bend(radius: Real, spacing: float) -> Real:
    """H that bending a straight pair to a turn adds, in the mean over the pair's orientation."""
    angle = np.arange(_ORIENTATIONS) * np.pi / _ORIENTATIONS
    up, along = 0.5 * spacing * np.sin(angle), 0.5 * spacing * np.cos(angle)
    inner, outer = radius[:, None] - up, radius[:, None] + up
    bent = ring_self(inner, spacing) + ring_self(outer, spacing)
    bent = bent - 2.0 * ring_mutual(inner, along, outer, -along)
    return np.asarray(bent.mean(axis=1), dtype=np.float64)
