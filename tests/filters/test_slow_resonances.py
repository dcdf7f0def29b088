"""Filters of what rings long and low: heavy resonances, and transformers of constant-voltage lines.

Errors are measured as in `test_filters`: off the grid, against the circuit solved at the same frequencies.
"""

from pathlib import Path

import numpy as np
import pytest

from auralize.circuit import twoport
from auralize.circuit.loudspeaker import Driver, Load
from auralize.circuit.network import Connected, Network, Placed
from auralize.circuit.solution import solve
from auralize.circuit.transformer import make_line_transformer
from auralize.filters.fir import EXACT_GOAL, design_run
from auralize.filters.grid import LONGEST_IMPULSE, Grid
from auralize.rig.reading import load_rig
from support.trial_rigs import one_run

RATES = (44_100, 48_000, 96_000)
PATH = load_rig(Path(__file__).parents[2] / "audio_demo" / "path.toml")
POINTS = 467_775
"""Of a transform longer than any filter here; odd, so that no grid of a design has a bin of its but 0."""


def worst_db(got, wanted):
    return 20 * np.log10(np.max(np.abs(got - wanted) / np.abs(wanted)))


def bins(rate):
    """Numbers of some bins from 20 Hz to 20 kHz: every one up to 60 Hz, where slow tails end."""
    first, near, last = (round(hertz * POINTS / rate) for hertz in (20.0, 60.0, 20_000.0))
    return np.unique(np.r_[first + 1 : near, np.geomspace(near, last, 300).astype(int)])


def response(fir, at):
    """At these bins, the delay taken out."""
    later = np.exp(2j * np.pi * at * fir.delay / POINTS)
    return np.fft.rfft(fir.taps, POINTS)[at] * later


def check(network, load, rate):
    """-90 dB for the drop and -110 dB for what is received, and that the design knows it.

    Both relative to what the turns alone make of the source.
    """
    filters, at = design_run(network, load, rate), bins(rate)
    solution = solve(network, at * (rate / POINTS))
    turned = solution.polarity(load) / network.ratio(load)
    for fir, wanted, most in (
        (filters.drop, solution.drop(load), -90),
        (filters.receiving, solution.receiving[load], -110),
    ):
        error = worst_db(response(fir, at), turned * wanted)
        assert error <= most
        assert fir.error == pytest.approx(error, abs=6)  # of a few ripples, each grid meets others
    total = filters.receiving.taps + filters.drop.taps
    largest = np.max(np.abs(filters.sending.taps))
    assert np.max(np.abs(total - filters.sending.taps)) <= 2**-52 * largest  # rounding


@pytest.mark.parametrize(
    ("name", "rate"), [*((name, 48_000) for name in PATH), ("sound", 44_100), ("hot", 96_000)]
)
@pytest.mark.parametrize("load", ["lawn", "bench", "gate"])
def test_everything_on_the_demos_own_path(name, load, rate):
    check(PATH[name].network, load, rate)


@pytest.mark.parametrize(
    ("quality", "rate"),
    [(0.3, 48_000), (1.0, 48_000), (3.0, 48_000), *((10.0, rate) for rate in RATES)],
)
@pytest.mark.parametrize("resonance", [5.0, 8.0, 12.0, 20.0])
def test_heavy_resonances(resonance, quality, rate):
    """Of this Q in all: mechanical and electrical damping are equal."""
    load = Driver(5.6, resonance, 2 * quality, 2 * quality, 0.35e-3)
    check(one_run(2.5, 1.5, 62, load), "load", rate)


@pytest.mark.parametrize(
    ("lowest", "rate"), [*((20.0, rate) for rate in RATES), (40.0, 48_000), (60.0, 48_000)]
)
@pytest.mark.parametrize("resonance", [12.0, 110.0])
def test_transformers(resonance, lowest, rate):
    tap = make_line_transformer(100.0, 20.0, 8.0, insertion_loss=1.0, low_frequency=lowest)
    line = one_run(1.5, 1.5, 120, Driver(6.2, resonance, 3.0, 0.9, 0.2e-3))
    network = Network(
        line.amplifier,
        line.runs,
        {"load": Connected(line.loads["load"].load, "tap")},
        {"tap": Placed(tap, "run")},
    )
    check(network, "load", rate)


def test_the_response_measured_here_is_that_of_the_filter():
    fir = design_run(PATH["sound"].network, "lawn", 48_000).drop
    at = bins(48_000)[::60]
    assert worst_db(response(fir, at), fir.response(at * (48_000 / POINTS))) < -200


class Kinked(Load):
    """8 ohm that rise from 3 kHz on without any reactance: not causal, so no length makes it exact."""

    def port(self, frequency):
        return twoport.port(8.0 + 2.0 * np.maximum(np.asarray(frequency) / 3000.0 - 1.0, 0.0), 1.0)


def test_length_that_gains_nothing_is_not_taken():
    filters = design_run(one_run(2.5, 1.5, 62, Kinked()), "load", 48_000)
    assert -80 < filters.drop.error < -20
    assert len(filters.drop.taps) < 0.1 * LONGEST_IMPULSE * 48_000


def test_the_longest_impulse_is_as_long_as_its_name_says():
    grid = Grid(48_000)
    assert grid.lengths()[-1] - grid.delay == round(LONGEST_IMPULSE * 48_000)
    assert grid.size >= 2 * grid.lengths()[-1]


def test_a_longer_grid_is_taken_where_the_ends_alone_need_it():
    """At 8 kHz; the drop has its -100 dB on the shorter grid, and the ends have -119 dB."""
    found = design_run(one_run(2.5, 1.5, 500, Driver(5.6, 20, 10, 2.0, 0.4e-3)), "load", 8000)
    assert max(found.sending.error, found.receiving.error) <= EXACT_GOAL
