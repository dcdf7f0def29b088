"""What the lay adds: conductors coiled together and each by itself, against brute force."""

from __future__ import annotations

import math
from dataclasses import replace

import mpmath
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from auralize.circuit import coil, paths
from auralize.circuit.added_impedance import added_range
from auralize.circuit.coil import GMR_ROUND, Turns, Winding, pack
from auralize.circuit.coiled import turns_of
from auralize.circuit.conductor import Real
from auralize.circuit.lays import Coiled, SplitCoils, Straight
from auralize.circuit.ring_sums import flux_of_all
from auralize.circuit.split_coils import split_turns
from support import ring_reference as reference
from support.lays import (
    FLAT,
    SMALL,
    TWISTED,
    VERY_LOW,
    added,
    alone,
    inductance_alone,
    straight,
)

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
        assert inductance_alone(arranged, FLAT.spacing) == pytest.approx(exact, rel=1e-9)
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
        loop = paths.path_inductance(curves, [1.0, -1.0], gmr).sum()
        loops.append(loop / (2.0 * math.pi * radius * turns))
    stretch = math.hypot(1.0, math.pi * TWISTED.spacing / TWISTED.lay_length)
    expected = stretch * straight(TWISTED) + added(Straight(), TWISTED, 1.0)
    assert np.mean(loops) == pytest.approx(expected, rel=0.01)

    radius = 12.0 * TWISTED.lay_length / (2.0 * math.pi)
    winding = Winding(2 * radius, turns, width=turns * TWISTED.width)
    span = added_range(Coiled(winding), TWISTED, winding.length, np.array([VERY_LOW]))
    rise = (span.high["both"] - span.nominal).sum(axis=0).imag / (
        2.0 * math.pi * VERY_LOW * winding.length
    )
    assert rise[0] == pytest.approx(loops[0] - np.mean(loops), rel=0.15)


# ---- each conductor by itself -------------------------------------------------------------------

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


def between(a: Turns, b: Turns) -> float:
    """Mutual inductance of two coils on one axis, from the flux of both through one."""
    both = Turns(*(np.append(getattr(a, n), getattr(b, n)) for n in ("radius", "place", "share")))
    through = [flux_of_all(alone(rings))[: len(a.share)] for rings in (both, a)]
    return float(a.share @ (through[0] - through[1]))


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
        mutual, back = between(a, b), between(b, a)
    gmr = GMR_ROUND * FLAT.conductor.radius
    product = inductance_alone(a, gmr) * inductance_alone(b, gmr)
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
