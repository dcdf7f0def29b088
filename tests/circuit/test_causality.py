"""Causality: nothing answers before it is asked."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.optimize import nnls

from auralize.circuit.cable import REFERENCE_FREQUENCY, Dielectric, PairCable
from auralize.circuit.conductor import (
    MATERIALS,
    MU_0,
    Complex,
    Real,
    internal_impedance,
    make_conductor,
)
from auralize.circuit.pair import pair_impedance
from support.random_rigs import AUDIO, FREQUENCY


def misfit_of_r_l_networks(frequency: Real, impedance: Complex) -> float:
    """How far, relatively, R + s L with cells of R and L in parallel stays from an impedance.

    Every causal and passive impedance of resistive and inductive matter is a sum of such parts.
    """
    s = 2j * np.pi * frequency
    corners = 2.0 * np.pi * np.geomspace(1e1, 1e9, 81)
    parts = np.stack([np.ones_like(s), s, *(s / (s + x) for x in corners)], axis=1)
    system = np.concatenate(
        [parts.real / impedance.real[:, None], parts.imag / impedance.imag[:, None]]
    )
    values, _ = nnls(system, np.ones(2 * len(frequency)))
    return float(np.abs(system @ values - 1.0).max())


@pytest.mark.parametrize(("area", "ratio"), list(itertools.product((0.5e-6, 10e-6), (1.1, 3.0))))
def test_pair_is_causal(area: float, ratio: float) -> None:
    conductor = make_conductor(area, MATERIALS["copper"], None, 1.0, 20.0)
    frequency = np.geomspace(10.0, 1e6, 61)
    cable = PairCable(conductor, 2.0 * ratio * conductor.radius, Dielectric(0.0))
    assert misfit_of_r_l_networks(frequency, cable.series(frequency)) < 1e-3


def test_the_check_for_causality_finds_what_is_not_causal() -> None:
    """A rising R beside a constant L, and the conjugate in place of the impedance's own reactance."""
    conductor = make_conductor(10e-6, MATERIALS["copper"], None, 1.0, 20.0)
    frequency = np.geomspace(10.0, 1e6, 61)
    alone = 2.0 * internal_impedance(frequency, conductor)
    ad_hoc = alone.real + 2j * np.pi * frequency * 0.6e-6
    assert misfit_of_r_l_networks(frequency, alone) < 1e-3
    assert misfit_of_r_l_networks(frequency, ad_hoc) > 1e-2
    pair = pair_impedance(frequency, 2.4 * conductor.radius, conductor)
    swapped = pair.real + 1j * (pair.imag - 1.5 * alone.imag)
    assert misfit_of_r_l_networks(frequency, swapped) > 1e-2


@pytest.mark.parametrize("loss_tangent", [0.002, 0.02, 0.1])
def test_dielectric_is_causal_and_keeps_its_angle(loss_tangent: float) -> None:
    """A sum of capacitors with resistors in series: s^p = sin(p pi)/pi integral of x^(p-1) s/(s+x) dx."""
    dielectric = Dielectric(60e-12, loss_tangent)
    frequency = np.array([20.0, 1e3, 2e4])
    found = dielectric.admittance(frequency)
    np.testing.assert_allclose(found.real / found.imag, loss_tangent, rtol=1e-9)
    assert found[1].imag / (2.0 * np.pi * 1e3) == pytest.approx(60e-12, rel=loss_tangent**2)

    delta = math.atan(loss_tangent)
    power = 1.0 - 2.0 * delta / math.pi

    def relaxation(u: float, f: float, part: str) -> float:
        s, x = 1j * f / REFERENCE_FREQUENCY, math.exp(u)
        return float(getattr(x**power * s / (s + x), part))

    top = 30.0  # ln x, far above the frequencies: there s/(s + x) is s/x, and the rest is a power
    for f, admittance in zip(frequency, found, strict=True):
        total = 1j * f / REFERENCE_FREQUENCY * math.exp((power - 1.0) * top) / (1.0 - power)
        for part, unit in (("real", 1.0), ("imag", 1j)):
            for low, high in ((-60.0, 0.0), (0.0, top)):
                total += unit * quad(relaxation, low, high, args=(f, part), limit=200)[0]
        total *= math.sin(power * math.pi) / math.pi
        expected = total * 2.0 * np.pi * REFERENCE_FREQUENCY * 60e-12
        assert admittance.real == pytest.approx(expected.real, rel=1e-7)
        assert admittance.imag == pytest.approx(expected.imag, rel=1e-7)


def test_dielectric_without_loss_is_a_capacitor() -> None:
    found = Dielectric(60e-12).admittance(FREQUENCY)
    expected = 2j * np.pi * FREQUENCY * 60e-12
    np.testing.assert_allclose(found.imag, expected.imag, rtol=1e-12)
    assert (np.abs(found.real) <= 1e-15 * np.abs(found.imag)).all()


def test_internal_impedance_of_the_pair_s_conductors_is_below_the_loop_s() -> None:
    """MU_0/4pi per conductor is the most inductance a round wire can hold inside itself."""
    conductor = make_conductor(2.5e-6, MATERIALS["copper"], None, 1.0, 20.0)
    inside = internal_impedance(AUDIO[1:], conductor).imag / (2.0 * np.pi * AUDIO[1:])
    assert (inside <= MU_0 / (8.0 * math.pi) * (1.0 + 1e-12)).all()
    assert (np.diff(inside) < 0.0).all()
