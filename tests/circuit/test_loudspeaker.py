"""Impedance of the loads against closed forms and the way drivers are measured."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.optimize import brentq

from auralize.circuit.conductor import Complex, Real
from auralize.circuit.loudspeaker import Driver, Resistor

WOOFER = Driver(5.6, 38.0, 4.2, 0.42)
FULL = Driver(5.6, 38.0, 4.2, 0.42, inductance=0.4e-3, semi_inductance=0.02)
AUDIO = np.geomspace(1.0, 100e3, 401)


def modulus(driver: Driver, frequency: float) -> float:
    return float(abs(driver.impedance(np.array([frequency]))[0]))


def crossings(driver: Driver, level: float) -> tuple[float, float]:
    """Frequencies below and above the resonance where the modulus is ``level`` ohm."""

    def excess(frequency: float) -> float:
        return modulus(driver, frequency) - level

    top = driver.system_resonance
    return brentq(excess, 1e-3 * top, top, rtol=1e-13), brentq(excess, top, 1e3 * top, rtol=1e-13)


def motional(driver: Driver, frequency: Real) -> Complex:
    """Impedance less that of the voice coil at rest."""
    return driver.impedance(frequency) - driver.dc_resistance


def test_resistor_is_a_resistor() -> None:
    np.testing.assert_array_equal(Resistor(8.0).impedance(np.array([0.0, 1e3])), [8.0, 8.0])


@pytest.mark.parametrize("value", [0.0, -4.0, math.nan])
def test_resistor_refuses_what_cannot_be(value: float) -> None:
    with pytest.raises(ValueError, match="above zero"):
        Resistor(value)


@pytest.mark.parametrize(("q_mechanical", "q_electrical"), [(4.2, 0.42), (1.5, 1.1), (12.0, 0.25)])
def test_peak_at_resonance(q_mechanical: float, q_electrical: float) -> None:
    """|Z| = Re (1 + Qms/Qes) at fs, real, and nowhere more."""
    driver = Driver(6.0, 52.0, q_mechanical, q_electrical)
    peak = 6.0 * (1.0 + q_mechanical / q_electrical)
    assert driver.impedance(np.array([52.0]))[0] == pytest.approx(peak, rel=1e-12)
    assert np.abs(driver.impedance(AUDIO)).max() <= peak


def test_at_dc_only_the_voice_coil_is_left() -> None:
    assert FULL.impedance(np.array([0.0]))[0] == 5.6


def test_far_above_resonance_the_inductances_are_left() -> None:
    """Semi-inductance alone: 45 degrees and 10 dB a decade; inductance alone: 90 degrees and 20 dB."""
    frequency = np.array([1e6, 1e7])
    semi = motional(Driver(5.6, 38.0, 4.2, 0.42, semi_inductance=0.02), frequency)
    np.testing.assert_allclose(np.abs(semi), 0.02 * np.sqrt(2.0 * np.pi * frequency), rtol=1e-3)
    np.testing.assert_allclose(np.angle(semi, deg=True), 45.0, atol=0.05)
    coil = motional(Driver(5.6, 38.0, 4.2, 0.42, inductance=0.4e-3), frequency)
    np.testing.assert_allclose(coil.imag, 2.0 * np.pi * frequency * 0.4e-3, rtol=1e-6)


def test_inductances_add_to_the_voice_coil() -> None:
    s = 2j * np.pi * AUDIO
    added = FULL.impedance(AUDIO) - WOOFER.impedance(AUDIO)
    np.testing.assert_allclose(added, s * 0.4e-3 + 0.02 * np.sqrt(s), rtol=1e-10)


@pytest.mark.parametrize("stiffness_ratio", [0.0, 1.0, 3.5])
def test_mechanical_q_is_that_of_the_half_power_bandwidth(stiffness_ratio: float) -> None:
    """The motional part is a parallel resonance: fs/Qms between its -3 dB points, fs their middle."""
    driver = Driver(5.6, 38.0, 4.2, 0.42, stiffness_ratio=stiffness_ratio)
    resonance = 38.0 * math.sqrt(1.0 + stiffness_ratio)
    peak = 5.6 * 10.0

    def excess(frequency: float) -> float:
        return float(abs(motional(driver, np.array([frequency]))[0])) - peak / math.sqrt(2.0)

    low = brentq(excess, 1.0, resonance, rtol=1e-13)
    high = brentq(excess, resonance, 1e4, rtol=1e-13)
    assert math.sqrt(low * high) == pytest.approx(resonance, rel=1e-9)
    q_in_box = 4.2 * math.sqrt(1.0 + stiffness_ratio)
    assert resonance / (high - low) == pytest.approx(q_in_box, rel=1e-9)


@pytest.mark.parametrize(("q_mechanical", "q_electrical"), [(4.2, 0.42), (1.5, 1.1), (12.0, 0.25)])
def test_measured_as_drivers_are_measured(q_mechanical: float, q_electrical: float) -> None:
    """Small's method, at |Z| = Re sqrt(r0): Qms = fs sqrt(r0)/(f2 - f1), Qes = Qms/(r0 - 1).

    R. H. Small, Direct-Radiator Loudspeaker System Analysis, 1972 (formulas from memory).
    """
    driver = Driver(6.0, 52.0, q_mechanical, q_electrical)
    r0 = modulus(driver, 52.0) / modulus(driver, 0.0)
    low, high = crossings(driver, 6.0 * math.sqrt(r0))
    assert math.sqrt(low * high) == pytest.approx(52.0, rel=1e-9)
    measured = 52.0 * math.sqrt(r0) / (high - low)
    assert measured == pytest.approx(q_mechanical, rel=1e-9)
    assert measured / (r0 - 1.0) == pytest.approx(q_electrical, rel=1e-9)


def test_closed_box_moves_the_peak_and_keeps_its_height() -> None:
    """fc = fs sqrt(1 + Vas/Vb); Qtc = Qts sqrt(1 + Vas/Vb), as Thiele and Small have it (from memory)."""
    boxed = Driver(5.6, 38.0, 4.2, 0.42, stiffness_ratio=3.0)
    assert boxed.system_resonance == pytest.approx(76.0, rel=1e-12)
    assert modulus(boxed, 76.0) == pytest.approx(5.6 * 11.0, rel=1e-12)
    r0 = 11.0
    low, high = crossings(boxed, 5.6 * math.sqrt(r0))
    q_mechanical = 76.0 * math.sqrt(r0) / (high - low)
    q_total = q_mechanical / r0
    q_free = 4.2 * 0.42 / (4.2 + 0.42)
    assert q_total == pytest.approx(2.0 * q_free, rel=1e-9)


@pytest.mark.parametrize("stiffness_ratio", [0.0, 2.0])
def test_driver_is_its_mass_compliance_and_friction(stiffness_ratio: float) -> None:
    """Built from mechanics: Z = Re + Bl^2 / (s m + r + (k + k_box)/s), the box a spring without loss."""
    force_factor, mass, friction, stiffness = 11.0, 0.035, 1.6, 2200.0
    omega = math.sqrt(stiffness / mass)
    driver = Driver(
        5.6,
        omega / (2.0 * math.pi),
        omega * mass / friction,
        omega * mass * 5.6 / force_factor**2,
        stiffness_ratio=stiffness_ratio,
    )
    s = 2j * np.pi * AUDIO
    spring = stiffness * (1.0 + stiffness_ratio)
    expected = 5.6 + force_factor**2 / (s * mass + friction + spring / s)
    np.testing.assert_allclose(driver.impedance(AUDIO), expected, rtol=1e-10)


@pytest.mark.parametrize("field", ["dc_resistance", "resonance", "q_mechanical", "q_electrical"])
@pytest.mark.parametrize("value", [0.0, -1.0, math.nan])
def test_driver_refuses_what_must_be_above_zero(field: str, value: float) -> None:
    good = {"dc_resistance": 5.6, "resonance": 38.0, "q_mechanical": 4.2, "q_electrical": 0.42}
    with pytest.raises(ValueError, match=f"{field.replace('_', ' ')} must be above zero"):
        Driver(**(good | {field: value}))  # type: ignore[arg-type]


@pytest.mark.parametrize("field", ["inductance", "semi_inductance", "stiffness_ratio"])
@pytest.mark.parametrize("value", [-1e-3, math.nan])
def test_driver_refuses_what_cannot_be_below_zero(field: str, value: float) -> None:
    with pytest.raises(ValueError, match="cannot be below zero"):
        Driver(5.6, 38.0, 4.2, 0.42, **{field: value})  # type: ignore[arg-type]
