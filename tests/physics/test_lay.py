"""What the lay adds: coils, split coils, twist and figures of eight against brute force and handbooks."""

from __future__ import annotations

import math
from dataclasses import replace

import mpmath
import numpy as np
import pytest
import ring_reference as reference
from hypothesis import given, settings
from hypothesis import strategies as st

from auralize.circuit import coil
from auralize.circuit.added_impedance import added_impedance, added_range
from auralize.circuit.coil import GMR_ROUND, Turns, Winding, pack
from auralize.circuit.coiled import turns_of
from auralize.circuit.conductor import MU_0, Complex, Conductor, Real, internal_impedance
from auralize.circuit.figure_of_eight import EIGHT_POINTS, eight_paths
from auralize.circuit.iron import IronBar
from auralize.circuit.lays import (
    Coiled,
    FigureOfEight,
    LaidCable,
    Lay,
    SplitCoils,
    Straight,
    on_reel,
)
from auralize.circuit.pair import impedance_matrix, pair_impedance
from auralize.circuit.split_coils import split_turns

COPPER = 1.7241e-8  # ohm m, IACS
VERY_LOW = 1e-3  # Hz, where eddy currents no longer move the inductance
AUDIO = np.array([0.0, 20.0, 100.0, 1e3, 5e3, 1e4, 2e4])


def wire(radius: float) -> Conductor:
    return Conductor(radius, COPPER / (math.pi * radius**2))


FLAT = LaidCable(wire(1.0e-3), spacing=3.2e-3, core_diameter=3.2e-3)
TWISTED = LaidCable(wire(1.23e-3), spacing=4.2e-3, core_diameter=4.2e-3, lay_length=0.06)


def added(lay: Lay, cable: LaidCable = FLAT, length: float = 1e3) -> float:
    """Added inductance in H at low frequency."""
    z = added_impedance(lay, cable, length, np.array([VERY_LOW]))
    return float(z[0].imag) / (2.0 * math.pi * VERY_LOW)


def straight(cable: LaidCable) -> float:
    """H/m of the straight pair at low frequency, exact for an even current: the log of GMD / GMR."""
    gmr = cable.conductor.radius * math.exp(-0.25)
    return 4e-7 * math.log(cable.spacing / gmr)


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
    found = coil.winding_inductance(pack(winding, pitch, pitch), GMR_ROUND * wire_radius)
    assert found == pytest.approx(expected, rel=2e-3)


@pytest.mark.parametrize("radius", [0.04, 0.05, 0.06])
def test_square_winding_equals_wheelers_formula(radius: float) -> None:
    """Wheeler 1928: 0.8 a^2 n^2 / (6 a + 9 b + 10 c) uH in inches, about 1 % where the three terms
    are alike (formula and accuracy from memory)."""
    pitch, inch = 4e-3, 0.0254
    turns = pack(Winding(2 * radius, 64, "square", width=8 * pitch), pitch, pitch)
    a, b = radius / inch, 8 * pitch / inch
    wheeler = 0.8e-6 * a**2 * 64**2 / (6 * a + 9 * b + 10 * b)
    assert coil.winding_inductance(turns, GMR_ROUND * 1.9e-3) == pytest.approx(wheeler, rel=0.015)


@pytest.mark.parametrize(("count", "radius"), [(61, 0.15), (61, 0.5), (37, 0.1)])
def test_round_bundle_equals_maxwells_formula(count: int, radius: float) -> None:
    """N^2 mu0 R (ln(8 R / g) - 2), g = exp(-1/4) of a disc of the bundle's area (Maxwell and
    Rayleigh, from memory; left out: insulation between turns, about 1 / N of the logarithm)."""
    pitch = 3e-3
    disc = pitch * math.sqrt(count * math.sqrt(0.75) / math.pi)
    maxwell = count**2 * MU_0 * radius * (math.log(8.0 * radius / (disc * GMR_ROUND)) - 2.0)
    turns = pack(Winding(2 * radius, count, "hexagonal"), pitch, pitch)
    assert coil.winding_inductance(turns, GMR_ROUND * 0.5 * pitch) == pytest.approx(
        maxwell, rel=0.01
    )


def test_long_thin_solenoid_equals_nagaoka_and_rosa() -> None:
    """mu0 N^2 A / l, times Nagaoka's 0.8499 for diameter / length 0.4, less Rosa's correction for
    round wire, mu0 R N (A + B) with wires touching A = 0.5568, B = 0.318 at 50 turns (values from
    memory; Rosa and Grover, 1911)."""
    radius, pitch, count = 0.02, 2e-3, 50
    sheet = MU_0 * count**2 * math.pi * radius**2 / (count * pitch) * 0.8499
    expected = sheet - MU_0 * radius * count * (0.5568 + 0.318)
    turns = pack(Winding(2 * radius, count, "square", width=count * pitch), pitch, pitch)
    assert coil.winding_inductance(turns, GMR_ROUND * 0.5 * pitch) == pytest.approx(
        expected, rel=2e-3
    )


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
    tight = coil.winding_inductance(pack(Winding(0.2, 40, "hexagonal"), 3e-3, 3e-3), 1e-3)
    loose = coil.winding_inductance(pack(Winding(0.2, 40, "loose"), 3e-3, 3e-3), 1e-3)
    assert 0.05 < 1.0 - loose / tight < 0.2


# ---- both conductors coiled together ------------------------------------------------------------


