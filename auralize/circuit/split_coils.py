"""Split coils: each conductor coiled by itself, on one axis or side by side.

Accuracy is stated in `added_impedance`.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from auralize.circuit.coil import ROUNDING, Turns, mutual_beside, pack
from auralize.circuit.crowding import Crowding, crowding_of_rings
from auralize.circuit.iron import coil_field, distant_field, require_bar_fits
from auralize.circuit.lay_effect import Effect
from auralize.circuit.lays import LaidCable, SplitCoils
from auralize.circuit.ring_sums import Wound, winding_inductance


def split_effect(lay: SplitCoils, cable: LaidCable) -> Effect:
    """Raises ValueError where the coils overlap, iron does not go through, or the cable is twisted."""
    if cable.lay_length is not None:
        raise ValueError("the conductors of a twisted pair cannot be coiled apart; untwist them")
    a, b = split_turns(lay, cable)
    return _coaxial(lay, cable, a, b) if lay.arrangement == "coaxial" else _beside(lay, cable, a, b)


# The straight pair is what wires of GMR `spacing` would leave: the wires' own GMR cancels.


def _coaxial(lay: SplitCoils, cable: LaidCable, a: Turns, b: Turns) -> Effect:
    both = Wound.of(a, b)
    inductance = winding_inductance(both, cable.spacing)
    field = coil_field(lay.iron, both.rings, both.each * both.rings.share) if lay.iron else None
    return Effect(inductance, lambda: crowding_of_rings(both, cable), lay.iron, field)


def _beside(lay: SplitCoils, cable: LaidCable, a: Turns, b: Turns) -> Effect:
    """Each coil's field in the other's wires is left out."""
    nothing = Turns(*np.zeros((3, 0)))
    each = [Wound.of(a, nothing), Wound.of(nothing, b)]
    alone = sum((winding_inductance(coil, cable.spacing) for coil in each), np.zeros(2))
    inductance = alone + mutual_beside(a, b, lay.distance)

    def crowding() -> Crowding:
        one, other = (crowding_of_rings(coil, cable) for coil in each)
        return Crowding(one.modes + other.modes, one.instead_of + other.instead_of)

    field = None
    if lay.iron:
        beside = distant_field(lay.iron, b, lay.distance)
        field = np.stack([coil_field(lay.iron, a), beside])
    return Effect(inductance, crowding, lay.iron, field)


def split_turns(lay: SplitCoils, cable: LaidCable) -> tuple[Turns, Turns]:
    """Turns of both coils; the second's share has the sign of its sense, its place the distance."""
    from scipy.spatial import KDTree  # 0.2 s to import: only where it is asked for

    a, b = (pack(w, cable.core_diameter, cable.core_diameter) for w in (lay.first, lay.second))
    require_bar_fits(lay.iron, a, cable.core_diameter)
    if lay.arrangement == "coaxial":
        require_bar_fits(lay.iron, b, cable.core_diameter)
        b = replace(b, place=b.place + lay.distance)
        one, other = (np.stack([turns.radius, turns.place], axis=1) for turns in (a, b))
        gap = float(np.min(KDTree(one).query(other)[0]))
        needed, words = cable.core_diameter, "between their nearest turns"
    else:
        gap = lay.distance
        needed = a.radius.max() + b.radius.max() + cable.core_diameter
        words = "between their axes"
    if gap < needed * (1.0 - ROUNDING):
        raise ValueError(
            f"coils {lay.distance:g} m apart ({lay.arrangement}) overlap: "
            f"they have {gap:.4g} m and need {needed:.4g} m {words}"
        )
    return a, b if lay.sense == "same" else replace(b, share=-b.share)
