"""The line itself: the equations of the telegrapher, digits that are kept, and ladders of lumps."""

from __future__ import annotations

import math

import mpmath  # type: ignore[import-untyped]
import numpy as np
import pytest
from hypothesis import given

from auralize.circuit import twoport
from auralize.circuit.cable import Cable, Dielectric, MeasuredCable
from auralize.circuit.loudspeaker import Resistor
from auralize.circuit.network import Amplifier, Run
from auralize.circuit.solution import solve
from support.random_rigs import FREQUENCY, cables, chain_matrices, close, lawful, lengths, single


@lawful
@given(cables, lengths)
def test_line_solves_the_telegrapher_s_equations(cable: Cable, length: float) -> None:
    run = Run(cable, length)
    found, expected = run.two_port(FREQUENCY), chain_matrices(run, FREQUENCY)
    nothing = np.abs(expected) == 0.0  # C at 0 Hz
    np.testing.assert_array_equal(found[nothing], 0.0)
    close(found[~nothing], expected[~nothing], 1e-10)


@pytest.mark.parametrize(
    ("z", "y", "length"),
    [
        (0.0148 + 0.08j, 8e-6j, 62.0),
        (0.0148, 0.0, 62.0),
        (1e-3 + 1e-9j, 1e-15j, 1e-3),
        (1e-2 + 4j, 1e-6 + 4e-4j, 300.0),
        (0.05 + 1j, 1e-30j, 10.0),
    ],
)
def test_line_loses_no_digits(z: complex, y: complex, length: float) -> None:
    found = twoport.line(np.array([z + 0j]), np.array([y + 0j]), length)[0]
    with mpmath.workdps(40):
        x = mpmath.sqrt(mpmath.mpc(z) * mpmath.mpc(y)) * length
        ratio = mpmath.sinh(x) / x if x else mpmath.mpf(1)
        b, c = mpmath.mpc(z) * length * ratio, mpmath.mpc(y) * length * ratio
        expected = np.array([[mpmath.cosh(x), b], [c, mpmath.cosh(x)]], dtype=np.complex128)
    np.testing.assert_allclose(found, expected, rtol=2e-14, atol=0.0)


def test_ladder_of_lumps_tends_to_the_line() -> None:
    """With its sections' number squared, as the middle of each section is lumped."""
    cable = MeasuredCable(14.8e-3, 0.65e-6, Dielectric(300e-12, 0.02))
    frequency = np.array([1e5])
    z, y = cable.series(frequency) * 300.0, cable.shunt(frequency) * 300.0
    exact = twoport.line(z / 300.0, y / 300.0, 300.0)[0]
    errors = []
    for count in (16, 32, 64):
        half, whole = twoport.series(z / count / 2.0), twoport.shunt(y / count)
        ladder = np.linalg.matrix_power((half @ whole @ half)[0], count)
        errors.append(np.abs(ladder - exact).max() / np.abs(exact).max())
    assert errors[0] / errors[1] == pytest.approx(4.0, rel=0.05)
    assert errors[1] / errors[2] == pytest.approx(4.0, rel=0.05)


def test_parts_of_a_chain_by_hand() -> None:
    """A series 3 ohm and a shunt 1/6 S into 6 ohm: 3 ohm behind 3 ohm, half the voltage."""
    m = twoport.series(np.array([3.0 + 0j])) @ twoport.shunt(np.array([1 / 6 + 0j]))
    load = np.array([1 / 6 + 0j])
    close(twoport.voltage_ratio(m, load), np.array([0.5]))
    close(twoport.input_admittance(m, load), np.array([1 / 6]))
    open_end = np.array([0j])
    close(twoport.voltage_ratio(m, open_end), np.array([2 / 3]))


@pytest.mark.parametrize("bad", [-1.0, math.nan, math.inf])
def test_frequencies_that_are_none_are_refused(bad: float) -> None:
    with pytest.raises(ValueError, match="0 Hz and above"):
        solve(
            single(
                Amplifier(0.1), Run(MeasuredCable(0.01, 6e-7, Dielectric(0.0)), 9.0), Resistor(4.0)
            ),
            [20.0, bad],
        )
