"""Resistance of figures of eight against their own cross-sections, each solved by multipoles."""

from __future__ import annotations

import math

import numpy as np
import pytest

from auralize.circuit.added_impedance import added_impedance
from auralize.circuit.conductor import Conductor, Real
from auralize.circuit.figure_of_eight import eight_paths
from auralize.circuit.lays import EightFacing, FigureOfEight, LaidCable
from auralize.circuit.pair import impedance_matrix, pair_impedance

COPPER = 1.7241e-8  # ohm m, IACS
FREQUENCY = np.array([5e3, 2e4])
LENGTH, WIDTH = 0.6, 0.5


def by_section(cable: LaidCable, figures: int, on_edge: bool) -> Real:
    """ohm/m: the pile of all passes at 8 places of a quarter figure, weighted by its length.

    The pile rises by the cable's height for each figure and by twice that at the crossing, as
    cos^8 t; the strands that cross there do so nearly at right angles and are left out.
    """
    t = (np.arange(8) + 0.5) * np.pi / 16
    weight = np.hypot(LENGTH * np.cos(t), WIDTH * np.cos(2.0 * t))
    height = cable.spacing + cable.core_diameter if on_edge else cable.core_diameter
    half = 0.5 * cable.spacing * (1j if on_edge else 1.0)
    current = np.repeat([1.0, -1.0], figures)
    total = np.zeros(FREQUENCY.shape)
    for rise, share in zip(height * (1.0 + np.cos(t) ** 8), weight / weight.sum(), strict=True):
        pile = 1j * rise * np.arange(figures)
        wires = [cable.conductor] * (2 * figures)
        each = impedance_matrix(FREQUENCY, list(np.append(pile - half, pile + half)), wires)
        total += share * np.einsum("i,fij,j->f", current, each, current).real / figures
    return total


@pytest.mark.parametrize(
    ("facing", "figures"),
    [("stacked", 2), ("stacked", 6), ("stacked", 10), ("edge to edge", 2), ("edge to edge", 6)],
)
def test_resistance_is_the_mean_over_the_sections(facing: EightFacing, figures: int) -> None:
    """Straight and lay together, as `added_impedance` states: 15 %; against this, 9 % at most."""
    radius, spacing = 1e-3, 2.6e-3
    wire = Conductor(radius, COPPER / (math.pi * radius**2))
    cable = LaidCable(wire, spacing, spacing)
    lay = FigureOfEight(LENGTH, WIDTH, figures, facing)
    pair = pair_impedance(FREQUENCY, spacing, wire).real
    found = pair + added_impedance(lay, cable, 1e3, FREQUENCY).real / lay.length
    expected = by_section(cable, figures, facing == "edge to edge")
    np.testing.assert_allclose(found, expected, rtol=0.09)
    # And the lay itself is what is seen: straight, the resistance would be another.
    assert abs(found[-1] / pair[-1] - 1.0) > 0.03


@pytest.mark.parametrize(("facing", "height"), [("stacked", 3e-3), ("edge to edge", 5.5e-3)])
def test_the_path_has_the_measures_that_are_given(facing: EightFacing, height: float) -> None:
    """Conductors at their spacing everywhere; lobes of the stated size; one height up a figure."""
    wire = Conductor(1e-3, COPPER / (math.pi * 1e-6))
    cable = LaidCable(wire, spacing=2.5e-3, core_diameter=2.4e-3, sheath=0.3e-3)
    paths = eight_paths(FigureOfEight(LENGTH, WIDTH, 3.0, facing), cable, points=64)
    one, other = paths
    np.testing.assert_allclose(np.linalg.norm(one - other, axis=1), 2.5e-3, rtol=1e-12)
    level = (one - other)[:, 2]
    assert np.allclose(np.abs(level), 2.5e-3 if facing == "edge to edge" else 0.0, atol=1e-15)
    x, y, z = (0.5 * (one + other)).T
    assert x.max() == pytest.approx(LENGTH, rel=1e-12)
    assert y.max() == pytest.approx(0.5 * WIDTH, rel=1e-12)
    across = 16 + 32 * np.arange(6)  # the ends of the lobes, where half a figure more has been laid
    rise = cable.width if facing == "edge to edge" else cable.thickness
    assert rise == pytest.approx(height, rel=1e-12)
    np.testing.assert_allclose(np.diff(z[across]), 0.5 * height, rtol=1e-9)
    np.testing.assert_allclose(np.diff(z[::64]), 2.0 * height, rtol=1e-9)  # at the crossing
