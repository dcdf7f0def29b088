"""Eddy currents in the turns of a lay against the whole field and closed forms."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from auralize.circuit.added_impedance import added_impedance
from auralize.circuit.coil import Winding
from auralize.circuit.coiled import turns_of
from auralize.circuit.conductor import MU_0, Complex, Conductor, Real
from auralize.circuit.lays import Coiled, FigureOfEight, LaidCable, SplitCoils
from auralize.circuit.pair import impedance_matrix, pair_impedance
from auralize.circuit.split_coils import split_turns
from support import ring_reference as reference
from support.lays import COPPER, FLAT, wire

EDDY = np.array([100.0, 1e3, 5e3, 1e4, 2e4])


def solved(place: Complex, current: Real, cable: LaidCable, f: Real = EDDY) -> Complex:
    """ohm per metre of a section, currents in series: all wires solved by multipoles together."""
    z = impedance_matrix(f, list(place), [cable.conductor] * len(place))
    return np.asarray(np.einsum("i,fij,j->f", current, z, current))


@pytest.mark.parametrize(
    "cable", [FLAT, LaidCable(wire(1e-3), 2.6e-3, 2.6e-3), LaidCable(wire(1.2e-3), 4.2e-3, 4.2e-3)]
)
@pytest.mark.parametrize(
    ("facing", "tolerance"), [("stacked", 0.05), ("edge to edge", 0.02), ("aligned", 0.05)]
)
def test_proximity_in_a_flat_twin(cable: LaidCable, facing: str, tolerance: float) -> None:
    """Resistance of straight and lay together, in a coil so large that its section is plane."""
    lay = Coiled(Winding(6.0, 12), facing)  # type: ignore[arg-type]
    turns = turns_of(lay, cable)
    section = turns.place + 1j * turns.radius
    place = np.append(section - 0.5 * cable.spacing, section + 0.5 * cable.spacing)
    whole = solved(place, np.repeat([1.0, -1.0], 12), cable)
    pair = 12.0 * pair_impedance(EDDY, cable.spacing, cable.conductor)
    found = added_impedance(lay, cable, 1e3, EDDY) / (math.pi * 6.0)
    assert np.abs((whole - pair).real).max() > 0.03 * pair.real.max()
    np.testing.assert_allclose((pair + found).real, whole.real, rtol=tolerance)
    # The inductance's fall with frequency, as part of the whole.
    fall = (found - found[0] * EDDY / EDDY[0]).imag
    true_fall = (whole - pair - (whole - pair)[0] * EDDY / EDDY[0]).imag
    np.testing.assert_allclose(fall, true_fall, atol=0.012 * whole.imag.max())


@pytest.mark.parametrize(
    ("area", "tolerance"), [(2.5, 0.05), (4.0, 0.05), (6.0, 0.08), (10.0, 0.1), (16.0, 0.121)]
)
@pytest.mark.parametrize("facing", ["stacked", "plus inside"])
def test_proximity_in_thick_flat_twins(area: float, tolerance: float, facing: str) -> None:
    """Strands that fill 0.75, walls of 0.5 mm: the thicker the wire, the more is lost, and only lost."""
    radius = math.sqrt(area * 1e-6 / 0.75 / math.pi)
    copper = Conductor(radius, COPPER / (area * 1e-6))
    spacing = 2.0 * radius + 1e-3
    cable = LaidCable(copper, spacing, spacing)
    lay = Coiled(Winding(600.0, 12), facing)  # type: ignore[arg-type]
    turns = turns_of(lay, cable)
    section = turns.place + 1j * turns.radius
    half = 0.5 * spacing * (1j if facing == "plus inside" else 1.0)
    whole = solved(np.append(section - half, section + half), np.repeat([1.0, -1.0], 12), cable)
    pair = 12.0 * pair_impedance(EDDY, spacing, copper)
    found = added_impedance(lay, cable, 1e5, EDDY) / (math.pi * 600.0)
    missed = (pair + found).real / whole.real - 1.0
    assert (missed < 1e-3).all()
    assert (-missed < tolerance).all()


@pytest.mark.parametrize("spacing", [2.6e-3, 3.2e-3])
@pytest.mark.parametrize("count", [7, 19])
def test_proximity_in_split_coils(spacing: float, count: int) -> None:
    """Bundles a metre apart, solved as one section with the currents' return."""
    cable = LaidCable(wire(1e-3), spacing, spacing)
    winding = Winding(2.0, count, "hexagonal")
    lay = SplitCoils(winding, winding, 1.0, "coaxial", "opposed")
    a, b = split_turns(lay, cable)
    place = np.append(a.place + 1j * a.radius, b.place + 1j * b.radius)
    whole = solved(place, np.append(a.share, b.share), cable)
    pair = count * pair_impedance(EDDY, spacing, cable.conductor)
    found = added_impedance(lay, cable, 1e3, EDDY) / (math.pi * 2.0)
    assert whole.real[-1] > 1.5 * pair.real[-1]
    np.testing.assert_allclose((pair + found).real, whole.real, rtol=0.01)


