"""Rings and single coils against brute force and handbooks."""

from __future__ import annotations

import math

import mpmath
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from auralize.circuit import coil
from auralize.circuit.coil import GMR_ROUND, Winding, pack
from auralize.circuit.coiled import turns_of
from auralize.circuit.conductor import MU_0, bessel_products
from auralize.circuit.lays import Coiled, on_reel
from support import ring_reference as reference
from support.lays import FLAT, inductance_alone


def test_equal_sizes_in_decimals_fit() -> None:
    """0.3 over 0.1, and 10 turns as a length over a circumference, are off by a rounding."""
    turns = pack(Winding(1.0, 10.0 * (1.0 + 1e-15), "square", width=0.3), 0.1, 0.1)
    assert len(turns.share) == 10
    assert len(np.unique(turns.place)) == 3


# ---- rings --------------------------------------------------------------------------------------


@pytest.mark.parametrize("gap", [1e-9, 1e-6, 1e-3, 0.1, 3.0, 1e3])
def test_mutual_inductance_of_rings_loses_no_digits_near_or_far(gap: float) -> None:
    with mpmath.workdps(60):
        r1, r2, z = mpmath.mpf("0.15"), mpmath.mpf("0.15"), mpmath.mpf(gap)
        m = 4 * r1 * r2 / ((r1 + r2) ** 2 + z**2)  # Maxwell, Treatise, art. 701
        k = mpmath.sqrt(m)
        elliptic = (2 / k - k) * mpmath.ellipk(m) - 2 / k * mpmath.ellipe(m)
        exact = float(4e-7 * mpmath.pi * mpmath.sqrt(r1 * r2) * elliptic)
    ring = np.asarray(0.15)
    assert coil.ring_mutual(ring, np.asarray(gap), ring, np.zeros(())) == pytest.approx(
        exact, rel=4e-15
    )


def test_mutual_inductance_of_rings_is_neumanns_integral() -> None:
    r1 = np.array([0.1, 0.1, 0.05, 0.5, 0.01])
    r2 = np.array([0.102, 0.1, 0.3, 0.5, 0.4])
    z = np.array([0.0, 0.002, 0.02, 2.0, 0.7])
    np.testing.assert_allclose(
        coil.ring_mutual(r1, z, r2, np.zeros(5)),
        reference.rings(r1, z, r2, np.zeros(5)),
        rtol=1e-11,
    )


@pytest.mark.parametrize("at", [(0.03, 0.01), (0.1, 0.05), (0.102, 0.001), (0.4, -0.2)])
def test_field_of_a_ring_is_the_slope_of_its_flux(at: tuple[float, float]) -> None:
    r, z = at
    h = 1e-6

    def flux(r: float, z: float) -> float:
        return float(reference.rings(np.asarray(0.1), np.zeros(()), np.asarray(r), np.asarray(z)))

    around = 2.0 * math.pi * r * MU_0
    radial, axial = coil.ring_field(np.asarray(0.1), np.zeros(()), np.asarray(r), np.asarray(z))
    assert axial == pytest.approx((flux(r + h, z) - flux(r - h, z)) / (2 * h * around), rel=1e-6)
    assert radial == pytest.approx(-(flux(r, z + h) - flux(r, z - h)) / (2 * h * around), rel=1e-6)


@pytest.mark.parametrize(("radius", "wire_radius"), [(0.05, 2e-3), (0.05, 5e-4), (0.5, 1e-3)])
def test_self_inductance_of_a_ring_of_thick_wire(radius: float, wire_radius: float) -> None:
    formula = coil.ring_self(np.asarray(radius), GMR_ROUND * wire_radius)
    assert formula == pytest.approx(reference.thick_ring(radius, wire_radius), rel=1e-3)


# ---- single coils -------------------------------------------------------------------------------


@pytest.mark.parametrize("columns", [4, 8])
@pytest.mark.parametrize("rows", [2, 8])
@pytest.mark.parametrize("radius", [0.05, 0.5])
@pytest.mark.parametrize("wire_radius", [0.5e-3, 2e-3])
def test_single_coil_is_the_sum_of_its_rings(
    columns: int, rows: int, radius: float, wire_radius: float
) -> None:
    """Bar: 2 %, 8 to 64 turns, 5 to 50 cm, wire of 1 to 4 mm; every turn placed here by hand."""
    pitch = 2.2 * wire_radius
    row, column = np.divmod(np.arange(columns * rows), columns)
    r = radius + (row - 0.5 * (rows - 1)) * pitch
    expected = reference.coil(r, column * pitch, np.ones(len(r)), wire_radius)
    winding = Winding(2 * radius, columns * rows, "square", width=columns * pitch)
    found = inductance_alone(pack(winding, pitch, pitch), GMR_ROUND * wire_radius)
    assert found == pytest.approx(expected, rel=2e-3)


