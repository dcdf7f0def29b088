"""Laws of any lay, the range where it is not known, what practitioners expect, and what is refused."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from auralize.circuit import coil
from auralize.circuit.added_impedance import added_impedance, added_range
from auralize.circuit.coil import Winding
from auralize.circuit.conductor import internal_impedance
from auralize.circuit.iron import IronBar
from auralize.circuit.lays import (
    Coiled,
    FigureOfEight,
    LaidCable,
    Lay,
    SplitCoils,
    Straight,
    on_reel,
)
from auralize.circuit.pair import pair_impedance
from support.lays import FLAT, SMALL, TWISTED, VERY_LOW, added, straight, wire

AUDIO = np.array([0.0, 20.0, 100.0, 1e3, 5e3, 1e4, 2e4])


BAR = IronBar(0.02, 0.15, 6e6, 200.0)


# ---- laws ---------------------------------------------------------------------------------------

LAYS = st.one_of(
    st.builds(
        Coiled,
        st.builds(Winding, st.floats(0.3, 1.0), st.floats(1.0, 40.0)),
        st.sampled_from(["aligned", "edge to edge", "stacked", "random"]),
        st.one_of(st.none(), st.just(BAR)),
    ),
    st.builds(
        SplitCoils,
        st.builds(Winding, st.floats(0.3, 1.0), st.floats(1.0, 40.0)),
        st.builds(Winding, st.floats(0.3, 1.0), st.floats(1.0, 40.0)),
        st.floats(1.2, 3.0),
        st.sampled_from(["coaxial", "side by side"]),
        st.sampled_from(["same", "opposed"]),
        st.one_of(st.none(), st.just(BAR)),
    ),
)


@given(lay=LAYS, spacing=st.floats(2.7e-3, 6e-3))
@settings(max_examples=30, deadline=None, derandomize=True)
def test_no_lay_makes_energy(lay: Coiled | SplitCoils, spacing: float) -> None:
    """Straight and lay together never lose less than the wires alone would with all others far."""
    cable = LaidCable(wire(1e-3), spacing, spacing)
    length = 150.0
    whole = length * pair_impedance(AUDIO, spacing, cable.conductor)
    whole = whole + added_impedance(lay, cable, length, AUDIO)
    alone = 2.0 * length * internal_impedance(AUDIO, cable.conductor).real
    assert np.all(whole.real >= alone * (1.0 - 1e-6))
    assert np.all(whole.imag[1:] > 0.0)


@given(
    turns=st.floats(4.0, 40.0),
    diameter=st.floats(0.2, 1.0),
    sense=st.sampled_from(["same", "opposed"]),
    iron=st.booleans(),
)
@settings(max_examples=20, deadline=None, derandomize=True)
def test_split_coils_add_resistance(turns: float, diameter: float, sense: str, iron: bool) -> None:
    winding = Winding(diameter, turns)
    bar = BAR if iron else None
    lay = SplitCoils(winding, winding, 0.5, "coaxial", sense, bar)  # type: ignore[arg-type]
    z = added_impedance(lay, FLAT, 1e3, AUDIO)
    assert z[0] == 0.0
    assert np.all(z.real[1:] > 0.0)
    assert np.all(np.diff(z.real) > 0.0)


@pytest.mark.parametrize("facing", ["aligned", "edge to edge", "stacked", "random"])
def test_iron_does_almost_nothing_where_both_conductors_are_coiled_together(facing: str) -> None:
    lay = Coiled(Winding(0.2, 30), facing)  # type: ignore[arg-type]
    f = AUDIO[1:]
    steel = added_impedance(replace(lay, iron=BAR), FLAT, 100.0, f)
    change = steel - added_impedance(lay, FLAT, 100.0, f)
    apart = SplitCoils(Winding(0.2, 30), Winding(0.2, 30), 1.0)
    alone = added_impedance(replace(apart, iron=BAR), FLAT, 100.0, f)
    change_apart = alone - added_impedance(apart, FLAT, 100.0, f)
    assert np.all(np.abs(change) < 2e-3 * np.abs(change_apart))


def test_iron_feels_the_coil_beside_it() -> None:
    """Of equal circulation, the neighbour's field opposes in the bar; opposed, it helps."""
    f = np.array([100.0])
    change = {}
    for sense in ("same", "opposed"):
        lay = SplitCoils(SMALL, SMALL, 0.25, "side by side", sense)  # type: ignore[arg-type]
        steel = added_impedance(replace(lay, iron=BAR), FLAT, 100.0, f)
        change[sense] = abs((steel - added_impedance(lay, FLAT, 100.0, f))[0])
    # By the field on its axis: a coil's at 0.25 m over its own in the middle.
    _, axial = coil.ring_field(np.asarray(0.1), np.zeros(()), np.array([0.25, 1e-9]), np.zeros(2))
    ratio = (1.0 - axial[0] / axial[1]) / (1.0 + axial[0] / axial[1])
    assert change["opposed"] / change["same"] == pytest.approx(ratio**2, rel=0.1)


