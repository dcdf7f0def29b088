"""Room in a coil: how far loose turns may stray, and how thick a bar goes through, by hand."""

from __future__ import annotations

import numpy as np
import pytest

from auralize.circuit.coil import LOOSE_PITCH, Turns, Winding, pack
from auralize.circuit.iron import IronBar, require_bar_fits

SIZE = 4e-3


def test_loose_turns_stray_by_half_the_room_between_them() -> None:
    """From the places of a regular bundle of that pitch; two neighbours then just touch at worst."""
    loose = pack(Winding(1.0, 600, "loose"), SIZE, SIZE)
    pitch = LOOSE_PITCH * SIZE
    regular = pack(Winding(1.0, 600, "hexagonal"), pitch, pitch)
    away = np.stack([loose.place - regular.place, loose.radius - regular.radius])
    away -= away.mean(axis=1, keepdims=True)
    most = 0.5 * (LOOSE_PITCH - 1.0) * SIZE
    # The largest of 600 even draws over a disc lies within a few thousandths of its rim; taking the
    # mean away moves it by up to most / sqrt(600).
    assert np.hypot(*away).max() == pytest.approx(most, rel=0.05)


@pytest.mark.parametrize(("thickness", "inside"), [(2e-3, 38e-3), (6e-3, 34e-3)])
def test_a_bar_goes_through_what_the_innermost_turn_leaves(thickness: float, inside: float) -> None:
    """Twice the smallest radius less one cable: half of it on each side."""
    turns = Turns(np.array([0.03, 0.02]), np.zeros(2), np.ones(2))
    require_bar_fits(None, turns, thickness)
    require_bar_fits(IronBar(inside, 0.2, 6e6, 200.0), turns, thickness)
    with pytest.raises(ValueError, match="does not go through"):
        require_bar_fits(IronBar(1.001 * inside, 0.2, 6e6, 200.0), turns, thickness)
