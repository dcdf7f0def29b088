"""Joints, legs, faults and transformers in a tree: what follows by hand, and limits."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from auralize.circuit.cable import Dielectric, MeasuredCable
from auralize.circuit.crossover import Capacitor
from auralize.circuit.loudspeaker import Driver, Load, Open, Short, Vent
from auralize.circuit.network import Amplifier, Connected, Contact, Network, Placed, Run
from auralize.circuit.solution import solve, source_impedance
from support.trees import EIGHT, TAP, WITH_DC, straight

WOOFER = Driver(5.6, 38.0, 4.2, 0.42, 0.5e-3, 0.02, 1.5, vent=Vent(45.0, 7.0))


def single(run: Run, load: Load = EIGHT, **connected: object) -> Network:
    at = Connected(load, "run", **connected)  # type: ignore[arg-type]
    return Network(Amplifier(0.05), {"run": run}, {"load": at})


# Joints and legs.


def test_a_joint_is_a_resistor_in_the_loop() -> None:
    """At 0 Hz by hand: 0.05 + 0.3 + 30 m of 14.8 mohm/m + 0.2 + 0.1 into 8 ohm."""
    run = straight(near=Contact(0.3, 0.0), far=Contact(0.0, 0.2))
    solution = solve(single(run, contact=Contact(0.04, 0.06)), [0.0])
    loop = 0.05 + 0.3 + 30.0 * 14.8e-3 + 0.2 + 0.1
    assert solution.receiving["load"][0] == pytest.approx(8.0 / (8.0 + loop), rel=1e-12)
    assert solution.sending[0] == pytest.approx(1.0 - 0.05 / (8.0 + loop), rel=1e-12)
    seen = source_impedance(single(run, contact=Contact(0.04, 0.06)), "load", [0.0])
    assert seen[0] == pytest.approx(loop, rel=1e-12)


def test_each_leg_drops_what_is_in_it() -> None:
    """A bad joint in one leg: the whole of it drops there, and half of the cable in each."""
    run = straight(far=Contact(plus=0.5))
    solution = solve(single(run, WOOFER), WITH_DC)
    plus, minus = solution.drop("load", "plus"), solution.drop("load", "minus")
    over_joint = 0.5 * solution.current["load"]
    np.testing.assert_allclose(plus - minus, over_joint, rtol=1e-10)
    np.testing.assert_allclose(plus + minus, solution.drop("load"), rtol=1e-12)
    assert plus[0].real > 2.0 * minus[0].real


def test_legs_are_halves_where_both_conductors_are_equal() -> None:
    solution = solve(single(straight(near=Contact(0.1, 0.1)), WOOFER), WITH_DC)
    half = 0.5 * solution.drop("load")
    np.testing.assert_allclose(solution.drop("load", "plus"), half, rtol=1e-12)
    np.testing.assert_allclose(solution.drop("load", "minus"), half, rtol=1e-12)


def test_joints_cannot_be_below_zero() -> None:
    with pytest.raises(ValueError, match="joint cannot be below zero"):
        Contact(-0.1)


# Faults.


def pair_of(west: Load, east: Load, **connected: object) -> Network:
    return Network(
        Amplifier(0.05),
        {"trunk": straight(), "west": straight(5.0, "trunk"), "east": straight(9.0, "trunk")},
        {"west": Connected(west, "west"), "east": Connected(east, "east", **connected)},  # type: ignore[arg-type]
    )


def test_reversed_polarity_is_flagged_and_changes_no_voltage() -> None:
    right, wrong = (
        solve(pair_of(WOOFER, WOOFER), WITH_DC),
        solve(pair_of(WOOFER, WOOFER, reversed=True), WITH_DC),
    )
    np.testing.assert_array_equal(wrong.receiving["east"], right.receiving["east"])
    assert (right.polarity("east"), wrong.polarity("east"), wrong.polarity("west")) == (1, -1, 1)


def test_an_open_branch_is_as_if_it_were_not_there() -> None:
    """Where its cable has no capacitance: nothing flows, and nothing drops."""
    tight = MeasuredCable(14.8e-3, 0.65e-6, Dielectric(0.0))
    whole = pair_of(WOOFER, Open())
    runs = {name: replace(run, cable=tight) for name, run in whole.runs.items()}
    broken = solve(replace(whole, runs=runs), WITH_DC)
    del runs["east"]
    alone = Network(Amplifier(0.05), runs, {"west": Connected(WOOFER, "west")})
    np.testing.assert_allclose(
        broken.receiving["west"], solve(alone, WITH_DC).receiving["west"], rtol=1e-12
    )
    assert not broken.current["east"].any()
    assert not broken.load_power["east"].any()
    np.testing.assert_allclose(
        broken.receiving["east"], broken.flows["trunk"].far_voltage, rtol=1e-12
    )


def test_a_shorted_branch_takes_the_voltage_and_loads_the_amplifier() -> None:
    """At 0 Hz by hand: the amplifier sees trunk and branch, and their other branch in parallel."""
    solution = solve(pair_of(EIGHT, Short()), WITH_DC)
    assert not solution.receiving["east"].any()
    ohm = 14.8e-3
    beside = 1.0 / (1.0 / (9.0 * ohm) + 1.0 / (8.0 + 5.0 * ohm))
    assert solution.presented[0] == pytest.approx(30.0 * ohm + beside, rel=1e-12)
    through = solution.flows["trunk"].far_voltage / (9.0 * ohm)
    assert solution.current["east"][0] == pytest.approx(through[0], rel=1e-12)
    np.testing.assert_array_equal(solution.load_power["east"], 0.0)


def test_a_short_at_a_joint_silences_all_that_hangs_there() -> None:
    """Exactly, and its current is all there is; two shorts in one place share it."""
    network = Network(
        Amplifier(0.05),
        {"run": straight()},
        {
            "load": Connected(EIGHT, "run"),
            "one": Connected(Short(), "run"),
            "two": Connected(Short(), "run"),
        },
    )
    solution = solve(network, [0.0])
    assert solution.receiving["load"][0] == solution.current["load"][0] == 0.0
    expected = 1.0 / (0.05 + 30.0 * 14.8e-3)
    assert solution.current["one"][0] == pytest.approx(expected / 2.0, rel=1e-12)
    assert solution.current["two"][0] == pytest.approx(expected / 2.0, rel=1e-12)


def test_an_ideal_amplifier_cannot_feed_a_short() -> None:
    network = Network(Amplifier(0.0), {}, {"load": Connected(Short(), None)})
    with pytest.raises(ValueError, match="without output resistance feeds a short circuit at 0 Hz"):
        solve(network, WITH_DC)


def test_capacitors_alone_draw_nothing_at_dc() -> None:
    solution = solve(single(straight(), Capacitor(10e-6)), WITH_DC)
    assert solution.receiving["load"][0] == solution.sending[0] == 1.0
    assert solution.drop("load")[0] == 0.0
    assert solution.cable_share()[0] == 0.0
    assert np.isposinf(solution.presented[0].real)
    assert (solution.cable_share()[1:] > 0.0).all()


def test_what_arrives_is_referred_to_the_turns() -> None:
    """A loss of 1 dB at middle frequencies on a stiff line, relative to sqrt(P Z) / V of the sending end."""
    network = Network(
        Amplifier(0.0), {}, {"load": Connected(EIGHT, "tap")}, {"tap": Placed(TAP, None)}
    )
    solution = solve(network, [0.0, 1e5])
    assert network.ratio("load") == pytest.approx(np.sqrt(80.0) / 100.0, rel=1e-12)
    arrived = np.abs(solution.receiving["load"][1] / solution.reference("load")[1])
    assert 20.0 * np.log10(arrived) == pytest.approx(-1.0, abs=1e-6)
    assert solution.receiving["load"][0] == 0.0
    np.testing.assert_allclose(
        solution.drop("load") + solution.receiving["load"], solution.reference("load"), rtol=1e-15
    )


def test_no_conductor_runs_through_a_transformer() -> None:
    network = Network(
        Amplifier(0.05),
        {"line": straight()},
        {"load": Connected(EIGHT, "tap")},
        {"tap": Placed(TAP, "line")},
    )
    assert network.way("load") == ["line", "tap"]
    assert network.path("load") == ["line"]
    solution = solve(network, [1e3])
    for ask in (lambda: solution.drop("load", "plus"), lambda: solution.drop("load", "minus")):
        with pytest.raises(ValueError, match="transformer on the way to 'load'"):
            ask()
    share = solution.cable_share() + solution.transformer_power("tap") / solution.input_power
    arrived = solution.load_power["load"] / solution.input_power
    np.testing.assert_allclose(share + arrived, 1.0, rtol=1e-12)