@pytest.mark.parametrize(("count", "radius"), [(8, 0.05), (20, 0.15), (64, 0.15), (64, 0.5)])
@pytest.mark.parametrize("facing", ["aligned", "edge to edge", "stacked"])
def test_flat_twin_is_the_sum_of_its_rings(count: int, radius: float, facing: str) -> None:
    """Bar: 3 % of the loop's inductance; both ways of counting agree far better."""
    s, up = FLAT.spacing, FLAT.thickness
    columns = {"aligned": 8, "edge to edge": count, "stacked": 1}[facing]
    if facing == "stacked" and (count - 1) * up > radius:
        columns = math.ceil(count / math.floor(radius / up))
    row, column = np.divmod(np.arange(count), columns)
    r = radius + (row - row.mean()) * up
    z = column * FLAT.width
    expected = reference.coil(
        np.tile(r, 2),
        np.append(z - s / 2, z + s / 2),
        np.repeat([1.0, -1.0], count),
        FLAT.conductor.radius,
    )
    winding = Winding(2 * radius, count, "square", width=8 * FLAT.width)
    lay = Coiled(winding, facing)  # type: ignore[arg-type]
    found = added(lay) + straight(FLAT) * winding.length
    assert found == pytest.approx(expected, rel=2e-3)


def test_flat_twin_against_exact_arithmetic_and_its_mirror_image() -> None:
    """64 turns, whose couplings of some 10 mH cancel to 6 uH: 1e-9 of what is left."""
    turns = turns_of(Coiled(Winding(0.3, 64, width=8 * FLAT.width), "aligned"), FLAT)
    half = 0.5 * FLAT.spacing
    r = np.tile(turns.radius, 2)
    z = np.append(turns.place - half, turns.place + half)
    sign = np.repeat([1, -1], 64)

    with mpmath.workdps(40):
        cache: dict[tuple[float, float, float], mpmath.mpf] = {}

        def mutual(a: float, b: float, gap: float) -> mpmath.mpf:
            key = (min(a, b), max(a, b), round(abs(gap), 15))
            if key not in cache:
                m = 4 * mpmath.mpf(a) * b / ((mpmath.mpf(a) + b) ** 2 + mpmath.mpf(gap) ** 2)
                k = mpmath.sqrt(m)
                shape = (2 / k - k) * mpmath.ellipk(m) - 2 / k * mpmath.ellipe(m)
                cache[key] = mpmath.sqrt(mpmath.mpf(a) * b) * shape
            return cache[key]

        total = mpmath.mpf(0)
        for i in range(128):
            total += mpmath.mpf(r[i]) * (mpmath.log(8 * mpmath.mpf(r[i]) / FLAT.spacing) - 2)
            for j in range(i):
                total += 2 * int(sign[i] * sign[j]) * mutual(r[i], r[j], z[i] - z[j])
        exact = float(total * 4e-7 * mpmath.pi)

    lay = Coiled(Winding(0.3, 64, width=8 * FLAT.width), "aligned")
    assert added(lay) == pytest.approx(exact, rel=1e-9)

    rings = Turns(r, z, sign.astype(np.float64))
    mirrored = Turns(r[::-1].copy(), -z[::-1], rings.share[::-1].copy())
    # Signed shares leave out each ring's own part, which is the same in both.
    own = 2.0 * coil.ring_self(turns.radius, FLAT.spacing).sum()
    for arranged in (rings, mirrored):
        assert coil.winding_inductance(arranged, FLAT.spacing) == pytest.approx(exact, rel=1e-9)
    assert abs(exact) < 0.1 * own


def test_random_facing_is_the_mean_over_orientations() -> None:
    """Each turn at its own angle, 400 draws: their mean has a standard error of 0.3 %."""
    winding = Winding(0.3, 19, "hexagonal")
    cable = replace(FLAT, sheath=0.0)
    turns = turns_of(Coiled(winding), cable)
    rng = np.random.default_rng(7)
    sums = []
    i, j = np.triu_indices(38, 1)
    sign = np.repeat([1.0, -1.0], 19)
    gmr = FLAT.conductor.radius * math.exp(-0.25)
    for _ in range(400):
        angle = 2.0 * np.pi * rng.random(19)
        up, along = 0.5 * cable.spacing * np.sin(angle), 0.5 * cable.spacing * np.cos(angle)
        r = np.append(turns.radius + up, turns.radius - up)
        z = np.append(turns.place + along, turns.place - along)
        between = sign[i] * sign[j] * coil.ring_mutual(r[i], z[i], r[j], z[j])
        sums.append(2.0 * between.sum() + coil.ring_self(r, gmr).sum())
    loop = added(Coiled(winding), cable) + straight(cable) * winding.length
    assert np.std(sums) / math.sqrt(400) < 0.003 * loop
    assert loop == pytest.approx(float(np.mean(sums)), rel=0.008)


@pytest.mark.parametrize("count", [8, 64])
@pytest.mark.parametrize("radius", [0.08, 0.5])
def test_coiling_a_twisted_pair_changes_its_inductance_by_less_than_one_percent(
    count: int, radius: float
) -> None:
    lay = Coiled(Winding(2 * radius, count, width=0.08))
    change = added(lay, TWISTED) - added(Straight(), TWISTED)
    assert change != 0.0
    assert abs(change) < 0.01 * straight(TWISTED) * lay.winding.length


