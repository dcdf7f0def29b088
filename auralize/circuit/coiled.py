"""Both conductors coiled together: a flat twin whose sides are known, or turns that lie at random.

Each conductor of each turn is a ring; accuracy is stated in `added_impedance`.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Final

import numpy as np

from auralize.circuit.coil import (
    GMR_ROUND,
    ROUNDING,
    Turns,
    pack,
    ring_mutual,
    ring_self,
    twist_coupling,
)
from auralize.circuit.conductor import MU_0, Real
from auralize.circuit.crowding import Crowding, crowding_of_rings
from auralize.circuit.groups import apply, gather
from auralize.circuit.iron import IronBar, coil_field, require_bar_fits
from auralize.circuit.lay_effect import Effect
from auralize.circuit.lays import Coiled, Facing, LaidCable
from auralize.circuit.ring_sums import Wound, winding_inductance
from auralize.circuit.spline import Spline

INSIDE: Final = ("plus inside", "minus inside")
"""Facings in which one conductor lies on the inside of the other."""
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
    if lay.facing == "random":
        require_bar_fits(lay.iron, turns, cable.thickness)
        return random_pair(turns, cable)
    require_bar_fits(lay.iron, turns, cable.width if lay.facing in INSIDE else cable.thickness)
    return _flat_pair(turns, lay.facing, cable, lay.iron)


def turns_of(lay: Coiled, cable: LaidCable) -> Turns:
    """Centres of the cable in every turn."""
    along, up = sizes(lay.facing, cable)
    columns = None
    if lay.facing == "edge to edge":
        columns = math.ceil(lay.winding.turns)
    elif lay.facing == "stacked":
        pile = max(1, math.floor(0.5 * lay.winding.mean_diameter / cable.thickness))
        columns = math.ceil(lay.winding.turns / pile)
    return pack(lay.winding, along, up, columns)


def sizes(facing: Facing, cable: LaidCable) -> tuple[float, float]:
    """Room in m that the cable takes along the axis, and outwards, in each turn."""
    if facing == "random":  # in any orientation
        return cable.width, cable.width
    cable.require_flat_sides(facing)
    flat = cable.width, cable.thickness
    return flat[::-1] if facing in INSIDE else flat


def _flat_pair(turns: Turns, facing: Facing, cable: LaidCable, iron: IronBar | None) -> Effect:
    """Conductors of every turn side by side along the axis, or one on the inside of the other."""
    half, share = 0.5 * cable.spacing, turns.share
    outwards = {"plus inside": half, "minus inside": -half}.get(facing, 0.0)
    along = 0.0 if outwards else half
    plus = Turns(turns.radius - outwards, turns.place - along, share)
    minus = Turns(turns.radius + outwards, turns.place + along, -share)
    both = Wound.of(plus, minus)
    # A part of a turn has its share of a whole turn's own inductance, both conductors' coupling in it.
    coupled = ring_mutual(plus.radius, plus.place, minus.radius, minus.place)
    inductance = winding_inductance(both, cable.spacing)
    inductance = inductance - float((share * (1.0 - share) * coupled).sum())
    inductance = inductance + _uneven(both, cable)
    field = coil_field(iron, both.rings, both.each * both.rings.share) if iron else None
    return Effect(inductance, lambda: crowding_of_rings(both, cable), iron, field)


def _uneven(both: Wound, cable: LaidCable) -> Real:
    """H of the conductor that is longer than the cable, and less of the one that is shorter.

    Of the straight share, which is counted by the cable's length: 1 % in a coil of 80 spacings'
    radius. The copper's resistance is not moved: both cores are as long as the cable they lie in.
    """
    lengths = both.each @ both.rings.lengths
    shares = [
        MU_0 / (2.0 * math.pi) * math.log(cable.spacing / (GMR_ROUND * wire.radius))
        for wire in cable.conductors
    ]
    return np.asarray((lengths - lengths.mean()) * shares)


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

    # By symmetry each conductor has half of what the loop has, in the mean.
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

    def crowding() -> Crowding:
        # Half of it in each wire, and of that half by each conductor's own field.
        strength = float(turns.lengths @ summed(square, turns.share))
        return Crowding(alone=np.full((2, 2), 0.5 * strength))

    return Effect(np.full(2, 0.5 * inductance), crowding)


def _tabled_coupling(cable: LaidCable) -> Callable[[Real], Real]:
    """`twist_coupling` over distance, to 1e-7 of its value, as it takes long for many turns."""
    assert cable.lay_length is not None
    reach = _REACH * cable.lay_length
    # Touching cables may come out a rounding nearer than a cable's width.
    distance = np.linspace((1.0 - ROUNDING) * cable.width, cable.width + reach, _TABLED)
    known = Spline(distance, np.log(twist_coupling(distance, cable.spacing, cable.lay_length)), 3)

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
