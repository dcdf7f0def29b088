"""Coils of many turns, summed by groups, against every turn with every other, one by one."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from auralize.circuit import coil, coiled, crowding, groups, paths, ring_sums
from auralize.circuit.added_impedance import added_by_conductor, added_range
from auralize.circuit.coil import Packing, Turns, Winding, pack
from auralize.circuit.conductor import Complex
from auralize.circuit.figure_of_eight import eight_paths
from auralize.circuit.iron import IronBar, coil_field
from auralize.circuit.lays import Coiled, FigureOfEight, LaidCable, Lay, SplitCoils, on_reel
from support import ring_reference as reference
from support.lays import FLAT, TWISTED, alone, wire

FREQUENCY = np.array([1e3, 1e4, 2e4])
TURNS = [5.0, 23.9, 91.3, 200.0]
BAR = IronBar(0.02, 0.15, 6e6, 200.0)
LENGTH = 1e5


@pytest.fixture
def grouped(monkeypatch: pytest.MonkeyPatch) -> pytest.MonkeyPatch:
    """Groups of few turns, so that those of 91 turns are already taken together."""
    monkeypatch.setattr(groups, "EXACT", 40)
    for module in (ring_sums, crowding, coiled):
        monkeypatch.setattr(module, "_MEMBERS", 12)
    return monkeypatch


def both(lay: Lay, cable: LaidCable, patch: pytest.MonkeyPatch) -> tuple[Complex, Complex]:
    """By groups, and one by one; `_effect` keeps what it has solved."""
    found = added_by_conductor(lay, cable, LENGTH, FREQUENCY)
    with patch.context() as one_by_one:
        one_by_one.setattr(groups, "EXACT", 10**6)
        # Another length of the straight rest changes nothing for a flat cable.
        exact = added_by_conductor(lay, cable, 2.0 * LENGTH, FREQUENCY)
    return found, exact


def assert_same(found: Complex, exact: Complex) -> None:
    """Resistance and inductance each within 0.1 %: of the loop, and along each conductor.

    One conductor's may nearly cancel; what is left is then 0.2 % of the other's.
    """
    for part in (np.real, np.imag):
        np.testing.assert_allclose(part(found).sum(axis=0), part(exact).sum(axis=0), rtol=1e-3)
        most = np.abs(part(exact)).max(axis=0)
        assert (np.abs(part(found) - part(exact)) <= 2e-3 * most).all()


@pytest.mark.parametrize("turns", TURNS)
@pytest.mark.parametrize("packing", ["square", "hexagonal", "loose"])
@pytest.mark.parametrize("facing", ["aligned", "edge to edge", "stacked", "plus inside", "random"])
def test_coils_of_both_conductors(
    grouped: pytest.MonkeyPatch, turns: float, packing: Packing, facing: str
) -> None:
    lay = Coiled(Winding(0.5, turns, packing), facing)  # type: ignore[arg-type]
    assert_same(*both(lay, FLAT, grouped))


@pytest.mark.parametrize(
    ("turns", "packing"), [(5.0, "loose"), (23.9, "square"), (91.3, "square"), (200.0, "loose")]
)
@pytest.mark.parametrize("arrangement", ["coaxial", "side by side"])
@pytest.mark.parametrize("distance", [0.65, 2.0])
def test_split_coils_round_iron(
    grouped: pytest.MonkeyPatch, turns: float, packing: Packing, arrangement: str, distance: float
) -> None:
    winding = Winding(0.5, turns, packing)
    lay = SplitCoils(winding, winding, distance, arrangement, iron=BAR)  # type: ignore[arg-type]
    assert_same(*both(lay, FLAT, grouped))


@pytest.mark.parametrize("turns", [91.3, 200.0])
def test_twisted_pairs_with_their_range(grouped: pytest.MonkeyPatch, turns: float) -> None:
    lay = Coiled(Winding(0.5, turns))
    found = added_range(lay, TWISTED, LENGTH, FREQUENCY)
    grouped.setattr(groups, "EXACT", 10**6)
    exact = added_range(lay, replace(TWISTED, sheath=1e-15), LENGTH, FREQUENCY)
    assert_same(found.nominal, exact.nominal)
    for across in ("both", "plus", "minus"):
        assert_same(found.low[across], exact.low[across])  # type: ignore[index]
        assert_same(found.high[across], exact.high[across])  # type: ignore[index]


def test_a_reel_with_a_part_of_a_turn(monkeypatch: pytest.MonkeyPatch) -> None:
    """Hundreds of turns in groups as they are, of opposed conductors whose couplings all but cancel."""
    winding = on_reel(0.2, 0.16, 300.0, FLAT)
    assert 2.0 * winding.turns > groups.EXACT
    assert winding.turns % 1.0 > 0.05
    assert_same(*both(Coiled(winding, "aligned"), FLAT, monkeypatch))


@pytest.mark.parametrize("packing", ["square", "loose"])
def test_real_groups_against_neumanns_integral(packing: Packing) -> None:
    """450 turns, as the groups are: every flux by the double integral over both rings, 0.02 %."""
    rings = pack(Winding(0.4, 450.4, packing), 3.2e-3, 3.2e-3)
    flux = ring_sums.flux_of_all(alone(rings))
    for n in (0, 17, 230, 449):
        others = np.arange(len(rings.share)) != n
        r, z, share = (x[others] for x in (rings.radius, rings.place, rings.share))
        each = reference.rings(rings.radius[n], rings.place[n], r, z)
        assert flux[n] == pytest.approx(float(share @ each), rel=2e-4)


def test_the_field_at_each_turn() -> None:
    """Opposed currents in 300 turns of a twin, ring by ring: 0.2 % of the greatest."""
    turns = pack(Winding(0.5, 300, "loose"), 6.4e-3, 3.2e-3)
    rings = Turns(
        np.tile(turns.radius, 2),
        np.append(turns.place - 1.6e-3, turns.place + 1.6e-3),
        np.append(turns.share, -turns.share),
    )
    found = ring_sums.fields_of_each(alone(rings))[0]
    r, z = rings.radius, rings.place
    own = np.eye(len(r), dtype=bool)
    exact = coil.ring_field(r, z, r[:, None], z[:, None] + own)
    for field, each in zip((found.real, found.imag), exact, strict=True):
        expected = np.where(own, 0.0, each) @ rings.share
        np.testing.assert_allclose(field, expected, atol=2e-3 * np.abs(expected).max())


@pytest.mark.parametrize("spacing", [2.1e-3, 3.2e-3])
@pytest.mark.parametrize("facing", ["aligned", "stacked", "plus inside"])
def test_few_modes_are_enough(monkeypatch: pytest.MonkeyPatch, spacing: float, facing: str) -> None:
    """Twice as many change nothing beyond 1e-6, also where bare wires nearly touch."""
    cable = LaidCable(wire(1e-3), spacing, spacing)
    lay = Coiled(Winding(0.5, 60), facing)  # type: ignore[arg-type]
    few = added_by_conductor(lay, cable, LENGTH, FREQUENCY)
    monkeypatch.setattr(crowding, "_MODES", 16)
    many = added_by_conductor(lay, cable, 2.0 * LENGTH, FREQUENCY)
    np.testing.assert_allclose(few, many, rtol=1e-6)


def test_few_turns_stand_for_many_beside_a_coil_and_round_iron() -> None:
    a, b = (pack(Winding(0.3, n, "loose"), 3e-3, 3e-3) for n in (600, 500.5))
    nearest = float(a.radius.max() + b.radius.max()) + 3e-3
    found = coil.mutual_beside(a, b, nearest)
    each = [Turns(*(x[n::5] for x in (a.radius, a.place, a.share))) for n in range(5)]
    halves = [Turns(*(x[n::5] for x in (b.radius, b.place, b.share))) for n in range(5)]
    exact = sum(coil.mutual_beside(one, other, nearest) for one in each for other in halves)
    assert found == pytest.approx(exact, rel=1e-3)
    # As near to the turns as the bar's own law reaches.
    across = 2.0 * float(a.radius.min()) / 1.5
    bar = IronBar(across, 0.5, 6e6, 200.0)
    fields = sum(coil_field(bar, one) for one in each)
    np.testing.assert_allclose(coil_field(bar, a), fields, atol=1e-3 * np.abs(fields).max())


@pytest.mark.parametrize(
    ("figures", "facing"), [(5.0, "edge to edge"), (23.9, "edge to edge"), (41.3, "stacked")]
)
def test_a_sample_of_the_figures_stands_for_all(
    monkeypatch: pytest.MonkeyPatch, figures: float, facing: str
) -> None:
    lay = FigureOfEight(0.3, 0.25, figures, facing)  # type: ignore[arg-type]
    found = added_by_conductor(lay, FLAT, LENGTH, FREQUENCY)
    monkeypatch.setattr(paths, "_NEAR", 10**6)
    assert_same(found, added_by_conductor(lay, FLAT, 2.0 * LENGTH, FREQUENCY))


def test_rounds_are_summed_as_one_path() -> None:
    """Cut into rounds or into tiles, two paths have one inductance."""
    both_ways = eight_paths(FigureOfEight(0.3, 0.25, 6.4, "stacked"), FLAT)
    by_rounds = paths.path_inductance(both_ways, [1.0, -1.0], 3.2e-3, 64)
    as_one = paths.path_inductance(both_ways, [1.0, -1.0], 3.2e-3)
    np.testing.assert_allclose(by_rounds, as_one, rtol=1e-9)


@pytest.mark.parametrize("count", [1, 8, 9, 20, 77, 1000])
def test_a_sample_sums_what_falls_with_the_distance(count: int) -> None:
    """The sum of 1 / (n + 1)^2, whose terms fall as the fields of opposed currents do."""
    number, weight = paths.sampled(count)
    exact = (1.0 / (np.arange(count) + 1.0) ** 2).sum()
    assert (weight / (number + 1.0) ** 2).sum() == pytest.approx(exact, rel=1e-4)
    assert weight.sum() == pytest.approx(count, rel=1e-12)
    assert len(number) <= 8 + 4 * 7