def coiled_helices(radius: float, turns: int, pitch: float, per_twist: int = 30) -> list[Real]:
    """Both conductors of TWISTED wound in one layer, followed in three dimensions."""
    assert TWISTED.lay_length is not None
    length = 2.0 * math.pi * radius * turns
    count = round(length / TWISTED.lay_length * per_twist)
    along = np.linspace(0.0, length, count + 1)
    angle, twist = along / radius, 2.0 * np.pi * along / TWISTED.lay_length
    curves = []
    for half in (0.5 * TWISTED.spacing, -0.5 * TWISTED.spacing):
        r = radius + half * np.cos(twist)
        z = pitch * angle / (2.0 * np.pi) + half * np.sin(twist)
        curves.append(np.stack([r * np.cos(angle), r * np.sin(angle), z], axis=-1))
    return curves


def test_twisted_coil_followed_in_three_dimensions() -> None:
    """Four coils whose turns are 0, 1/4, 1/2, 3/4 of a twist apart: their mean is the straight
    twisted pair within 1 %; the first, in phase, is where the range ends at the top."""
    assert TWISTED.lay_length is not None
    turns, loops = 4, []
    for quarter in range(4):
        radius = (12.0 + quarter / 4.0) * TWISTED.lay_length / (2.0 * math.pi)
        curves = coiled_helices(radius, turns, TWISTED.width)
        gmr = TWISTED.conductor.radius * math.exp(-0.25)
        loop = coil.path_inductance(curves, [1.0, -1.0], gmr)
        loops.append(loop / (2.0 * math.pi * radius * turns))
    stretch = math.hypot(1.0, math.pi * TWISTED.spacing / TWISTED.lay_length)
    expected = stretch * straight(TWISTED) + added(Straight(), TWISTED, 1.0)
    assert np.mean(loops) == pytest.approx(expected, rel=0.01)

    radius = 12.0 * TWISTED.lay_length / (2.0 * math.pi)
    winding = Winding(2 * radius, turns, width=turns * TWISTED.width)
    span = added_range(Coiled(winding), TWISTED, winding.length, np.array([VERY_LOW]))
    rise = (span.high - span.nominal).imag / (2.0 * math.pi * VERY_LOW * winding.length)
    assert rise[0] == pytest.approx(loops[0] - np.mean(loops), rel=0.15)


# ---- each conductor by itself -------------------------------------------------------------------

BAR = IronBar(0.02, 0.15, 6e6, 200.0)
SMALL = Winding(0.2, 9, "square", width=3 * FLAT.core_diameter)
LARGE = Winding(0.3, 12, "square", width=3 * FLAT.core_diameter)


@pytest.mark.parametrize("sense", ["same", "opposed"])
@pytest.mark.parametrize(
    ("arrangement", "distance", "second"),
    [
        ("coaxial", 0.01, SMALL),
        ("coaxial", 0.1, SMALL),
        ("coaxial", 0.0, LARGE),
        ("side by side", 0.22, SMALL),
        ("side by side", 0.4, LARGE),
    ],
)
def test_split_coils_and_the_sign_of_their_coupling(
    arrangement: str, distance: float, second: Winding, sense: str
) -> None:
    """Bar: 3 %. Equal circulation aids on one axis, and opposes side by side."""
    lay = SplitCoils(SMALL, second, distance, arrangement, sense)  # type: ignore[arg-type]
    a = pack(SMALL, FLAT.core_diameter, FLAT.core_diameter)
    b = pack(second, FLAT.core_diameter, FLAT.core_diameter)
    wire_radius = FLAT.conductor.radius
    alone = sum(reference.coil(t.radius, t.place, t.share, wire_radius) for t in (a, b))
    if arrangement == "coaxial":
        mutual = reference.rings(
            a.radius[:, None], a.place[:, None], b.radius, b.place + distance
        ).sum()
        assert mutual > 0.0
    else:
        mutual = reference.circles_beside(a.radius, a.place, b.radius, b.place, distance)
        assert mutual < 0.0
    loop = alone + (2.0 if sense == "same" else -2.0) * mutual
    removed = 0.5 * straight(FLAT) * (SMALL.length + second.length)
    assert added(lay) + removed == pytest.approx(loop, rel=3e-3)


def test_coils_that_nearly_touch_side_by_side() -> None:
    """64 turns each, a core apart: the rule along the ring against four times as many points."""
    lay = SplitCoils(Winding(0.3, 64), Winding(0.3, 64), 0.35, "side by side", "same")
    a, b = split_turns(lay, FLAT)
    nearest = float(a.radius.max() + b.radius.max()) + FLAT.core_diameter
    fine = reference.circles_beside(
        a.radius[::8], a.place[::8], b.radius[::8], b.place[::8], nearest, points=1500
    )
    some = [Turns(t.radius[::8], t.place[::8], t.share[::8]) for t in (a, b)]
    assert coil.mutual_beside(some[0], some[1], nearest) == pytest.approx(fine, rel=1e-4)