def test_one_frequency_gives_what_the_whole_axis_gives() -> None:
    lay = SplitCoils(SMALL, SMALL, 0.1, iron=BAR)
    axis = added_impedance(lay, FLAT, 100.0, AUDIO)
    each = [added_impedance(lay, FLAT, 100.0, np.asarray(f)) for f in AUDIO]
    np.testing.assert_allclose(np.array(each), axis, rtol=1e-12)


# ---- what is not known --------------------------------------------------------------------------


def spread(lay: Lay, cable: LaidCable, length: float) -> tuple[float, float, float]:
    """Low, nominal and high loop inductance over that of the straight pair."""
    span = added_range(lay, cable, length, np.array([VERY_LOW]))
    base = straight(cable) * length
    low, nominal, high = (
        1.0 + float(z.sum(axis=0)[0].imag) / (2.0 * math.pi * VERY_LOW * base)
        for z in (span.low["both"], span.nominal, span.high["both"])
    )
    assert low <= nominal <= high
    return low, nominal, high


@pytest.mark.parametrize("count", [8, 20, 64])
def test_a_flat_twin_of_unknown_facing_lies_anywhere(count: int) -> None:
    """Common practice, no source: about 0.7 to 1.8 of the straight inductance, and random between."""
    lay = Coiled(Winding(0.3, count))
    low, nominal, high = spread(lay, FLAT, lay.winding.length)
    assert 0.66 < low < 0.8
    assert nominal == pytest.approx(1.0, abs=0.01)
    assert 1.55 < high < 1.9
    assert "random" in added_range(lay, FLAT, 100.0, AUDIO).assumption


def test_a_stated_facing_leaves_the_packing_open() -> None:
    lay = Coiled(Winding(0.3, 20), "stacked")
    low, nominal, high = spread(lay, FLAT, lay.winding.length)
    assert 0.02 < high - low < 0.6
    assert nominal > 1.4


def test_twisted_pairs_in_phase_or_spread_over_three_phases() -> None:
    lay = Coiled(Winding(0.3, 30))
    low, nominal, high = spread(lay, TWISTED, lay.winding.length)
    assert 1.05 < high < 1.2
    assert high - nominal == pytest.approx(2.0 * (nominal - low), rel=1e-9)


def test_split_coils_range_over_their_packing() -> None:
    lay = SplitCoils(Winding(0.3, 40), Winding(0.3, 40), 1.0)
    low, nominal, high = spread(lay, FLAT, lay.first.length)
    assert 0.05 < (high - low) / nominal < 0.2
    assert low < nominal < high
    assert "square" in added_range(lay, FLAT, 100.0, AUDIO).assumption


def test_figures_of_eight_and_straight_runs_have_their_range() -> None:
    lay = FigureOfEight(0.3, 0.25, 6)
    low, nominal, high = spread(lay, FLAT, lay.length)
    assert low < 0.9 < nominal == 1.0 < 1.1 < high
    span = added_range(Straight(), FLAT, 10.0, AUDIO)
    assert not span.low["both"].any()
    assert not span.nominal.any()
    assert not span.high["both"].any()


# ---- trade checks (common practice, no source) --------------------------------------------------


def test_what_practitioners_expect() -> None:
    length, load = 62.0, 8.0
    winding = Winding(0.35, 50)
    f = np.array([1e4])

    def loss(lay: Lay, cable: LaidCable) -> float:
        z = length * pair_impedance(f, cable.spacing, cable.conductor)
        z = z + added_impedance(lay, cable, length, f)
        return float(-20.0 * np.log10(np.abs(load / (load + z[0]))))

    assert loss(Coiled(winding), TWISTED) - loss(Straight(), TWISTED) < 0.05
    split = SplitCoils(winding, winding, 0.5)
    assert loss(split, FLAT) > loss(Straight(), FLAT) + 10.0
    shorter = SplitCoils(Winding(0.1, 10), Winding(0.1, 10), 0.3)
    steel = replace(shorter, iron=BAR)
    resistance = [added_impedance(lay, FLAT, length, f).real[0] for lay in (shorter, steel)]
    assert resistance[1] > resistance[0]
    assert added(Straight(), FLAT) == 0.0


