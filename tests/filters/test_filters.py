"""Filters against the responses they came from, measured off the grid they were made on."""

import numpy as np
import pytest

from auralize.circuit import twoport
from auralize.circuit.loudspeaker import Load
from auralize.circuit.solution import solve
from auralize.errors import DesignError
from auralize.filters import fir as filters
from auralize.filters.fir import SPLINE_ERROR, design_minimum_phase, design_run
from auralize.filters.grid import Grid, edge, predelay
from auralize.filters.sections import MOST_SECTIONS, Iir, design_iir
from auralize.units import amplitude
from support.trial_rigs import CAUSAL, SEMI_INDUCTIVE, one_run

RATES = (44_100, 48_000, 96_000, 192_000)
PAIRS = [
    (name, rate)
    for number, name in enumerate([*CAUSAL, *SEMI_INDUCTIVE])
    for rate in RATES[number % 2 :: 2]
]
"""Every run at a low rate and a high one, every rate with half of the runs."""
BAND = np.sort(
    np.concatenate([np.geomspace(20, 20_000, 333), np.random.default_rng(7).uniform(20, 2e4, 99)])
)
"""20 Hz to 20 kHz, at frequencies that are no bins of any grid."""


def worst_db(got, wanted):
    return 20 * np.log10(np.max(np.abs(got - wanted) / np.abs(wanted)))


def errors_db(network, rate):
    filters = design_run(network, "load", rate)
    solution = solve(network, BAND)
    return (
        worst_db(filters.receiving.response(BAND), solution.receiving["load"]),
        worst_db(filters.drop.response(BAND), solution.drop("load")),
        filters,
    )


@pytest.mark.parametrize(("name", "rate"), [p for p in PAIRS if p[0] in CAUSAL])
def test_exact_filter_of_a_causal_load(name, rate):
    receiving, drop, filters = errors_db(CAUSAL[name], rate)
    assert receiving <= -110
    assert drop <= -90
    # What a design says of itself is what is measured here, to within the density of two grids.
    assert filters.receiving.error == pytest.approx(receiving, abs=3)
    assert filters.drop.error == pytest.approx(drop, abs=3)


@pytest.mark.parametrize(("goals", "taps"), [((-40.0, -30.0), 4), ((-60.0, -30.0), 5)])
def test_no_length_is_spent_where_it_gains_nothing(goals, taps):
    """Errors fall by 10 dB a tap, one of them to -50 dB and no further."""
    found = filters._enough(range(1, 9), lambda n: [max(-10.0 * n, -50.0), -10.0 * n], goals)
    assert found == taps


@pytest.mark.parametrize(("name", "rate"), [p for p in PAIRS if p[0] in SEMI_INDUCTIVE])
def test_exact_filter_of_a_power_law_tail(name, rate):
    receiving, drop, _ = errors_db(SEMI_INDUCTIVE[name], rate)
    assert receiving <= -110
    assert drop <= -90


@pytest.mark.parametrize(
    ("rate", "most"), [(44_100, 512), (48_000, 256), (96_000, 512), (192_000, 1024)]
)
def test_predelay_is_bounded(rate, most):
    assert predelay(rate) <= most


@pytest.mark.parametrize("rate", RATES)
def test_exact_at_least_up_to_20_khz(rate):
    assert edge(rate) >= 20_000


@pytest.mark.parametrize("rate", [8_000, 11_025, 22_050, 32_000])
def test_low_rates_are_exact_up_to_most_of_their_band(rate):
    network = CAUSAL["62 m of 2.5 mm2, driver"]
    filters = design_run(network, "load", rate)
    band = BAND[edge(rate) > BAND]
    assert edge(rate) > 0.83 * rate / 2
    solution = solve(network, band)
    assert worst_db(filters.receiving.response(band), solution.receiving["load"]) <= -110
    assert worst_db(filters.drop.response(band), solution.drop("load")) <= -90


@pytest.mark.parametrize("name", [*CAUSAL, *SEMI_INDUCTIVE])
def test_drop_and_receiving_add_up_to_sending_tap_by_tap(name):
    filters = design_run((CAUSAL | SEMI_INDUCTIVE)[name], "load", 48_000)
    assert filters.sending.delay == filters.receiving.delay == filters.drop.delay
    total = filters.receiving.taps + filters.drop.taps
    assert np.max(np.abs(total - filters.sending.taps)) <= 2**-52


@pytest.mark.parametrize(("name", "rate"), PAIRS)
def test_minimum_phase_keeps_the_magnitude(name, rate):
    network = (CAUSAL | SEMI_INDUCTIVE)[name]
    fir = design_minimum_phase(lambda f: solve(network, f).receiving["load"], rate)
    wanted = np.abs(solve(network, BAND).receiving["load"])
    error = np.max(np.abs(20 * np.log10(np.abs(fir.response(BAND)) / wanted)))
    assert error <= 0.001
    assert fir.error <= 0.001
    assert fir.delay == 0