@given(
    turns=st.tuples(st.floats(1.0, 70.0), st.floats(1.0, 70.0)),
    radius=st.tuples(st.floats(0.1, 0.4), st.floats(0.1, 0.4)),
    gap=st.floats(0.0, 0.5),
    beside=st.booleans(),
)
@settings(max_examples=25, deadline=None, derandomize=True)
def test_coupling_is_below_one_and_reciprocal(
    turns: tuple[float, float], radius: tuple[float, float], gap: float, beside: bool
) -> None:
    a, b = (
        pack(Winding(2 * r, n), FLAT.core_diameter, FLAT.core_diameter)
        for r, n in zip(radius, turns, strict=True)
    )
    if beside:
        distance = float(a.radius.max() + b.radius.max()) + FLAT.core_diameter + gap
        mutual, back = coil.mutual_beside(a, b, distance), coil.mutual_beside(b, a, distance)
    else:
        clear = float(a.place.max() - b.place.min()) + FLAT.core_diameter + gap
        b = replace(b, place=b.place + clear)
        mutual, back = coil.mutual_coaxial(a, b), coil.mutual_coaxial(b, a)
    gmr = GMR_ROUND * FLAT.conductor.radius
    product = coil.winding_inductance(a, gmr) * coil.winding_inductance(b, gmr)
    assert abs(mutual) < math.sqrt(product)
    assert mutual == pytest.approx(back, rel=2e-3)


@given(turns=st.floats(1.0, 60.0), more=st.floats(0.05, 10.0))
@settings(max_examples=25, deadline=None, derandomize=True)
def test_inductance_grows_with_the_turns(turns: float, more: float) -> None:
    lays = [
        SplitCoils(Winding(0.4, n), Winding(0.4, n), 0.6, "coaxial", "opposed")
        for n in (turns, turns + more)
    ]
    fewer, many = (added(lay) + straight(FLAT) * lay.first.length for lay in lays)
    assert many > fewer > 0.0


# ---- twist --------------------------------------------------------------------------------------


@pytest.mark.parametrize("lay_length", [0.04, 0.06, 0.1])
@pytest.mark.parametrize(
    ("spacing", "radius"), [(2.5e-3, 0.8e-3), (4.2e-3, 1.23e-3), (6e-3, 1.5e-3)]
)
def test_twist_against_the_field_of_the_helices(
    lay_length: float, spacing: float, radius: float
) -> None:
    """Bar: 1 % of the loop's inductance, for the whole of what twisting adds per metre of cable."""
    cable = LaidCable(wire(radius), spacing, spacing, lay_length=lay_length)
    stretch = math.hypot(1.0, math.pi * spacing / lay_length)
    found = stretch * straight(cable) + added(Straight(), cable, 1.0)
    helices = reference.twisted_pair(spacing, lay_length, radius * math.exp(-0.25))
    assert helices > straight(cable) * 1.005
    assert abs(found - helices) < 3e-3 * straight(cable)


@pytest.mark.parametrize("distance", [8.4e-3, 14e-3])
def test_coupling_of_twisted_pairs_in_phase(distance: float) -> None:
    assert TWISTED.lay_length is not None
    k, b = 2.0 * math.pi / TWISTED.lay_length, 0.5 * TWISTED.spacing
    step = TWISTED.lay_length / 48
    here, there = np.arange(48) * step, np.arange(-48 * 30, 48 * 30) * step
    total = 0.0
    for i in (0.0, math.pi):
        for j in (0.0, math.pi):
            p, q = k * here + i, k * there + j
            dx = distance + b * (np.cos(q) - np.cos(p)[:, None])
            dy = b * (np.sin(q) - np.sin(p)[:, None])
            dz = there - here[:, None]
            along = 1.0 + (k * b) ** 2 * np.cos(q - p[:, None])
            term = (along / np.sqrt(dx**2 + dy**2 + dz**2)).sum() * step / 48
            total += 1e-7 * float(term) * (1.0 if i == j else -1.0)
    found = coil.twist_coupling(np.array([distance]), TWISTED.spacing, TWISTED.lay_length)
    assert found[0] == pytest.approx(total, rel=2e-3)


# ---- paths --------------------------------------------------------------------------------------


def solenoid(radius: float, turns: int, pitch: float, shift: float, points: int) -> Real:
    angle = np.linspace(0.0, 2.0 * np.pi * turns, turns * points + 1)
    height = pitch * (angle / (2.0 * np.pi) - 0.5 * turns) + shift
    return np.stack([radius * np.cos(angle), radius * np.sin(angle), height], axis=-1)


@pytest.mark.parametrize(("radius", "turns"), [(0.05, 8), (0.15, 20), (0.5, 8)])
@pytest.mark.parametrize("both", [False, True])
def test_neumann_on_a_helix_equals_the_ring_sum(radius: float, turns: int, both: bool) -> None:
    """Bars: 3 %, and 0.5 % for twice the points; for one conductor and for both."""
    pitch, gmr = FLAT.width, GMR_ROUND * FLAT.conductor.radius
    shifts = (-0.5 * FLAT.spacing, 0.5 * FLAT.spacing) if both else (0.0,)
    currents = [1.0, -1.0][: len(shifts)]
    coarse, fine = (
        coil.path_inductance([solenoid(radius, turns, pitch, s, n) for s in shifts], currents, gmr)
        for n in (EIGHT_POINTS, 2 * EIGHT_POINTS)
    )
    place = (np.arange(turns) - 0.5 * (turns - 1)) * pitch
    z = np.concatenate([place + s for s in shifts])
    r = np.full(len(z), radius)
    rings = reference.coil(r, z, np.repeat(currents, turns), FLAT.conductor.radius)
    assert coarse == pytest.approx(rings, rel=0.005)
    assert coarse == pytest.approx(fine, rel=0.003)


