"""Split coils: each conductor coiled by itself, on one axis or side by side.

Accuracy is stated in `added_impedance`.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.spatial import KDTree

from auralize.circuit.coil import (
    ROUNDING,
    Turns,
    mutual_beside,
    pack,
)
from auralize.circuit.crowding import Crowding, crowding_of_rings
from auralize.circuit.iron import coil_field, distant_field, require_bar_fits
from auralize.circuit.lay_effect import Effect
from auralize.circuit.lays import LaidCable, SplitCoils
from auralize.circuit.ring_sums import ring_sums, winding_inductance


def split_effect(lay: SplitCoils, cable: LaidCable) -> Effect:
    """Raises ValueError where the coils overlap, iron does not go through, or the cable is twisted."""
    if cable.lay_length is not None:
        raise ValueError("the conductors of a twisted pair cannot be coiled apart; untwist them")
    a, b = split_turns(lay, cable)
    field = None
    # The straight pair is what wires of GMR `spacing` would leave: the wire's own GMR cancels.
    if lay.arrangement == "coaxial":
        both = _together(a, b)
        sums = ring_sums(both)
        inductance = winding_inductance(both, cable.spacing, sums)
        crowding = crowding_of_rings(both, cable, sums)
        field = coil_field(lay.iron, both) if lay.iron else None
    else:  # each coil's field in the other's wires is left out
        each = [(coil, ring_sums(coil)) for coil in (a, b)]
        inductance = sum(winding_inductance(coil, cable.spacing, sums) for coil, sums in each)
        inductance += 2.0 * mutual_beside(a, b, lay.distance)
        one, other = (crowding_of_rings(coil, cable, sums) for coil, sums in each)
        crowding = Crowding(
            np.append(one.strength, other.strength), np.append(one.coupling, other.coupling)
        )
        if lay.iron:
            field = coil_field(lay.iron, a) + distant_field(lay.iron, b, lay.distance)
    return Effect(inductance, crowding, lay.iron, field)


def split_turns(lay: SplitCoils, cable: LaidCable) -> tuple[Turns, Turns]:
    """Turns of both coils; the second's share has the sign of its sense, its place the distance."""
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


def _together(a: Turns, b: Turns) -> Turns:
    return Turns(
        np.append(a.radius, b.radius), np.append(a.place, b.place), np.append(a.share, b.share)
    )