@pytest.mark.parametrize("radius", [0.04, 0.05, 0.06])
def test_square_winding_equals_wheelers_formula(radius: float) -> None:
    """Wheeler 1928: 0.8 a^2 n^2 / (6 a + 9 b + 10 c) uH in inches, about 1 % where the three terms
    are alike (formula and accuracy from memory)."""
    pitch, inch = 4e-3, 0.0254
    turns = pack(Winding(2 * radius, 64, "square", width=8 * pitch), pitch, pitch)
    a, b = radius / inch, 8 * pitch / inch
    wheeler = 0.8e-6 * a**2 * 64**2 / (6 * a + 9 * b + 10 * b)
    assert inductance_alone(turns, GMR_ROUND * 1.9e-3) == pytest.approx(wheeler, rel=0.015)


@pytest.mark.parametrize(("count", "radius"), [(61, 0.15), (61, 0.5), (37, 0.1)])
def test_round_bundle_equals_maxwells_formula(count: int, radius: float) -> None:
    """N^2 mu0 R (ln(8 R / g) - 2), g = exp(-1/4) of a disc of the bundle's area (Maxwell and
    Rayleigh, from memory; left out: insulation between turns, about 1 / N of the logarithm)."""
    pitch = 3e-3
    disc = pitch * math.sqrt(count * math.sqrt(0.75) / math.pi)
    maxwell = count**2 * MU_0 * radius * (math.log(8.0 * radius / (disc * GMR_ROUND)) - 2.0)
    turns = pack(Winding(2 * radius, count, "hexagonal"), pitch, pitch)
    assert inductance_alone(turns, GMR_ROUND * 0.5 * pitch) == pytest.approx(maxwell, rel=0.01)


def test_long_thin_solenoid_equals_nagaoka_and_rosa() -> None:
    """mu0 N^2 A / l, times Nagaoka's 0.8499 for diameter / length 0.4, less Rosa's correction for
    round wire, mu0 R N (A + B) with wires touching A = 0.5568, B = 0.318 at 50 turns (values from
    memory; Rosa and Grover, 1911)."""
    radius, pitch, count = 0.02, 2e-3, 50
    sheet = MU_0 * count**2 * math.pi * radius**2 / (count * pitch) * 0.8499
    expected = sheet - MU_0 * radius * count * (0.5568 + 0.318)
    turns = pack(Winding(2 * radius, count, "square", width=count * pitch), pitch, pitch)
    assert inductance_alone(turns, GMR_ROUND * 0.5 * pitch) == pytest.approx(expected, rel=2e-3)


@given(
    turns=st.floats(1.0, 80.0),
    radius=st.floats(0.15, 0.5),
    packing=st.sampled_from(["hexagonal", "square", "loose"]),
    flat=st.sampled_from([1.0, 2.0]),
    width=st.sampled_from([None, 0.02, 0.05]),
)
@settings(max_examples=40, deadline=None, derandomize=True)
def test_turns_keep_their_length_and_never_overlap(
    turns: float, radius: float, packing: coil.Packing, flat: float, width: float | None
) -> None:
    up, along = 3e-3, 3e-3 * flat
    winding = Winding(2 * radius, turns, packing, width)
    where = pack(winding, along, up)
    assert where.share.sum() == pytest.approx(turns, rel=1e-12)
    assert where.lengths.sum() == pytest.approx(winding.length, rel=1e-12)
    i, j = np.triu_indices(len(where.radius), 1)
    # In units of the cable's own size: a round cable's distance, a flat one's larger coordinate.
    rise = np.abs(where.radius[i] - where.radius[j]) / up
    shift = np.abs(where.place[i] - where.place[j]) / along
    clear = np.hypot(rise, shift) if flat == 1.0 else np.maximum(rise, shift)
    assert clear.min(initial=np.inf) > 1.0 - 1e-9


def test_a_reel_is_wound_from_its_barrel_outwards() -> None:
    winding = on_reel(0.1, 5 * FLAT.width + 1e-4, 10.0, FLAT)
    turns = turns_of(Coiled(winding, "aligned"), FLAT)
    layers = np.unique(np.round(turns.radius, 9))
    np.testing.assert_allclose(
        layers, 0.05 + FLAT.thickness * (np.arange(len(layers)) + 0.5), rtol=1e-9
    )
    assert np.sum(np.isclose(turns.radius, layers[0])) == 5
    assert turns.lengths.sum() == pytest.approx(10.0, rel=1e-12)


def test_packing_alone_moves_a_coil_by_about_a_tenth() -> None:
    tight = inductance_alone(pack(Winding(0.2, 40, "hexagonal"), 3e-3, 3e-3), 1e-3)
    loose = inductance_alone(pack(Winding(0.2, 40, "loose"), 3e-3, 3e-3), 1e-3)
    assert 0.05 < 1.0 - loose / tight < 0.2


@pytest.mark.parametrize("x", [1e-6, 0.01, 1.0, 30.0, 600.0])
@pytest.mark.parametrize("order", [0, 1, 7, 60])
def test_products_of_bessel_functions(x: float, order: int) -> None:
    right = mpmath.besseli(order, x) * mpmath.besselk(order, x)
    found = bessel_products(np.array([0.3, x]), order + 1)[order, 1]
    assert found == pytest.approx(float(right), rel=1e-14)