def test_regularisation_stays_inside_its_own_piece() -> None:
    """Its radius enters as the logarithm of a straight wire's and nowhere else."""
    curves = [solenoid(0.1, 10, 0.0064, s, 64) for s in (-0.0016, 0.0016)]
    length = sum(float(np.linalg.norm(np.diff(c, axis=0), axis=1).sum()) for c in curves)
    thin, thick = (coil.path_inductance(curves, [1.0, -1.0], g) for g in (1e-4, 1e-2))
    assert thin - thick == pytest.approx(2e-7 * length * math.log(100.0), rel=1e-9)


def test_field_of_a_path_is_that_of_a_ring() -> None:
    ring = solenoid(0.1, 1, 0.0, 0.0, 2000)
    points = np.array([[0.03, 0.0, 0.01], [0.0, 0.104, 0.002], [0.25, 0.0, -0.1]])
    field = coil.path_field([ring], [2.0], points, [0, 0, 0])
    r, z = np.hypot(points[:, 0], points[:, 1]), points[:, 2]
    radial, axial = coil.ring_field(np.asarray(0.1), np.zeros(()), r, z)
    outwards = (field[:, :2] * points[:, :2]).sum(axis=1) / r
    # One of 2000 pieces is left out, which the skip is for.
    np.testing.assert_allclose(outwards, 2.0 * radial, rtol=0.02)
    np.testing.assert_allclose(field[:, 2], 2.0 * axial, rtol=0.02)


@pytest.mark.parametrize("facing", ["stacked", "edge to edge"])
def test_figure_of_eight_against_fine_integration(facing: str) -> None:
    lay = FigureOfEight(0.3, 0.25, 2, facing)  # type: ignore[arg-type]
    curves = [reference.evenly(curve, 2000) for curve in eight_paths(lay, FLAT, 20000)]
    gmr = FLAT.conductor.radius * math.exp(-0.25)
    expected = reference.paths(curves, [1.0, -1.0], gmr)
    cable = sum(float(np.linalg.norm(np.diff(c, axis=0), axis=1).sum()) for c in curves) / 2.0
    assert added(lay) + straight(FLAT) * cable == pytest.approx(expected, rel=5e-3)
    coarse, fine = (
        coil.path_inductance(eight_paths(lay, FLAT, n), [1.0, -1.0], gmr)
        for n in (EIGHT_POINTS, 2 * EIGHT_POINTS)
    )
    assert coarse == pytest.approx(fine, rel=0.005)


def test_strands_of_a_figure_of_eight_pass_over_one_another() -> None:
    lay = FigureOfEight(0.3, 0.25, 5, "stacked")
    curves = eight_paths(lay, FLAT, 400)
    centre = 0.5 * (curves[0] + curves[1])
    crossings = np.sort(centre[::200, 2])
    np.testing.assert_allclose(np.diff(crossings), FLAT.thickness, rtol=1e-9)
    lobes = np.sort(centre[100::400, 2])
    np.testing.assert_allclose(np.diff(lobes), FLAT.thickness, rtol=1e-9)


# ---- eddy currents in the turns -----------------------------------------------------------------

EDDY = np.array([100.0, 1e3, 5e3, 1e4, 2e4])


def solved(place: Complex, current: Real, cable: LaidCable, f: Real = EDDY) -> Complex:
    """ohm per metre of a section, currents in series: all wires solved by multipoles together."""
    z = impedance_matrix(f, list(place), [cable.conductor] * len(place))
    return np.asarray(np.einsum("i,fij,j->f", current, z, current))


@pytest.mark.parametrize(
    "cable", [FLAT, LaidCable(wire(1e-3), 2.6e-3, 2.6e-3), LaidCable(wire(1.2e-3), 4.2e-3, 4.2e-3)]
)
@pytest.mark.parametrize(
    ("facing", "tolerance"), [("stacked", 0.05), ("edge to edge", 0.02), ("aligned", 0.05)]
)
def test_proximity_in_a_flat_twin(cable: LaidCable, facing: str, tolerance: float) -> None:
    """Resistance of straight and lay together, in a coil so large that its section is plane."""
    lay = Coiled(Winding(6.0, 12), facing)  # type: ignore[arg-type]
    turns = turns_of(lay, cable)
    section = turns.place + 1j * turns.radius
    place = np.append(section - 0.5 * cable.spacing, section + 0.5 * cable.spacing)
    whole = solved(place, np.repeat([1.0, -1.0], 12), cable)
    pair = 12.0 * pair_impedance(EDDY, cable.spacing, cable.conductor)
    found = added_impedance(lay, cable, 1e3, EDDY) / (math.pi * 6.0)
    assert np.abs((whole - pair).real).max() > 0.03 * pair.real.max()
    np.testing.assert_allclose((pair + found).real, whole.real, rtol=tolerance)
    # The inductance's fall with frequency, as part of the whole.
    fall = (found - found[0] * EDDY / EDDY[0]).imag
    true_fall = (whole - pair - (whole - pair)[0] * EDDY / EDDY[0]).imag
    np.testing.assert_allclose(fall, true_fall, atol=0.012 * whole.imag.max())


@pytest.mark.parametrize("spacing", [2.6e-3, 3.2e-3])
@pytest.mark.parametrize("count", [7, 19])
def test_proximity_in_split_coils(spacing: float, count: int) -> None:
    """Bundles a metre apart, solved as one section with the currents' return."""
    cable = LaidCable(wire(1e-3), spacing, spacing)
    winding = Winding(2.0, count, "hexagonal")
    lay = SplitCoils(winding, winding, 1.0, "coaxial", "opposed")
    a, b = split_turns(lay, cable)
    place = np.append(a.place + 1j * a.radius, b.place + 1j * b.radius)
    whole = solved(place, np.append(a.share, b.share), cable)
    pair = count * pair_impedance(EDDY, spacing, cable.conductor)
    found = added_impedance(lay, cable, 1e3, EDDY) / (math.pi * 2.0)
    assert whole.real[-1] > 1.5 * pair.real[-1]
    np.testing.assert_allclose((pair + found).real, whole.real, rtol=0.01)


