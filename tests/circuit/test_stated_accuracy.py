"""What the physics says of its own accuracy, number by number: each fails were it half as good."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from scipy.special import ive, kve

from auralize.circuit import coil, iron, paths
from auralize.circuit.coil import LOOSE_PITCH, Turns, Winding, pack
from auralize.circuit.coiled import random_pair
from auralize.circuit.conductor import MU_0, Complex, Conductor, Real
from auralize.circuit.iron import IronBar, added_inductance, coil_field
from auralize.circuit.lays import LaidCable
from auralize.circuit.loudspeaker import Driver
from auralize.circuit.sampled import SampledImpedance

STEEL = 6e6  # S/m
FREQUENCY = np.array([0.0, 100.0, 1e3, 1e4])


def turn(radius: float, place: float = 0.0) -> Turns:
    return Turns(np.array([radius]), np.array([place]), np.ones(1))


def added(bar: IronBar, turns: Turns, frequency: Real = FREQUENCY) -> Complex:
    return added_inductance(bar, coil_field(bar, turns), frequency)


# ---- iron ---------------------------------------------------------------------------------------


def endless_bar(mu_r: float, a: float, radius: float, frequency: float) -> complex:
    """What an endless bar of radius ``a`` adds to a ring round it, in H: exact.

    The ring's field as a cosine integral over k, with K1(k r) from the bar and I1(g r) inside it,
    g^2 = k^2 + j omega mu sigma; A and H along the axis are continuous at the surface (the problem of
    C. V. Dodd and W. E. Deeds, J. Applied Physics 39 (1968) 2829, from memory; derived here).
    """
    edges = np.concatenate([[1e-9], np.geomspace(1e-4, 30.0 / (radius - a), 60)])
    node, weight = np.polynomial.legendre.leggauss(12)
    half, middle = 0.5 * np.diff(edges)[:, None], 0.5 * (edges[1:] + edges[:-1])[:, None]
    k, weight = (middle + half * node).ravel(), (half * weight).ravel()
    g = np.sqrt(k * k + 2j * math.pi * frequency * MU_0 * mu_r * STEEL)
    q = g * ive(0, g * a) / (mu_r * ive(1, g * a))
    answer = (k * ive(0, k * a) - q * ive(1, k * a)) / (k * kve(0, k * a) + q * kve(1, k * a))
    # The scaled functions leave out exp(2 k a) here and exp(-2 k radius) of the ring's K1 squared.
    kernel = kve(1, k * radius) ** 2 * answer * np.exp(2.0 * k * (a - radius))
    return complex(2.0 * MU_0 * radius**2 * (weight * kernel).sum())


@pytest.mark.parametrize("mu_r", [50.0, 200.0, 500.0])
@pytest.mark.parametrize(("radius", "close"), [(0.015, 0.05), (0.02, 0.025), (0.03, 0.012)])
def test_a_long_bar_is_the_endless_one(mu_r: float, radius: float, close: float) -> None:
    """5 % of |L| at 1.5 bar radii, where a coil just goes round the bar; less farther out."""
    bar = IronBar(0.02, 1.2, STEEL, mu_r)
    found = added(bar, turn(radius))
    for f, value in zip(FREQUENCY[1:], found[1:], strict=True):
        exact = endless_bar(mu_r, 0.01, radius, float(f))
        assert abs(value - exact) < close * abs(exact)


def moved(monkeypatch: pytest.MonkeyPatch, bar: IronBar, turns: Turns, **changed: float) -> float:
    """Largest change, over |L|, of the added inductance when constants of the method are changed."""
    before = added(bar, turns)
    with monkeypatch.context() as patch:
        for name, value in changed.items():
            patch.setattr(iron, name, value)
        after = added(bar, turns)
    return float(np.max(np.abs(after - before) / np.abs(before)))


# The worst of bars of 50 to 500 and 2 and 4 cm, coils round the middle, the end, and just beyond it.
FINER = {"_FEWEST_STRIPS": 120, "_STRIPS_PER_RADIUS": 8, "_END_STRIPS": 16}


@pytest.mark.parametrize(
    ("length", "radii", "place", "stated"),
    [
        (0.15, 3.0, 0.0, 0.01),
        (0.02, 3.0, 0.015, 0.01),
        (0.15, 1.5, 0.0, 0.021),
        (0.02, 1.5, 0.009, 0.02),
    ],
)
def test_finer_strips_hardly_matter(
    monkeypatch: pytest.MonkeyPatch, length: float, radii: float, place: float, stated: float
) -> None:
    bar = IronBar(0.02, length, STEEL, 50.0)
    assert moved(monkeypatch, bar, turn(radii * 0.01, place), **FINER) < stated


@pytest.mark.parametrize(
    ("length", "radii", "place", "stated"),
    [
        (0.16, 3.0, 0.0, 0.005),
        (0.16, 3.0, 0.085, 0.03),
        (0.04, 3.0, 0.025, 0.05),
        (0.16, 1.5, 0.072, 0.14),
        (0.04, 1.5, 0.018, 0.14),
    ],
)
def test_what_the_shortest_modes_would_add(
    monkeypatch: pytest.MonkeyPatch, length: float, radii: float, place: float, stated: float
) -> None:
    bar = IronBar(0.04, length, STEEL, 50.0)
    without = moved(monkeypatch, bar, turn(radii * 0.02, place), _LARGEST_FACTOR=math.inf)
    assert without < stated


# ---- coils --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("_TWIST_ORDERS", lambda x: coil.twist_inductance(1.0, math.pi / x)),
        (
            "_COUPLING_ORDERS",
            lambda x: coil.twist_coupling(np.array([2.0]), 1.0, math.pi / x)[0],
        ),
    ],
)
@pytest.mark.parametrize("pitch", [0.02, 0.1, 0.5, 1.0])
def test_the_series_of_a_twist_are_long_enough(
    monkeypatch: pytest.MonkeyPatch, name: str, value: Callable[[float], Any], pitch: float
) -> None:
    """1e-5 of the loop's inductance, which is 4e-7 (ln 2 + 1/4) where bare wires touch, or more.

    ``pitch``: pi spacing / lay length, 1 where the helix climbs at 45 degrees. Terms fall as m^-3, and
    so twice as many leave out a quarter of what was left out.
    """
    short = value(pitch)
    monkeypatch.setattr(coil, name, 2 * getattr(coil, name))
    left_out = 4.0 / 3.0 * abs(value(pitch) - short)
    assert left_out < 1e-5 * 4e-7 * (math.log(2.0) + 0.25)


def test_distances_keep_their_digits() -> None:
    """1e-9 of a wire's size (1 mm), over a coil of half a metre; against hypot, which loses none."""
    rng = np.random.default_rng(5)
    a, b = rng.uniform(-0.25, 0.25, (2, 200, 3))
    b[:100] = a[:100] + 1e-3 * rng.uniform(0.5, 1.0, (100, 3))  # a wire's size away
    found = paths._distances(a, b)
    exact = np.array([[math.dist(p, q) for q in b] for p in a])
    assert np.abs(found - exact).max() < 1e-9 * 1e-3