@pytest.mark.parametrize(("name", "rate"), PAIRS)
def test_iir_keeps_the_magnitude_in_few_stable_sections(name, rate):
    network = (CAUSAL | SEMI_INDUCTIVE)[name]
    iir = design_iir(lambda f: solve(network, f).receiving["load"], rate)
    wanted = np.abs(solve(network, BAND).receiving["load"])
    error = np.max(np.abs(20 * np.log10(np.abs(iir.response(BAND)) / wanted)))
    assert error <= 0.02
    assert iir.error <= 0.02
    assert len(iir.sections) <= MOST_SECTIONS
    assert all(np.all(np.abs(np.roots(section[3:])) < 1) for section in iir.sections)


def test_iir_response_equals_scipy():
    from scipy.signal import sosfreqz

    iir = Iir(np.array([[0.5, 0.1, 0.2, 1, -0.3, 0.4], [1, -0.5, 0, 1, 0.2, 0]]), 48_000, 0.0)
    _, wanted = sosfreqz(iir.sections, worN=BAND, fs=48_000)
    np.testing.assert_allclose(iir.response(BAND), wanted, rtol=1e-12)


def test_length_follows_from_the_decay():
    short = design_run(CAUSAL["62 m of 2.5 mm2, 8 ohm"], "load", 48_000)
    long = design_run(CAUSAL["300 m of 0.5 mm2, low driver"], "load", 48_000)
    assert len(short.drop.taps) < 0.1 * len(long.drop.taps)


def test_no_more_than_rounding_before_the_predelay_is_needed():
    """A causal response leaves nothing at the far end of the pre-delay."""
    filters = design_run(CAUSAL["62 m of 2.5 mm2, 8 ohm"], "load", 48_000)
    largest = np.max(np.abs(filters.receiving.taps))
    assert np.max(np.abs(filters.receiving.taps[:16])) < 1e-7 * largest


@pytest.mark.parametrize("rate", [7_999, 192_001])
def test_rate_outside_the_range_is_refused(rate):
    with pytest.raises(DesignError, match="8000 to 192000"):
        design_run(CAUSAL["62 m of 2.5 mm2, 8 ohm"], "load", rate)


class Ringing(Load):
    """8 ohm across a resonance so sharp that a response can be anything between two knots."""

    def __init__(self, quality):
        self.quality = quality

    def port(self, frequency):
        x = 1j * np.asarray(frequency) / 1234.5
        return twoport.port(8.0 + 40.0 * (x / self.quality) / (x * x + x / self.quality + 1.0), 1.0)


class Kinked(Load):
    """8 ohm that rise from 3 kHz on, all of a sudden."""

    def port(self, frequency):
        return twoport.port(8.0 + 2.0 * np.maximum(np.asarray(frequency) / 3000.0 - 1.0, 0.0), 1.0)


@pytest.mark.parametrize(
    ("load", "solved"),
    [
        (Ringing(10.0), "some"),
        (Ringing(30.0), "some"),
        (Ringing(1000.0), "all"),
        (Ringing(1e5), "all"),
        (Kinked(), "all"),
    ],
)
def test_what_lies_between_knots_is_as_solved_or_is_solved(monkeypatch, load, solved):
    network, grid = one_run(2.5, 1.5, 62, load), Grid(48_000)
    exact = solve(network, grid.frequency)
    counts = []
    monkeypatch.setattr(filters, "solve", lambda n, f: counts.append(len(f)) or solve(n, f))
    got, alike = filters._responses(network, "load", grid)
    assert alike
    for one, wanted in zip(got.T, (exact.reference("load"), exact.drop("load")), strict=True):
        assert (np.abs(one - wanted) <= amplitude(SPLINE_ERROR) * np.abs(wanted)).all()
    assert (len(grid.frequency) in counts) == (solved == "all")


@pytest.mark.parametrize("name", CAUSAL | SEMI_INDUCTIVE)
def test_the_spline_is_better_than_rounding_in_24_bit(name):
    """Far better than what it must be: -200 dB, for every trial rig."""
    network, grid = (CAUSAL | SEMI_INDUCTIVE)[name], Grid(96_000)
    exact = solve(network, grid.frequency)
    got, alike = filters._responses(network, "load", grid)
    assert alike
    for one, wanted in zip(got.T, (exact.reference("load"), exact.drop("load")), strict=True):
        assert worst_db(one, wanted) < -200