def test_proximity_of_random_orientations() -> None:
    """Mean resistance of 12 draws of 7 turns."""
    winding = Winding(6.0, 7, "hexagonal")
    turns = turns_of(Coiled(winding), FLAT)
    section, current = turns.place + 1j * turns.radius, np.repeat([1.0, -1.0], 7)
    rng = np.random.default_rng(3)
    resistances = []
    f = EDDY[[1, 4]]
    for _ in range(12):
        half = 0.5 * FLAT.spacing * np.exp(2j * np.pi * rng.random(7))
        draw = solved(np.append(section + half, section - half), current, FLAT, f)
        resistances.append(draw.real)
    pair = 7.0 * pair_impedance(f, FLAT.spacing, FLAT.conductor).real
    found = added_impedance(Coiled(winding), FLAT, 1e3, f).real / (math.pi * 6.0)
    assert found[-1] > 0.02 * pair[-1]
    np.testing.assert_allclose(pair + found, np.mean(resistances, axis=0), rtol=0.02)


def test_eddy_loss_of_a_wire_across_a_field_at_low_frequency() -> None:
    """pi omega^2 mu0^2 a^4 H^2 / 4 rho watt per metre for H rms: the induced field omega mu0 H x,
    squared over rho, integrated over the section. Each of two touching turns lies in the other's
    field; the straight pair's, with its cores far apart, is taken away."""
    cable = replace(FLAT, spacing=10e-3)
    turns = Winding(20.0, 2)
    f = 10.0
    found = added_impedance(SplitCoils(turns, turns, 8.0), cable, 1e3, np.array([f])).real[0]
    a = cable.conductor.radius
    per_square = math.pi * (2.0 * math.pi * f * MU_0) ** 2 * a**4 / (4.0 * COPPER)
    excess = (1.0 / (2.0 * math.pi * 3.2e-3)) ** 2 - (1.0 / (2.0 * math.pi * 10e-3)) ** 2
    assert found == pytest.approx(2.0 * turns.length * per_square * excess, rel=0.005)


def test_eddy_loss_in_a_ring_s_own_field() -> None:
    """The field at the wire is the hoop force over current and length: dL/dR / (4 pi R mu0)."""
    cable = LaidCable(wire(1e-3), spacing=50e-3, core_diameter=3.2e-3)
    radius, f = 0.012, 10.0
    ring = Winding(2.0 * radius, 1)
    found = added_impedance(SplitCoils(ring, ring, 1.0), cable, 1.0, np.array([f])).real[0]
    slope = reference.thick_ring(1.02 * radius, 1e-3) - reference.thick_ring(0.98 * radius, 1e-3)
    own = slope / (0.04 * radius) / (4.0 * math.pi * radius * MU_0)
    per_square = math.pi * (2.0 * math.pi * f * MU_0) ** 2 * 1e-3**4 / (4.0 * COPPER)
    excess = own**2 - (1.0 / (2.0 * math.pi * 50e-3)) ** 2
    assert found == pytest.approx(2.0 * ring.length * per_square * excess, rel=0.02)


def test_eddy_loss_in_a_figure_of_eight() -> None:
    """One figure's strands only cross, which adds little; six lie on one another as in a coil, but
    for the crossing, where they are spread."""
    f = np.array([1e4])
    pair = pair_impedance(f, FLAT.spacing, FLAT.conductor).real[0]
    one, six = (
        added_impedance(lay, FLAT, 100.0, f).real[0] / lay.length / pair
        for lay in (FigureOfEight(0.3, 0.25, n, "stacked") for n in (1, 6))
    )
    pile = Coiled(Winding(0.3, 6), "stacked")
    coiled = added_impedance(pile, FLAT, 100.0, f).real[0] / pile.winding.length / pair
    assert abs(one) < 0.01
    assert 0.6 * coiled < six < coiled


# ---- laws ---------------------------------------------------------------------------------------

LAYS = st.one_of(
    st.builds(
        Coiled,
        st.builds(Winding, st.floats(0.3, 1.0), st.floats(1.0, 40.0)),
        st.sampled_from(["aligned", "edge to edge", "stacked", "random"]),
        st.one_of(st.none(), st.just(BAR)),
    ),
    st.builds(
        SplitCoils,
        st.builds(Winding, st.floats(0.3, 1.0), st.floats(1.0, 40.0)),
        st.builds(Winding, st.floats(0.3, 1.0), st.floats(1.0, 40.0)),
        st.floats(1.2, 3.0),
        st.sampled_from(["coaxial", "side by side"]),
        st.sampled_from(["same", "opposed"]),
        st.one_of(st.none(), st.just(BAR)),
    ),
)


