"""Levels in dB by hand, at the edges too; and what a lay adds, as part of its run."""

from __future__ import annotations

import math

import numpy as np
import pytest

from auralize.circuit.cable import Dielectric, MeasuredCable
from auralize.circuit.conductor import Complex, Real
from auralize.circuit.levels import arriving, drop_db, loss_db
from auralize.circuit.loudspeaker import Load, Open, Resistor, Short
from auralize.circuit.network import Amplifier, Connected, Network, Placed, Run
from auralize.circuit.sizing import deviation_measure, loss_measure
from auralize.circuit.solution import Solution, solve
from auralize.circuit.transformer import Transformer

FREQUENCY = np.array([0.0, 100.0, 10e3])
WIRE = MeasuredCable(0.02, 0.6e-6, Dielectric(0.0))  # 1 ohm and 30 uH on 50 m


def into(load: Load, at: str | None = "run") -> Solution:
    network = Network(Amplifier(0.1), {"run": Run(WIRE, 50.0)}, {"load": Connected(load, at)})
    return solve(network, FREQUENCY)


def test_loss_and_drop_are_those_of_a_divider() -> None:
    solution = into(Resistor(8.0))
    line = 1.0 + 2j * np.pi * FREQUENCY * 30e-6
    ratio = 8.0 / (8.0 + line)
    np.testing.assert_allclose(arriving(solution, "load"), ratio, rtol=1e-12)
    np.testing.assert_allclose(loss_db(solution, "load"), 20.0 * np.log10(np.abs(ratio)), rtol=1e-9)
    kept = 20.0 * np.log10(np.abs(1.0 - ratio))
    np.testing.assert_allclose(drop_db(solution, "load"), kept, rtol=1e-9)


def test_levels_behind_a_transformer_are_against_what_its_turns_give() -> None:
    """Ratio 4 to 1 with nothing else to it: what arrives is a quarter, which is no loss."""
    ideal = Transformer(4.0, 0.0, 0.0, 1e6)
    network = Network(
        Amplifier(0.1), {}, {"load": Connected(Resistor(8.0), "tap")}, {"tap": Placed(ideal)}
    )
    solution = solve(network, [1e3])
    assert solution.receiving["load"][0] / solution.sending[0] == pytest.approx(0.25, rel=1e-9)
    assert loss_db(solution, "load")[0] == pytest.approx(0.0, abs=1e-8)


def test_where_nothing_arrives_the_level_is_minus_infinity() -> None:
    for solution in (into(Short()), into(Short(), None)):  # at the end of the run, at the amplifier
        assert (arriving(solution, "load") == 0.0).all()
        assert (loss_db(solution, "load") == -math.inf).all()
    nothing_sent = into(Short(), None)
    assert (nothing_sent.sending == 0.0).all()
    assert (drop_db(nothing_sent, "load") == -math.inf).all()


def test_an_open_keeps_all_and_drops_nothing() -> None:
    solution = into(Open())
    np.testing.assert_allclose(loss_db(solution, "load"), 0.0, atol=1e-12)
    assert (drop_db(solution, "load") < -250.0).all()


def test_measures_take_the_worst_of_the_levels() -> None:
    network = into(Resistor(8.0)).network
    loss = -loss_db(into(Resistor(8.0)), "load")
    assert loss_measure(["load"], FREQUENCY)(network) == loss.max() == loss[-1]
    away = deviation_measure(["load"], FREQUENCY, 100.0)(network)
    assert away == pytest.approx(loss[-1] - loss[1], rel=1e-12)


def spiral(frequency: Real) -> Complex:
    """What some lay adds to a whole run along plus and minus, in ohm."""
    half = 0.15 + 1j * np.pi * frequency * 50e-6
    return np.stack([half, half])


def test_what_a_lay_adds_is_spread_along_its_run() -> None:
    """Into a resistor it is in series with the cable; with capacitance, a cable of more R and L."""
    laid = Run(WIRE, 50.0, added=spiral)
    ohm = 1.3 + 2j * np.pi * FREQUENCY * 80e-6
    np.testing.assert_allclose(laid.series(FREQUENCY), ohm, rtol=1e-12)
    network = Network(Amplifier(0.1), {"run": laid}, {"load": Connected(Resistor(8.0), "run")})
    solution = solve(network, FREQUENCY)
    np.testing.assert_allclose(arriving(solution, "load"), 8.0 / (8.0 + ohm), rtol=1e-12)
    tight = Dielectric(2e-9)
    laid = Run(MeasuredCable(0.02, 0.6e-6, tight), 50.0, added=spiral)
    same = Run(MeasuredCable(1.3 / 50.0, 80e-6 / 50.0, tight), 50.0)
    np.testing.assert_allclose(laid.two_port(FREQUENCY), same.two_port(FREQUENCY), rtol=1e-12)
