"""The drop over one conductor: a filter of its own, which adds up with that over the other to the whole."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from auralize.circuit.loudspeaker import Driver, Load, Resistor
from auralize.circuit.network import Amplifier, Connected, Contact, Network
from auralize.circuit.solution import ACROSS, solve
from auralize.filters.fir import design_run
from auralize.rig.reading import load_rig
from support.trial_rigs import one_run

PATH = Path(__file__).parents[2] / "audio_demo" / "path.toml"
BAND = np.geomspace(20.0, 20_000.0, 433)
"""Hz, at frequencies that are no bins of any grid."""
DRIVER = Driver(5.6, 38.0, 4.2, 0.42, 0.35e-3)


def worst_db(got, wanted):
    return 20 * np.log10(np.max(np.abs(got - wanted) / np.abs(wanted)))


def jointed(load: Load, **joints: Contact) -> Network:
    """A run of 62 m of 2.5 mm2 with joints at its ends."""
    network = one_run(2.5, 1.5, 62, load)
    return replace(network, runs={n: replace(r, **joints) for n, r in network.runs.items()})


JOINTED = {
    "a bad plug in plus": {"near": Contact(plus=0.8)},
    "a bad plug in minus": {"far": Contact(minus=0.8)},
    "all but broken": {"far": Contact(plus=100.0)},
    "another at each end": {"near": Contact(0.1, 0.0), "far": Contact(0.02, 0.3)},
}


@pytest.mark.parametrize("rate", [8000, 44_100, 96_000])
@pytest.mark.parametrize("load", [Resistor(8.0), DRIVER])
@pytest.mark.parametrize("name", JOINTED)
def test_over_each_conductor_a_filter_of_its_own(name: str, load: Load, rate: int) -> None:
    """As exact as that of the whole drop; in every tap they add up to it, to the last digit."""
    network = jointed(load, **JOINTED[name])
    found, solution = design_run(network, "load", rate), solve(network, BAND[0.4 * rate > BAND])
    assert not found.alike
    for across in ACROSS:
        fir, wanted = found.of("drop", across), solution.drop("load", across)
        error = worst_db(fir.response(solution.frequency), wanted)
        assert error <= max(-100.0, fir.error + 1.0)
        assert fir.error <= -100.0
    plus, minus = (found.of("drop", across).taps for across in ("plus", "minus"))
    last_digit = np.finfo(float).eps * (np.abs(plus) + np.abs(minus))
    assert (np.abs(plus + minus - found.drop.taps) <= last_digit).all()


def test_conductors_that_are_alike_keep_half_each() -> None:
    for joints in ({}, {"near": Contact(0.3, 0.3)}):
        found = design_run(jointed(Resistor(8.0), **joints), "load", 48_000)
        assert found.alike
        for across in ("plus", "minus"):
            np.testing.assert_array_equal(found.of("drop", across).taps, found.drop.taps / 2)
            assert found.of("drop", across).error == found.drop.error


def test_a_conductor_that_keeps_nothing_is_silent() -> None:
    """No cable at all: the drop is that of a bad terminal in minus, and over plus there is none."""
    network = Network(
        Amplifier(0.05), {}, {"load": Connected(Resistor(8.0), None, contact=Contact(minus=0.5))}
    )
    found = design_run(network, "load", 48_000)
    assert not found.of("drop", "plus").taps.any()
    np.testing.assert_array_equal(found.of("drop", "minus").taps, found.drop.taps)
    assert found.of("drop", "plus").error == -np.inf


def test_what_is_next_to_alike_is_not_and_next_to_nothing_is_something() -> None:
    """By 1e-7 of the drop, where rounding makes 1e-16."""
    joints = {"near": Contact(0.3, 0.3 * (1.0 + 1e-6))}
    assert not design_run(jointed(Resistor(8.0), **joints), "load", 8000).alike
    contact = Contact(plus=5e-9, minus=0.5)
    network = Network(
        Amplifier(0.05), {}, {"load": Connected(Resistor(8.0), None, contact=contact)}
    )
    found = design_run(network, "load", 8000)
    plus, minus = (found.of("drop", across).taps for across in ("plus", "minus"))
    np.testing.assert_allclose(plus, 1e-8 * minus, rtol=0, atol=1e-6 * np.abs(plus).max())
    assert plus.any()


def test_no_filter_over_one_conductor_where_a_transformer_parts_them() -> None:
    gate = load_rig(PATH)["sound"].at("gate")
    assert list(design_run(gate.network, gate.listen, 48_000).drops) == ["both"]