@given(lay=LAYS, spacing=st.floats(2.7e-3, 6e-3))
@settings(max_examples=30, deadline=None, derandomize=True)
def test_no_lay_makes_energy(lay: Coiled | SplitCoils, spacing: float) -> None:
    """Straight and lay together never lose less than the wires alone would with all others far."""
    cable = LaidCable(wire(1e-3), spacing, spacing)
    length = 150.0
    whole = length * pair_impedance(AUDIO, spacing, cable.conductor)
    whole = whole + added_impedance(lay, cable, length, AUDIO)
    alone = 2.0 * length * internal_impedance(AUDIO, cable.conductor).real
    assert np.all(whole.real >= alone * (1.0 - 1e-6))
    assert np.all(whole.imag[1:] > 0.0)


@given(
    turns=st.floats(4.0, 40.0),
    diameter=st.floats(0.2, 1.0),
    sense=st.sampled_from(["same", "opposed"]),
    iron=st.booleans(),
)
@settings(max_examples=20, deadline=None, derandomize=True)
def test_split_coils_add_resistance(turns: float, diameter: float, sense: str, iron: bool) -> None:
    winding = Winding(diameter, turns)
    bar = BAR if iron else None
    lay = SplitCoils(winding, winding, 0.5, "coaxial", sense, bar)  # type: ignore[arg-type]
    z = added_impedance(lay, FLAT, 1e3, AUDIO)
    assert z[0] == 0.0
    assert np.all(z.real[1:] > 0.0)
    assert np.all(np.diff(z.real) > 0.0)


@pytest.mark.parametrize("facing", ["aligned", "edge to edge", "stacked", "random"])
def test_iron_does_almost_nothing_where_both_conductors_are_coiled_together(facing: str) -> None:
    lay = Coiled(Winding(0.2, 30), facing)  # type: ignore[arg-type]
    f = AUDIO[1:]
    steel = added_impedance(replace(lay, iron=BAR), FLAT, 100.0, f)
    change = steel - added_impedance(lay, FLAT, 100.0, f)
    apart = SplitCoils(Winding(0.2, 30), Winding(0.2, 30), 1.0)
    alone = added_impedance(replace(apart, iron=BAR), FLAT, 100.0, f)
    change_apart = alone - added_impedance(apart, FLAT, 100.0, f)
    assert np.all(np.abs(change) < 2e-3 * np.abs(change_apart))


def test_iron_feels_the_coil_beside_it() -> None:
    """Of equal circulation, the neighbour's field opposes in the bar; opposed, it helps."""
    f = np.array([100.0])
    change = {}
    for sense in ("same", "opposed"):
        lay = SplitCoils(SMALL, SMALL, 0.25, "side by side", sense)  # type: ignore[arg-type]
        steel = added_impedance(replace(lay, iron=BAR), FLAT, 100.0, f)
        change[sense] = abs((steel - added_impedance(lay, FLAT, 100.0, f))[0])
    # By the field on its axis: a coil's at 0.25 m over its own in the middle.
    _, axial = coil.ring_field(np.asarray(0.1), np.zeros(()), np.array([0.25, 1e-9]), np.zeros(2))
    ratio = (1.0 - axial[0] / axial[1]) / (1.0 + axial[0] / axial[1])
    assert change["opposed"] / change["same"] == pytest.approx(ratio**2, rel=0.1)


def test_one_frequency_gives_what_the_whole_axis_gives() -> None:
    lay = SplitCoils(SMALL, SMALL, 0.1, iron=BAR)
    axis = added_impedance(lay, FLAT, 100.0, AUDIO)
    each = [added_impedance(lay, FLAT, 100.0, np.asarray(f)) for f in AUDIO]
    np.testing.assert_allclose(np.array(each), axis, rtol=1e-12)


# ---- what is not known --------------------------------------------------------------------------


def spread(lay: Lay, cable: LaidCable, length: float) -> tuple[float, float, float]:
    """Low, nominal and high loop inductance over that of the straight pair."""
    span = added_range(lay, cable, length, np.array([VERY_LOW]))
    base = straight(cable) * length
    low, nominal, high = (
        1.0 + float(z[0].imag) / (2.0 * math.pi * VERY_LOW * base)
        for z in (span.low, span.nominal, span.high)
    )
    assert low <= nominal <= high
    return low, nominal, high


@pytest.mark.parametrize("count", [8, 20, 64])
def test_a_flat_twin_of_unknown_facing_lies_anywhere(count: int) -> None:
    """Common practice, no source: about 0.7 to 1.8 of the straight inductance, and random between."""
    lay = Coiled(Winding(0.3, count))
    low, nominal, high = spread(lay, FLAT, lay.winding.length)
    assert 0.66 < low < 0.8
    assert nominal == pytest.approx(1.0, abs=0.01)
    assert 1.55 < high < 1.9
    assert "random" in added_range(lay, FLAT, 100.0, AUDIO).assumption


def test_a_stated_facing_leaves_the_packing_open() -> None:
    lay = Coiled(Winding(0.3, 20), "stacked")
    low, nominal, high = spread(lay, FLAT, lay.winding.length)
    assert 0.02 < high - low < 0.6
    assert nominal > 1.4


def test_twisted_pairs_in_phase_or_spread_over_three_phases() -> None:
    lay = Coiled(Winding(0.3, 30))
    low, nominal, high = spread(lay, TWISTED, lay.winding.length)
    assert 1.05 < high < 1.2
    assert high - nominal == pytest.approx(2.0 * (nominal - low), rel=1e-9)


def test_split_coils_range_over_their_packing() -> None:
    lay = SplitCoils(Winding(0.3, 40), Winding(0.3, 40), 1.0)
    low, nominal, high = spread(lay, FLAT, lay.first.length)
    assert 0.05 < (high - low) / nominal < 0.2
    assert low < nominal < high
    assert "square" in added_range(lay, FLAT, 100.0, AUDIO).assumption


