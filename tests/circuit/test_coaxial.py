"""The coaxial cable against closed forms, the energy of its field, and Bessel functions in 30 digits."""

from __future__ import annotations

import math
from dataclasses import replace

import mpmath
import numpy as np
import pytest
from scipy.integrate import quad

from auralize.circuit.cable import CoaxialCable, Dielectric
from auralize.circuit.coaxial import coaxial_capacitance, coaxial_impedance, tube_impedance
from auralize.circuit.conductor import Conductor, internal_impedance

MU_0 = 4e-7 * math.pi
EPSILON_0 = 8.8541878128e-12  # F/m, CODATA 2018
LIGHT = 299_792_458.0

A, B, C = 0.9e-3, 2.4e-3, 2.65e-3
"""m: radius of the core, inner and outer radius of the shield."""
CORE, SHIELD = 6.8e-3, 14.1e-3
"""ohm/m."""
PERMITTIVITY = 2.26


def cable() -> CoaxialCable:
    dielectric = Dielectric(coaxial_capacitance(A, B, PERMITTIVITY))
    return CoaxialCable(Conductor(A, CORE), B, C, SHIELD, dielectric)


def loop(frequency: float) -> complex:
    """ohm/m, solved directly and not from the cable's table."""
    return complex(cable().solve(np.array([frequency])).sum())


def enclosed(r: float) -> float:
    """Part of the current within ``r`` m of the axis, spread evenly in core and shield."""
    if r < A:
        return (r / A) ** 2
    return 1.0 if r < B else 1.0 - (r**2 - B**2) / (C**2 - B**2)


def test_resistance_at_dc_is_that_of_core_and_shield() -> None:
    assert cable().series(np.zeros(1))[0] == pytest.approx(CORE + SHIELD, rel=1e-7)  # the table's


def test_inductance_at_low_frequency_is_the_energy_of_the_field() -> None:
    """L = mu0/2pi times the integral of enclosed^2 / r: core mu0/8pi, gap mu0/2pi ln(b/a), shield."""
    energy = sum(
        quad(lambda r: enclosed(r) ** 2 / r, *ends, epsabs=0.0, epsrel=1e-12)[0]
        for ends in ((0.0, A), (A, B), (B, C))
    )
    # The same in closed form; the shield's part is that integral, done by hand.
    wall = C**2 - B**2
    by_hand = 0.25 + math.log(B / A)
    by_hand += C**4 / wall**2 * math.log(C / B) - (3.0 * C**2 - B**2) / (4.0 * wall)
    assert by_hand == pytest.approx(energy, rel=1e-9)
    f = 1e-2  # Hz: |ka|^4 is 1e-11
    found = loop(f).imag / (2.0 * math.pi * f)
    assert found == pytest.approx(MU_0 / (2.0 * math.pi) * energy, rel=1e-9)


@pytest.mark.parametrize("f", [50.0, 1e3, 20e3, 1e6])
def test_core_and_shield_are_the_solution_of_bessel_s_equation(f: float) -> None:
    """E = p I0 + q K0 in the metal, p and q from H at its surfaces as Ampere's law gives it, mpmath."""
    with mpmath.workdps(30):
        s = 2j * mpmath.pi * f * mpmath.mpf(MU_0)

        def field(m: mpmath.mpc, r: float, p: mpmath.mpc, q: mpmath.mpc) -> mpmath.mpc:
            return p * mpmath.besseli(0, m * r) + q * mpmath.besselk(0, m * r)

        m = mpmath.sqrt(s / (CORE * mpmath.pi * mpmath.mpf(A) ** 2))
        strength = 1 / (2 * mpmath.pi * mpmath.mpf(A))  # H for 1 A; s H = dE/dr
        core = field(m, A, s * strength / (m * mpmath.besseli(1, m * A)), mpmath.mpf(0))
        m = mpmath.sqrt(s / (SHIELD * mpmath.pi * (mpmath.mpf(C) ** 2 - mpmath.mpf(B) ** 2)))
        slopes = mpmath.matrix(
            [[m * mpmath.besseli(1, m * r), -m * mpmath.besselk(1, m * r)] for r in (B, C)]
        )
        p, q = mpmath.lu_solve(slopes, mpmath.matrix([s / (2 * mpmath.pi * mpmath.mpf(B)), 0]))
        tube = -field(m, B, p, q)  # the shield's current flows back
        gap = s / (2 * mpmath.pi) * mpmath.log(mpmath.mpf(B) / mpmath.mpf(A))
    at = np.array([f])
    assert internal_impedance(at, Conductor(A, CORE))[0] == pytest.approx(complex(core), rel=1e-12)
    assert tube_impedance(at, B, C, SHIELD)[0] == pytest.approx(complex(tube), rel=1e-9)
    assert loop(f) == pytest.approx(complex(core + gap + tube), rel=1e-9)