def test_proximity_of_random_orientations() -> None:
    """Mean resistance of 12 draws of 7 turns."""
    winding = Winding(6.0, 7, "hexagonal")
    turns = turns_of(Coiled(winding), FLAT)
    section, current = turns.place + 1j * turns.radius, np.repeat([1.0, -1.0], 7)
    rng = np.random.default_rng(3)
    resistances = []
    f = EDDY[[1, 4]]
    for _ in range(12):
        half = 0.5 * FLAT.spacing * np.exp(2j * np.pi * rng.random(7))
        draw = solved(np.append(section + half, section - half), current, FLAT, f)
        resistances.append(draw.real)
    pair = 7.0 * pair_impedance(f, FLAT.spacing, FLAT.conductor).real
    found = added_impedance(Coiled(winding), FLAT, 1e3, f).real / (math.pi * 6.0)
    assert found[-1] > 0.02 * pair[-1]
    np.testing.assert_allclose(pair + found, np.mean(resistances, axis=0), rtol=0.02)


def test_eddy_loss_of_a_wire_across_a_field_at_low_frequency() -> None:
    """pi omega^2 mu0^2 a^4 H^2 / 4 rho watt per metre for H rms: the induced field omega mu0 H x,
    squared over rho, integrated over the section. Each of two touching turns lies in the other's
    field; the straight pair's, with its cores far apart, is taken away."""
    cable = replace(FLAT, spacing=10e-3)
    turns = Winding(20.0, 2)
    f = 10.0
    found = added_impedance(SplitCoils(turns, turns, 8.0), cable, 1e3, np.array([f])).real[0]
    a = cable.conductor.radius
    per_square = math.pi * (2.0 * math.pi * f * MU_0) ** 2 * a**4 / (4.0 * COPPER)
    excess = (1.0 / (2.0 * math.pi * 3.2e-3)) ** 2 - (1.0 / (2.0 * math.pi * 10e-3)) ** 2
    assert found == pytest.approx(2.0 * turns.length * per_square * excess, rel=0.005)


def test_eddy_loss_in_a_ring_s_own_field() -> None:
    """The field at the wire is the hoop force over current and length: dL/dR / (4 pi R mu0)."""
    cable = LaidCable(wire(1e-3), spacing=50e-3, core_diameter=3.2e-3)
    radius, f = 0.012, 10.0
    ring = Winding(2.0 * radius, 1)
    found = added_impedance(SplitCoils(ring, ring, 1.0), cable, 1.0, np.array([f])).real[0]
    slope = reference.thick_ring(1.02 * radius, 1e-3) - reference.thick_ring(0.98 * radius, 1e-3)
    own = slope / (0.04 * radius) / (4.0 * math.pi * radius * MU_0)
    per_square = math.pi * (2.0 * math.pi * f * MU_0) ** 2 * 1e-3**4 / (4.0 * COPPER)
    excess = own**2 - (1.0 / (2.0 * math.pi * 50e-3)) ** 2
    assert found == pytest.approx(2.0 * ring.length * per_square * excess, rel=0.02)


def test_eddy_loss_in_a_figure_of_eight() -> None:
    """One figure's strands only cross, which adds little; six lie on one another as in a coil, but
    for the crossing, where they are spread."""
    f = np.array([1e4])
    pair = pair_impedance(f, FLAT.spacing, FLAT.conductor).real[0]
    one, six = (
        added_impedance(lay, FLAT, 100.0, f).real[0] / lay.length / pair
        for lay in (FigureOfEight(0.3, 0.25, n, "stacked") for n in (1, 6))
    )
    pile = Coiled(Winding(0.3, 6), "stacked")
    coiled = added_impedance(pile, FLAT, 100.0, f).real[0] / pile.winding.length / pair
    assert abs(one) < 0.01
    assert 0.6 * coiled < six < coiled