def test_figures_of_eight_and_straight_runs_have_their_range() -> None:
    lay = FigureOfEight(0.3, 0.25, 6)
    low, nominal, high = spread(lay, FLAT, lay.length)
    assert low < 0.9 < nominal == 1.0 < 1.1 < high
    span = added_range(Straight(), FLAT, 10.0, AUDIO)
    assert not span.low.any()
    assert not span.nominal.any()
    assert not span.high.any()


# ---- trade checks (common practice, no source) --------------------------------------------------


def test_what_practitioners_expect() -> None:
    length, load = 62.0, 8.0
    winding = Winding(0.35, 50)
    f = np.array([1e4])

    def loss(lay: Lay, cable: LaidCable) -> float:
        z = length * pair_impedance(f, cable.spacing, cable.conductor)
        z = z + added_impedance(lay, cable, length, f)
        return float(-20.0 * np.log10(np.abs(load / (load + z[0]))))

    assert loss(Coiled(winding), TWISTED) - loss(Straight(), TWISTED) < 0.05
    split = SplitCoils(winding, winding, 0.5)
    assert loss(split, FLAT) > loss(Straight(), FLAT) + 10.0
    shorter = SplitCoils(Winding(0.1, 10), Winding(0.1, 10), 0.3)
    steel = replace(shorter, iron=BAR)
    resistance = [added_impedance(lay, FLAT, length, f).real[0] for lay in (shorter, steel)]
    assert resistance[1] > resistance[0]
    assert added(Straight(), FLAT) == 0.0


# ---- geometry that cannot be --------------------------------------------------------------------


@pytest.mark.parametrize(
    ("lay", "cable", "says"),
    [
        (Coiled(Winding(1.0, 40)), FLAT, "m are coiled, and the run is only 100 m long"),
        (SplitCoils(Winding(1.0, 40), Winding(0.3, 2), 1.0), FLAT, "and the run is only 100 m"),
        (FigureOfEight(1.0, 1.0, 40), FLAT, "and the run is only 100 m"),
        (Coiled(Winding(0.002, 2)), FLAT, "the innermost would cross the axis"),
        (Coiled(Winding(0.02, 64)), FLAT, "the innermost would cross the axis"),
        (Coiled(Winding(0.3, 10), iron=replace(BAR, diameter=0.29)), FLAT, "does not go through"),
        (
            SplitCoils(Winding(0.3, 9), Winding(0.028, 9), 0.2, iron=BAR),
            FLAT,
            "does not go through",
        ),
        (SplitCoils(Winding(0.3, 9), Winding(0.3, 9), 0.002), FLAT, "overlap"),
        (SplitCoils(Winding(0.3, 9), Winding(0.3, 9), 0.3, "side by side"), FLAT, "overlap"),
        (SplitCoils(Winding(0.3, 9), Winding(0.3, 9), 0.3), TWISTED, "untwist"),
        (Coiled(Winding(0.3, 10), "stacked"), TWISTED, "no flat sides"),
        (FigureOfEight(0.3, 0.3, 4, "stacked"), TWISTED, "no flat sides"),
        (FigureOfEight(0.005, 0.3, 4, "stacked"), FLAT, "too small"),
    ],
)
def test_geometry_that_cannot_be_is_refused(lay: Lay, cable: LaidCable, says: str) -> None:
    with pytest.raises(ValueError, match=says):
        added_impedance(lay, cable, 100.0, AUDIO)


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda: Winding(0.0, 3), "mean diameter must be above zero"),
        (lambda: Winding(math.nan, 3), "mean diameter must be above zero"),
        (lambda: Winding(0.3, 0.5), "1 turn or more"),
        (lambda: Winding(0.3, 3, "heaped"), "packing must be one of"),
        (lambda: Winding(0.3, 3, width=-1.0), "width must be above zero"),
        (lambda: Coiled(Winding(0.3, 3), "upside down"), "facing must be one of"),
        (lambda: SplitCoils(SMALL, SMALL, -0.1), "distance must be 0 or more"),
        (lambda: SplitCoils(SMALL, SMALL, 0.1, "stacked"), "arrangement must be one of"),
        (lambda: SplitCoils(SMALL, SMALL, 0.1, "coaxial", "up"), "sense must be one of"),
        (lambda: FigureOfEight(0.3, 0.0, 3), "lobe width must be above zero"),
        (lambda: FigureOfEight(0.3, 0.3, 0), "1 figure or more"),
        (lambda: LaidCable(wire(1e-3), 3e-3, 1.9e-3), "cannot hold a conductor"),
        (lambda: LaidCable(wire(1e-3), 2.5e-3, 3e-3), "cannot lie"),
        (lambda: LaidCable(wire(1e-3), 3e-3, 3e-3, -1.0), "sheath"),
        (lambda: LaidCable(wire(1e-3), 3e-3, 3e-3, lay_length=8e-3), "too short"),
        (lambda: on_reel(0.2, 0.001, 20.0, FLAT), "cannot take a cable"),
        (lambda: added_impedance(Straight(), FLAT, 0.0, AUDIO), "length must be above zero"),
        (lambda: added_impedance(Straight(), FLAT, 1.0, -AUDIO), "0 Hz or above"),
    ],
)
def test_values_that_cannot_be_are_refused(make, says: str) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(ValueError, match=says):
        make()
