"""Four cores, two there and two back: geometric mean distances, and point charges in perfect metal."""

from __future__ import annotations

import math

import numpy as np
import pytest

from auralize.circuit.cable import Dielectric, FourCoreCable
from auralize.circuit.conductor import Conductor
from auralize.circuit.pair import loop_capacitance

MU_0 = 4e-7 * math.pi
EPSILON_0 = 8.8541878128e-12  # F/m, CODATA 2018
RADIUS, OHM = 1.03e-3, 7.0e-3
LAY = 0.12
ARRANGEMENTS = pytest.mark.parametrize("crossed", [True, False])


def cable(side: float, crossed: bool, lay_length: float = LAY) -> FourCoreCable:
    return FourCoreCable(Conductor(RADIUS, OHM), side, Dielectric(1e-10), lay_length, crossed)


def henry(cable: FourCoreCable, frequency: float) -> float:
    """H/m of the straight cores."""
    loop = cable.solve(np.array([frequency])).sum(axis=0)
    return float(loop[0].imag) / (2.0 * math.pi * frequency)


def capacitance(side: float, radius: float, crossed: bool, permittivity: float) -> float:
    four = cable(side, crossed)
    return loop_capacitance(four.centres, [radius] * 4, four.shares, permittivity)


def perfect(side: float, radius: float, crossed: bool) -> float:
    """Potential over charge, in units of 1 / (2 pi eps): loop inductance over mu0 / 2 pi as well.

    Line charges on a circle inside each core, chosen so that its surface is all at one potential and
    each core has its share of the charge: collocation, solved by least squares.
    """
    own, charges, points = 0.6 * radius, 40, 120
    inside = own * np.exp(2j * np.pi * np.arange(charges) / charges)
    surface = radius * np.exp(2j * np.pi * np.arange(points) / points)
    centres = side * np.array([0.0, 1.0, 1.0 + 1.0j, 1.0j])
    at = (centres[:, None] + surface).ravel()
    source = (centres[:, None] + inside).ravel()
    core = np.repeat(np.eye(4), points, axis=0)  # unknown potential of each core
    total = np.repeat(np.eye(4), charges, axis=1)
    shares = np.array([0.5, -0.5, 0.5, -0.5] if crossed else [0.5, 0.5, -0.5, -0.5])
    potential = -np.log(np.abs(at[:, None] - source))
    system = np.block([[potential, -core], [1e3 * total, np.zeros((4, 4))]])
    right = np.concatenate([np.zeros(len(at)), 1e3 * shares])
    found, residual, *_ = np.linalg.lstsq(system, right, rcond=None)
    assert np.abs(system @ found - right).max() < 1e-6, residual
    return float(found[-4:] @ shares)


@ARRANGEMENTS
def test_resistance_is_that_of_one_core_lengthened_by_its_helix(crossed: bool) -> None:
    """Two in parallel there and two back: R/2 + R/2. A helix of diameter sqrt(2) s, one turn a lay."""
    side = 3.4e-3
    helix = math.sqrt(1.0 + 2.0 * (math.pi * side / LAY) ** 2)
    assert cable(side, crossed).lengthening == pytest.approx(helix, rel=1e-12)
    found = cable(side, crossed).series(np.zeros(1))[0]
    assert found == pytest.approx(OHM * helix, rel=1e-7)


@ARRANGEMENTS
def test_inductance_at_low_frequency_is_the_mean_distance_s(crossed: bool) -> None:
    """L = mu0/2pi ln(s / (sqrt 2 g)) with opposite cores joined, ln(sqrt 2 s / g) side by side.

    From the geometric mean distances of the square (s beside, sqrt 2 s across), g = a e^(-1/4) of a
    round wire (Maxwell's; the sums by hand: -sum of v_i v_j ln d_ij).
    """
    side = 3.4e-3
    g = RADIUS * math.exp(-0.25)
    ratio = side / (math.sqrt(2.0) * g) if crossed else math.sqrt(2.0) * side / g
    # 10 mHz: eddy currents move L by about |ka|^4 = 1e-10.
    expected = MU_0 / (2.0 * math.pi) * math.log(ratio)
    assert henry(cable(side, crossed), 1e-2) == pytest.approx(expected, rel=1e-9)


@ARRANGEMENTS
@pytest.mark.parametrize("gap", [1.15, 1.65, 4.0])
def test_inductance_at_high_frequency_is_that_of_perfect_metal(crossed: bool, gap: float) -> None:
    """But for the skin, whose part falls as 1 / sqrt(f): two frequencies, extrapolated."""
    side = 2.0 * RADIUS * gap
    four = cable(side, crossed)
    low, high = henry(four, 25e6), henry(four, 100e6)
    expected = MU_0 / (2.0 * math.pi) * perfect(side, RADIUS, crossed)
    assert 2.0 * high - low == pytest.approx(expected, rel=1e-4)
    assert high > expected


@ARRANGEMENTS
@pytest.mark.parametrize("gap", [1.15, 1.65, 4.0])
def test_capacitance_is_that_of_charges_on_the_cores(crossed: bool, gap: float) -> None:
    side, permittivity = 2.0 * RADIUS * gap, 3.5
    found = capacitance(side, RADIUS, crossed, permittivity)
    potential = perfect(side, RADIUS, crossed) / (2.0 * math.pi * EPSILON_0 * permittivity)
    assert found == pytest.approx(1.0 / potential, rel=1e-7)


@ARRANGEMENTS
def test_capacitance_of_thin_cores_is_the_closed_form(crossed: bool) -> None:
    """2 pi eps / ln(s / (sqrt 2 a)), or ln(sqrt 2 s / a): wires thin against their distance."""
    side, radius = 1.0, 1e-3
    ratio = side / (math.sqrt(2.0) * radius) if crossed else math.sqrt(2.0) * side / radius
    found = capacitance(side, radius, crossed, 1.0)
    expected = 2.0 * math.pi * EPSILON_0 / math.log(ratio)
    assert found == pytest.approx(expected, rel=5e-6)  # left out: about (a/s)^2


@ARRANGEMENTS
def test_series_and_shunt_are_lengthened_alike(crossed: bool) -> None:
    f = np.array([20.0, 1e3, 20e3])
    four = cable(3.4e-3, crossed)
    found, straight = four.series(f), four.lengthening * four.solve(f).sum(axis=0)
    np.testing.assert_allclose(found.real, straight.real, rtol=1e-6)
    twist = (found - straight).imag / (2.0 * np.pi * f)
    np.testing.assert_allclose(twist, twist[-1], rtol=1e-3)
    shunt = 2j * np.pi * f * 1e-10 * four.lengthening
    np.testing.assert_allclose(four.shunt(f), shunt, rtol=1e-12)