# ---- geometry that cannot be --------------------------------------------------------------------


@pytest.mark.parametrize(
    ("lay", "cable", "says"),
    [
        (Coiled(Winding(1.0, 40)), FLAT, "m are coiled, and the run is only 100 m long"),
        (SplitCoils(Winding(1.0, 40), Winding(0.3, 2), 1.0), FLAT, "and the run is only 100 m"),
        (FigureOfEight(1.0, 1.0, 40), FLAT, "and the run is only 100 m"),
        (Coiled(Winding(0.002, 2)), FLAT, "the innermost would cross the axis"),
        (Coiled(Winding(0.003, 1)), FLAT, "the innermost would cross the axis"),
        (Coiled(Winding(0.02, 64)), FLAT, "the innermost would cross the axis"),
        (Coiled(Winding(0.3, 10), iron=replace(BAR, diameter=0.29)), FLAT, "does not go through"),
        (
            SplitCoils(Winding(0.3, 9), Winding(0.028, 9), 0.2, iron=BAR),
            FLAT,
            "does not go through",
        ),
        (SplitCoils(Winding(0.3, 9), Winding(0.3, 9), 0.002), FLAT, "overlap"),
        (SplitCoils(Winding(0.3, 9), Winding(0.3, 9), 0.3, "side by side"), FLAT, "overlap"),
        (SplitCoils(Winding(0.3, 9), Winding(0.3, 9), 0.3), TWISTED, "untwist"),
        (Coiled(Winding(0.3, 10), "stacked"), TWISTED, "no flat sides"),
        (FigureOfEight(0.3, 0.3, 4, "stacked"), TWISTED, "no flat sides"),
        (FigureOfEight(0.005, 0.3, 4, "stacked"), FLAT, "too small"),
    ],
)
def test_geometry_that_cannot_be_is_refused(lay: Lay, cable: LaidCable, says: str) -> None:
    with pytest.raises(ValueError, match=says):
        added_impedance(lay, cable, 100.0, AUDIO)


def test_a_run_may_be_coiled_to_its_end_whatever_is_rounded() -> None:
    length = SMALL.length * (1.0 - 1e-12)
    assert np.isfinite(added_impedance(Coiled(SMALL), FLAT, length, AUDIO)).all()
    with pytest.raises(ValueError, match="are coiled"):
        added_impedance(Coiled(SMALL), FLAT, SMALL.length * (1.0 - 1e-8), AUDIO)


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda: Winding(0.0, 3), "mean diameter must be above zero"),
        (lambda: Winding(math.nan, 3), "mean diameter must be above zero"),
        (lambda: Winding(0.3, 0.5), "1 turn or more"),
        (lambda: Winding(0.3, 3, "heaped"), "packing must be one of"),
        (lambda: Winding(0.3, 3, width=-1.0), "width must be above zero"),
        (lambda: Coiled(Winding(0.3, 3), "upside down"), "facing must be one of"),
        (lambda: SplitCoils(SMALL, SMALL, -0.1), "distance must be 0 or more"),
        (lambda: SplitCoils(SMALL, SMALL, 0.1, "stacked"), "arrangement must be one of"),
        (lambda: SplitCoils(SMALL, SMALL, 0.1, "coaxial", "up"), "sense must be one of"),
        (lambda: FigureOfEight(0.3, 0.0, 3), "lobe width must be above zero"),
        (lambda: FigureOfEight(0.3, 0.3, 0), "1 figure or more"),
        (lambda: LaidCable(wire(1e-3), 3e-3, 1.9e-3), "cannot hold a conductor"),
        (lambda: LaidCable(wire(1e-3), 2.5e-3, 3e-3), "cannot lie"),
        (lambda: LaidCable(wire(1e-3), 3e-3, 3e-3, -1.0), "sheath"),
        (lambda: LaidCable(wire(1e-3), 3e-3, 3e-3, lay_length=8e-3), "too short"),
        (lambda: on_reel(0.2, 0.001, 20.0, FLAT), "cannot take a cable"),
        (lambda: added_impedance(Straight(), FLAT, 0.0, AUDIO), "length must be above zero"),
        (lambda: added_impedance(Straight(), FLAT, 1.0, -AUDIO), "0 Hz or above"),
    ],
)
def test_values_that_cannot_be_are_refused(make, says: str) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(ValueError, match=says):
        make()