def test_a_loose_bundle_fills_0_58_of_its_area() -> None:
    """Hexagonal packing of circles fills pi / (2 sqrt 3); apart by a factor, its square less.

    Counted in a large bundle: wires within three quarters of its radius.
    """
    assert math.pi / (2.0 * math.sqrt(3.0)) / LOOSE_PITCH**2 == pytest.approx(0.58, abs=0.005)
    size = 3e-3
    turns = pack(Winding(2.0, 4000, "loose"), size, size)
    away = np.hypot(turns.radius - 1.0, turns.place - turns.place.mean())
    inner = 0.75 * away.max()
    filled = (away < inner).sum() * (0.5 * size) ** 2 / inner**2
    assert filled == pytest.approx(0.58, rel=0.02)


# ---- sampled impedance --------------------------------------------------------------------------


def test_a_driver_above_its_resonance_is_never_taken_for_a_capacitor() -> None:
    """Within -70 degrees up to Qms/Qes of 30: Re in the way of the motional branch; 5 to spare."""
    f = np.geomspace(30.0, 3e3, 4001)
    worst = 0.0
    for q_mechanical in (0.5, 2.0, 10.0, 30.0):
        driver = Driver(6.0, 30.0, q_mechanical, q_mechanical / 30.0)
        z = driver.impedance(f)
        worst = min(worst, float(np.degrees(np.angle(z)).min()))
        lowest = int(np.argmin(np.angle(z)))
        assert not SampledImpedance(f[lowest:], z[lowest:]).capacitive
    assert -70.0 < worst < -60.0


# ---- crowding -----------------------------------------------------------------------------------


def test_the_field_of_a_pair_that_may_lie_in_any_way() -> None:
    """Within 1 % from two spacings on: mean square over the orientations of both pairs, by sampling."""
    spacing = 4e-3
    half, distance = 0.5 * spacing, 2.0 * spacing
    cable = LaidCable(Conductor(1e-3, 5e-3), spacing, spacing)
    turns = Turns(np.array([3.0, 3.0]), np.array([0.0, distance]), np.ones(2))
    alone = random_pair(turns, cable).crowding.alone
    assert alone is not None
    angle = 2.0 * np.pi * np.arange(720) / 720
    at = distance + half * np.exp(1j * angle)[:, None]
    wire = half * np.exp(1j * angle)
    field = np.abs(1.0 / (at - wire) - 1.0 / (at + wire)) / (2.0 * np.pi)
    # Two conductors in each of two turns, each turn as long as the other.
    expected = 4.0 * turns.lengths[0] * (field**2).mean()
    # A quarter in each wire by each conductor's own field.
    np.testing.assert_allclose(alone, 0.25 * expected, rtol=0.01)
