"""Impedance measured at few frequencies: the drop of a cable against the circuit that was measured."""

from __future__ import annotations

import numpy as np
import pytest

from auralize.audio.bands import THIRD_OCTAVES
from auralize.circuit.between import DENSE, filled
from auralize.circuit.cable import make_pair
from auralize.circuit.conductor import MATERIALS, Real, make_conductor
from auralize.circuit.crossover import Capacitor, Coil, Crossover, Ladder, Rung
from auralize.circuit.curve import Curve
from auralize.circuit.levels import drop_db
from auralize.circuit.loudspeaker import Driver, Load, Vent
from auralize.circuit.network import Amplifier, Connected, Network, Run
from auralize.circuit.rational import fitted
from auralize.circuit.sampled import SampledImpedance
from auralize.circuit.solution import solve

VENTED = Driver(5.6, 38.0, 4.2, 0.42, 0.5e-3, 0.02, 1.5, vent=Vent(45.0, 7.0))
LOADS: dict[str, Load] = {
    "free air": Driver(5.6, 38.0, 4.2, 0.42, 0.35e-3),
    "closed box": Driver(5.6, 38.0, 4.2, 0.42, 0.35e-3, stiffness_ratio=1.5),
    "closed box, eddy currents": Driver(5.6, 38.0, 4.2, 0.42, 0.2e-3, 0.02, 1.5),
    "closed box, sharp": Driver(5.5, 42.0, 7.0, 0.38, 0.4e-3, 0.01, 2.0),
    "vented box": VENTED,
    "two ways": Crossover(
        {
            "low": Ladder(
                (Rung("series", Coil(1e-3, 0.2)), Rung("shunt", Capacitor(15e-6))), VENTED
            ),
            "high": Ladder(
                (Rung("series", Capacitor(6e-6)), Rung("shunt", Coil(0.4e-3, 0.1))),
                Driver(6.2, 900.0, 2.5, 1.3, inductance=0.05e-3),
            ),
        }
    ),
}
THIRDS = np.array(THIRD_OCTAVES)
F = np.geomspace(20.0, 20e3, 1501)
PAIR = make_pair(
    make_conductor(2.5e-6, MATERIALS["copper"], None, 0.75, 20.0),
    3.66e-3,
    permittivity=3.5,
    loss_tangent=0.05,
)


def drop(load: Load) -> Real:
    """dB over 62 m."""
    network = Network(
        Amplifier(0.02), {"mill": Run(PAIR, 62.0)}, {"stage": Connected(load, "mill")}
    )
    return drop_db(solve(network, F), "stage")


def off(load: Load, frequency: Real, scatter: Real | float = 0.0) -> float:
    """dB that the drop is off at most where the load is known at some frequencies only."""
    known = load.impedance(frequency) * np.exp(scatter)
    return float(np.abs(drop(SampledImpedance(frequency, known)) - drop(load)).max())


@pytest.mark.parametrize("name", LOADS)
def test_thirds_of_an_octave_tell_the_drop(name: str) -> None:
    """Within 0.1 dB: a spline alone is off by 0.9 to 7.5 dB, at the side of a resonance."""
    assert off(LOADS[name], THIRDS) < 0.1


@pytest.mark.parametrize("name", LOADS)
def test_as_analysers_round_it(name: str) -> None:
    """To 0.01 ohm and 0.1 degree, which alone is 0.2 % or 0.015 dB at 5 ohm; within 0.1 dB all the same."""
    z = LOADS[name].impedance(THIRDS)
    degrees = np.round(np.angle(z, deg=True), 1)
    rounded = np.round(np.abs(z), 2) * np.exp(1j * np.radians(degrees))
    assert off(LOADS[name], THIRDS, np.log(rounded / z)) < 0.1


@pytest.mark.parametrize("name", LOADS)
def test_with_a_percent_of_noise(name: str) -> None:
    """1 % in modulus and in angle, each of 31 points: the function evens it out by a part only: 0.6 dB."""
    rng = np.random.default_rng(3)
    noise = 0.01 * (rng.normal(size=THIRDS.size) + 1j * rng.normal(size=THIRDS.size))
    assert off(LOADS[name], THIRDS, noise) < 0.6


@pytest.mark.parametrize("name", [n for n in LOADS if "closed" in n])
def test_a_closed_box_by_half_octaves(name: str) -> None:
    assert off(LOADS[name], 20.0 * 2.0 ** (np.arange(21) / 2.0)) < 0.05


def test_a_driver_is_a_function_of_second_order() -> None:
    """Re + s Le + a resonance is rational itself, and so is found to the last digits."""
    z, driver = LOADS["closed box"].impedance(THIRDS), LOADS["closed box"]
    function = fitted(THIRDS, z, 2)
    np.testing.assert_allclose(function(F), driver.impedance(F), rtol=1e-9)
    # In a closed box both fs and Qms rise by sqrt(1 + Vas/box).
    q_of_the_peak = 4.2 * np.sqrt(2.5)
    assert function.sharpest == pytest.approx(q_of_the_peak, rel=1e-9)


@pytest.mark.parametrize("name", LOADS)
def test_a_spline_alone_is_enough_where_points_are_dense(name: str) -> None:
    """24 an octave: within 1 %, as stated, of the sharpest resonance, and so left as they are."""
    f = 10.0 * 2.0 ** (np.arange(265) / DENSE)
    spline = Curve(f, LOADS[name].impedance(f), False)
    assert np.abs(spline(F) / LOADS[name].impedance(F) - 1.0).max() < 0.01


def test_what_is_dense_or_tells_too_little_stays_as_it_is() -> None:
    box = LOADS["closed box"]
    for f in (20.0 * 2.0 ** (np.arange(481) / 48.0), np.geomspace(20.0, 20e3, 7)):
        np.testing.assert_array_equal(filled(f, box.impedance(f))[0], f)


def test_what_no_circuit_explains_is_left_to_the_spline() -> None:
    """A factor of two either way by chance: no function tells a point from the others."""
    rng = np.random.default_rng(5)
    z = 8.0 * np.exp(0.7 * rng.normal(size=31) + 1j * rng.uniform(-1.2, 1.2, 31))
    np.testing.assert_array_equal(filled(THIRDS, z)[1], z)