def test_at_high_frequency_only_the_field_between_is_left() -> None:
    """mu0/2pi ln(b/a) from 20 MHz on, but for the skins: (1 + j) rho/delta over 2 pi a and 2 pi b."""
    f = 20e6
    skins = 0.0
    for radius, resistivity in (
        (A, CORE * math.pi * A**2),
        (B, SHIELD * math.pi * (C**2 - B**2)),
    ):
        depth = math.sqrt(resistivity / (math.pi * f * MU_0))
        skins += resistivity / depth / (2.0 * math.pi * radius)
    between = MU_0 / (2.0 * math.pi) * math.log(B / A)
    found = loop(f)
    # What a bend adds to a plane skin is about depth / 2a = 1 %.
    assert found.real == pytest.approx(skins, rel=0.02)
    assert found.imag / (2.0 * math.pi * f) - between == pytest.approx(
        skins / (2.0 * math.pi * f), rel=0.02
    )


def test_capacitance_is_the_closed_form() -> None:
    exact = 2.0 * math.pi * EPSILON_0 * PERMITTIVITY / math.log(B / A)
    shunt = cable().shunt(np.array([1e3, 20e3]))
    np.testing.assert_allclose(
        shunt.imag / (2.0 * np.pi * np.array([1e3, 20e3])), exact, rtol=1e-12
    )


def test_characteristic_impedance_at_high_frequency() -> None:
    """60 / sqrt(permittivity) ln(b/a), of metal without resistance; 59.96 where light has its true speed.

    Skins hardly matter at 1 GHz: 0.1 % here.
    """
    f = np.array([1e9])
    conductor, dielectric = Conductor(A, CORE), cable().dielectric
    series = coaxial_impedance(f, conductor, B, C, SHIELD)[0]
    found = np.sqrt(series / dielectric.admittance(f)[0])
    assert found.real == pytest.approx(60.0 / math.sqrt(PERMITTIVITY) * math.log(B / A), rel=3e-3)
    speed = 2.0 * math.pi * f[0] / np.sqrt(series * dielectric.admittance(f)[0]).imag
    assert speed == pytest.approx(LIGHT / math.sqrt(PERMITTIVITY), rel=3e-3)


def test_the_cable_s_table_is_the_direct_solution() -> None:
    f = np.geomspace(1.0, 1e6, 97)
    direct = cable().solve(f).sum(axis=0)
    np.testing.assert_allclose(cable().series(f), direct, rtol=1e-6)
    assert cable().lengthening == 1.0


def test_a_thick_shield_at_a_high_frequency_does_not_overflow() -> None:
    """Ten thousand depths of skin: what is outside of them is not seen."""
    f = np.array([1e12])
    thin, thick = (
        tube_impedance(f, B, outer, 1.0 / (5.8e7 * math.pi * (outer**2 - B**2)))
        for outer in (C, 3 * C)
    )
    assert np.isfinite(thick).all()
    np.testing.assert_allclose(thick, thin, rtol=1e-9)


@pytest.mark.parametrize("change", [{"inner": A}, {"inner": 0.8 * A}, {"outer": B}])
def test_a_shield_that_does_not_clear_the_core_is_refused(change: dict[str, float]) -> None:
    with pytest.raises(ValueError, match="does not go round a core"):
        replace(cable(), **change).solve(np.array([1e3]))
