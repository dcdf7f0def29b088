"""What each of the two conductors keeps, against rings, helices, whole sections and closed forms.

All by the one convention: a conductor's own flux less what the other's current sends through it.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest

from auralize.circuit.added_impedance import added_by_conductor, added_range
from auralize.circuit.cable import (
    CoaxialCable,
    Dielectric,
    FourCoreCable,
    MeasuredCable,
    PairCable,
    SolvedCable,
    ThreeCoreCable,
)
from auralize.circuit.coil import Winding, pack
from auralize.circuit.coiled import sizes, turns_of
from auralize.circuit.conductor import Complex, Conductor, Real
from auralize.circuit.figure_of_eight import eight_paths
from auralize.circuit.iron import IronBar
from auralize.circuit.lays import (
    Coiled,
    Facing,
    FigureOfEight,
    LaidCable,
    Lay,
    SplitCoils,
    Straight,
)
from auralize.circuit.network import Amplifier, Connected, Contact, Network, Run
from auralize.circuit.pair import impedance_matrix, pair_impedance
from auralize.circuit.solution import solve
from auralize.circuit.split_coils import split_turns
from support import ring_reference as reference
from support.lays import COPPER, FLAT, TWISTED, VERY_LOW, straight, wire
from support.trees import EIGHT

MU_0 = 4e-7 * math.pi
LOW = np.array([VERY_LOW])
EDDY = np.array([100.0, 1e3, 5e3, 1e4, 2e4])
TWIN = LaidCable(wire(1e-3), spacing=3.65e-3, core_diameter=3.65e-3)
BAR = IronBar(0.02, 0.15, 6e6, 200.0)
WITHIN = 0.01
"""Of what a straight conductor has, or of what the conductor keeps where that is more."""


def along(lay: Lay, cable: LaidCable, wound: float) -> Real:
    """H along plus and minus at low frequency, the straight share of ``wound`` m included."""
    added = added_by_conductor(lay, cable, 1e3, LOW)[:, 0].imag / (2.0 * math.pi * VERY_LOW)
    return np.asarray(added + 0.5 * straight(cable) * wound)


def close(found: Real, expected: Real, share: float) -> None:
    assert (np.abs(found - expected) <= WITHIN * np.maximum(np.abs(expected), share)).all()


# ---- both coiled together, one facing throughout ------------------------------------------------


@pytest.mark.parametrize(("count", "radius"), [(8, 0.05), (32, 0.15), (20, 0.5)])
@pytest.mark.parametrize("columns", [2, 8])
@pytest.mark.parametrize("facing", ["aligned", "plus inside", "minus inside"])
def test_a_flat_twin_is_the_sum_of_its_rings(
    count: int, radius: float, columns: int, facing: Facing
) -> None:
    """Every ring placed here by hand, from the inside row by row."""
    s = TWIN.spacing
    wide, high = 2.0 * s, s
    inside = {"plus inside": 1.0, "minus inside": -1.0}.get(facing, 0.0)
    if inside:
        wide, high = high, wide
    row, column = np.divmod(np.arange(count), columns)
    r, z = radius + (row - row.mean()) * high, column * wide
    up, sideways = 0.5 * s * inside, 0.0 if inside else 0.5 * s
    turns = reference.along_turns(
        np.append(r - up, r + up),
        np.append(z - sideways, z + sideways),
        np.repeat([1.0, -1.0], count),
        TWIN.conductor.radius,
    )
    winding = Winding(2.0 * radius, count, "square", width=columns * wide)
    found = along(Coiled(winding, facing), TWIN, winding.length)
    expected = turns.reshape(2, count).sum(axis=1)
    share = 0.5 * straight(TWIN) * winding.length
    close(found, expected, share)
    if inside and count == 32:
        assert abs(expected[1] - expected[0]) > 0.5 * share


@pytest.mark.parametrize("facing", ["edge to edge", "stacked"])
def test_one_layer_and_one_pile_have_half_in_each(facing: Facing) -> None:
    """By their mirror symmetry; the sum over the loop is checked elsewhere."""
    winding = Winding(0.3, 12)
    found = along(Coiled(winding, facing), TWIN, winding.length)
    assert found[0] == pytest.approx(found[1], rel=1e-9)


def test_one_layer_of_inner_and_outer_helices() -> None:
    """Neumann's integral along both helices: turns that close on themselves are 1 % from it."""
    radius, turns, s = 0.1, 12, TWIN.spacing
    curves = []
    for inwards in (0.5 * s, -0.5 * s):
        angle = np.linspace(0.0, 2.0 * np.pi * turns, 8001)
        r = radius - inwards
        curve = np.stack([r * np.cos(angle), r * np.sin(angle), s * angle / (2.0 * np.pi)])
        curves.append(reference.evenly(curve.T, 3000))
    gmr = TWIN.conductor.radius * math.exp(-0.25)
    expected = reference.along_paths(curves, [1.0, -1.0], gmr)
    winding = Winding(2.0 * radius, turns, "square", width=turns * s)
    found = along(Coiled(winding, "plus inside"), TWIN, winding.length)
    close(found, expected, 0.5 * straight(TWIN) * winding.length)
    assert expected[1] > 1.5 * expected[0]


def test_minus_inside_is_plus_inside_with_the_conductors_swapped() -> None:
    plus, minus = (
        added_by_conductor(Coiled(Winding(0.3, 30), facing), TWIN, 1e3, EDDY)
        for facing in ("plus inside", "minus inside")
    )
    np.testing.assert_allclose(plus[::-1], minus, rtol=1e-9)


def test_the_range_of_a_coil_of_which_nothing_is_known() -> None:
    """32 turns of 30 cm: in one to three layers with one conductor inside throughout, it keeps 0.5 to
    1.05 of its straight share and the other 2.3 to 2.5; in wider rows the inner less than half. The
    rendered value is the straight one, by symmetry, and the range over either conductor holds all."""
    winding = Winding(0.3, 32)
    share = 0.5 * straight(TWIN) * winding.length
    inner, outer = [], []
    for columns in (11, 16, 32):
        packed = Winding(0.3, 32, "square", width=columns * TWIN.thickness)
        low, high = along(Coiled(packed, "plus inside"), TWIN, winding.length) / share
        inner.append(low)
        outer.append(high)
    assert 0.5 < min(inner) < 0.6 < 1.0 < max(inner) < 1.06
    assert 2.3 < min(outer) < max(outer) < 2.5

    span = added_range(Coiled(winding), TWIN, winding.length, LOW)
    times = {
        (across, name): 1.0 + getattr(span, name)[across][k, 0].imag / (2e-3 * math.pi * share)
        for k, across in enumerate(("plus", "minus"))
        for name in ("low", "high")
    }
    nominal = 1.0 + span.nominal[:, 0].imag / (2e-3 * math.pi * share)
    np.testing.assert_allclose(nominal, 1.0, atol=0.01)
    assert times["plus", "low"] == pytest.approx(times["minus", "low"], rel=1e-9)
    assert times["plus", "low"] <= min(inner)
    assert times["plus", "high"] >= max(outer) - 1e-9


def test_columns_that_are_not_given_are_open() -> None:
    """16 aligned turns of 30 cm: three to a row as rendered, and between two and six."""
    lay = Coiled(Winding(0.3, 16), "aligned")
    assert len(np.unique(np.round(turns_of(lay, TWIN).place, 6))) == 3
    span = added_range(lay, TWIN, lay.winding.length, LOW)
    low, nominal, high = (
        float(z.sum(axis=0)[0].imag) for z in (span.low["both"], span.nominal, span.high["both"])
    )
    for columns in (2, 6):
        given = Coiled(Winding(0.3, 16, width=columns * TWIN.width), "aligned")
        z = added_by_conductor(given, TWIN, lay.winding.length, LOW)
        assert low <= float(z.sum(axis=0)[0].imag) <= high
    assert low < 0.9 * nominal
    assert high > 1.3 * nominal


def test_a_coiled_twisted_pair_has_half_in_each() -> None:
    """Followed in three dimensions, mean over twist phases a quarter apart: 2 %."""
    assert TWISTED.lay_length is not None
    halves = []
    for quarter in range(4):
        radius = (12.0 + quarter / 4.0) * TWISTED.lay_length / (2.0 * math.pi)
        length = 2.0 * math.pi * radius * 4
        x = np.linspace(0.0, length, round(length / TWISTED.lay_length * 60) + 1)
        angle, twist = x / radius, 2.0 * np.pi * x / TWISTED.lay_length
        curves = []
        for half in (0.5 * TWISTED.spacing, -0.5 * TWISTED.spacing):
            r = radius + half * np.cos(twist)
            z = TWISTED.width * angle / (2.0 * np.pi) + half * np.sin(twist)
            curve = np.stack([r * np.cos(angle), r * np.sin(angle), z], axis=-1)
            curves.append(reference.evenly(curve, 1500))
        gmr = TWISTED.conductor.radius * math.exp(-0.25)
        found = reference.along_paths(curves, [1.0, -1.0], gmr)
        halves.append(found[0] / found.sum())
    assert np.mean(halves) == pytest.approx(0.5, abs=0.01)
    z = added_by_conductor(Coiled(Winding(0.3, 12)), TWISTED, 100.0, EDDY)
    np.testing.assert_allclose(z[0], z[1], rtol=1e-12)


# ---- each by itself, eights, iron ---------------------------------------------------------------


@pytest.mark.parametrize("sense", ["same", "opposed"])
@pytest.mark.parametrize("arrangement", ["coaxial", "side by side"])
def test_split_coils_of_unlike_sizes(arrangement: str, sense: str) -> None:
    first, second = Winding(0.2, 9), Winding(0.3, 25)
    lay = SplitCoils(first, second, 0.4, arrangement, sense)  # type: ignore[arg-type]
    a, b = split_turns(lay, FLAT)
    coils = [
        reference.coil(t.radius, t.place, np.ones(len(t.radius)), FLAT.conductor.radius)
        for t in (a, b)
    ]
    if arrangement == "coaxial":
        mutual = reference.rings(a.radius[:, None], a.place[:, None], b.radius, b.place).sum()
    else:
        mutual = reference.circles_beside(a.radius, a.place, b.radius, b.place, 0.4)
    expected = np.array(coils) + (mutual if sense == "same" else -mutual)
    added = added_by_conductor(lay, FLAT, 1e3, LOW)[:, 0].imag / (2.0 * math.pi * VERY_LOW)
    wound = np.array([first.length, second.length])
    np.testing.assert_allclose(added + 0.5 * straight(FLAT) * wound, expected, rtol=WITHIN)


@pytest.mark.parametrize("facing", ["stacked", "edge to edge"])
def test_figure_of_eight(facing: str) -> None:
    lay = FigureOfEight(0.3, 0.25, 2, facing)  # type: ignore[arg-type]
    curves = [reference.evenly(curve, 2000) for curve in eight_paths(lay, FLAT, 20000)]
    expected = reference.along_paths(curves, [1.0, -1.0], FLAT.conductor.radius * math.exp(-0.25))
    wound = sum(float(np.linalg.norm(np.diff(c, axis=0), axis=1).sum()) for c in curves) / 2.0
    np.testing.assert_allclose(along(lay, FLAT, wound), expected, rtol=WITHIN)


def solved(place: Complex, current: Real, plus: int, cable: LaidCable) -> Complex:
    """ohm per metre of a section along its first and its other wires, by multipoles all together."""
    plus_wire, minus_wire = cable.conductors
    wires = [plus_wire] * plus + [minus_wire] * (len(place) - plus)
    each = current * (impedance_matrix(EDDY, list(place), wires) @ current)
    return np.stack([each[:, :plus].sum(axis=1), each[:, plus:].sum(axis=1)])


THICK_AND_THIN = LaidCable(wire(1.2e-3), 3.2e-3, 3.2e-3, minus=wire(0.7e-3))


@pytest.mark.parametrize("cable", [FLAT, THICK_AND_THIN])
@pytest.mark.parametrize("facing", ["plus inside", "aligned", "stacked"])
def test_eddy_currents_in_a_flat_twin(cable: LaidCable, facing: Facing) -> None:
    """A coil so large that its section is plane, against that section solved as a whole."""
    lay = Coiled(Winding(600.0, 12), facing)
    turns = turns_of(lay, cable)
    section = turns.place + 1j * turns.radius
    half = 0.5 * cable.spacing * (1j if facing == "plus inside" else 1.0)
    place = np.append(section - half, section + half)
    whole = solved(place, np.repeat([1.0, -1.0], 12), 12, cable)
    pair = 12.0 * solved(np.array([0.0, cable.spacing]), np.array([1.0, -1.0]), 1, cable)
    found = added_by_conductor(lay, cable, 1e5, EDDY) / (math.pi * 600.0)
    np.testing.assert_allclose((pair + found).real, whole.real, rtol=0.065)
    # The inductance's fall with frequency, as part of the whole.
    fall = (found - np.outer(found[:, 0], EDDY / EDDY[0])).imag
    true_fall = (whole - pair - np.outer((whole - pair)[:, 0], EDDY / EDDY[0])).imag
    np.testing.assert_allclose(fall, true_fall, atol=0.012 * np.abs(whole.imag).max())


def test_eddy_currents_in_split_coils_of_unlike_sizes() -> None:
    lay = SplitCoils(Winding(2.0, 7, "hexagonal"), Winding(2.0, 19, "hexagonal"), 1.0, "coaxial")
    a, b = split_turns(lay, FLAT)
    place = np.append(a.place + 1j * a.radius, b.place + 1j * b.radius)
    current = np.append(a.share, b.share)
    # The section's return is closed by one thin far wire, as the coils' ampere-turns do not cancel.
    far = np.append(place, 200.0 + 0.0j)
    wires = [FLAT.conductor] * len(place) + [wire(1e-4)]
    each = np.append(current, -current.sum())
    voltage = each * (impedance_matrix(EDDY, list(far), wires) @ each)
    whole = np.stack([voltage[:, :7].sum(axis=1), voltage[:, 7:-1].sum(axis=1)]).real
    pair = np.array([[7.0], [19.0]]) * 0.5 * pair_impedance(EDDY, FLAT.spacing, FLAT.conductor).real
    found = added_by_conductor(lay, FLAT, 1e3, EDDY).real / (math.pi * 2.0)
    np.testing.assert_allclose(pair + found, whole, rtol=0.01)


@pytest.mark.parametrize("arrangement", ["coaxial", "side by side"])
def test_iron_is_the_share_of_each_conductor_s_own_field(arrangement: str) -> None:
    """What iron adds is a quadratic form Q of both currents: along plus it is
    (Q(1, 1) + Q(1, 0) - Q(0, 1)) / 2, each Q a coil's own loop with one turn where the other is none."""
    bare = SplitCoils(Winding(0.2, 9), Winding(0.2, 5), 0.25, arrangement)  # type: ignore[arg-type]
    with_bar = SplitCoils(bare.first, bare.second, 0.25, arrangement, iron=BAR)  # type: ignore[arg-type]
    found = added_by_conductor(with_bar, FLAT, 100.0, EDDY) - added_by_conductor(
        bare, FLAT, 100.0, EDDY
    )
    assert (np.abs(found[0]) > 2.0 * np.abs(found[1])).all()
    # The other sense turns the sign of the product of both fields, which is all of minus's but its own.
    senses = {}
    for sense in ("same", "opposed"):
        lays = [
            SplitCoils(bare.first, bare.second, 0.25, arrangement, sense, iron)  # type: ignore[arg-type]
            for iron in (BAR, None)
        ]
        one, other = (added_by_conductor(lay, FLAT, 100.0, EDDY) for lay in lays)
        senses[sense] = one - other
    own = 0.5 * (senses["same"] + senses["opposed"])
    shared = 0.5 * (senses["same"] - senses["opposed"])
    np.testing.assert_allclose(shared[0], shared[1], rtol=1e-9)  # reciprocity
    assert (np.abs(shared[0]) ** 2 <= np.abs(own[0]) * np.abs(own[1]) * (1.0 + 1e-6)).all()
    assert (own.real > 0.0).all()


# ---- cables -------------------------------------------------------------------------------------


@pytest.mark.parametrize(("a", "b", "s"), [(1.2e-3, 0.7e-3, 3.0e-3), (0.5e-3, 2e-3, 2.8e-3)])
def test_unlike_conductors(a: float, b: float, s: float) -> None:
    """At low frequency ln(s / g) of each, g = r e^(-1/4); as perfect metal by the images of both: at p
    and q from their centres, p (s - q) = a^2, q (s - p) = b^2, plus has ln(a / p) and minus ln(b / q)."""
    cable = PairCable(wire(a), s, Dielectric(0.0), minus=wire(b))

    def henry(f: float) -> Real:
        return np.asarray(cable.solve(np.array([f]))[:, 0].imag / (2.0 * math.pi * f))

    radii = np.array([a, b])
    expected = MU_0 / (2.0 * math.pi) * (np.log(s / radii) + 0.25)
    np.testing.assert_allclose(henry(1e-2), expected, rtol=1e-9)
    middle = (s**2 + a**2 - b**2) / (2.0 * s)
    p = middle - math.sqrt(middle**2 - a**2)
    q = s - (2.0 * middle - p)
    images = MU_0 / (2.0 * math.pi) * np.log(radii / np.array([p, q]))
    np.testing.assert_allclose(2.0 * henry(100e6) - henry(25e6), images, rtol=1e-4)
    dc = cable.by_conductor(np.zeros(1))[:, 0].real
    np.testing.assert_allclose(dc, COPPER / (math.pi * radii**2), rtol=1e-7)


CORE, INNER, OUTER, SHIELD = Conductor(0.9e-3, 6.8e-3), 2.4e-3, 2.65e-3, 14.1e-3


def test_a_coaxial_shield_keeps_less_and_less() -> None:
    """Its outside: all of its resistance at DC, and |Z| = R u / sqrt(cosh u - cos u), u = 2 t / depth
    (t its thickness), for a thin tube (Schelkunoff 1934; formula from memory)."""
    cable = CoaxialCable(CORE, INNER, OUTER, SHIELD, Dielectric(0.0))
    np.testing.assert_allclose(cable.by_conductor(np.zeros(1))[:, 0], [6.8e-3, 14.1e-3], rtol=1e-7)
    f = np.array([1e4, 1e5, 1e6])
    resistivity = SHIELD * math.pi * (OUTER**2 - INNER**2)
    depth = np.sqrt(resistivity / (np.pi * f * MU_0))
    u = 2.0 * (OUTER - INNER) / depth
    thin = SHIELD * u / np.sqrt(np.cosh(u) - np.cos(u))
    np.testing.assert_allclose(np.abs(cable.by_conductor(f)[1]), thin, rtol=0.01)


@pytest.mark.parametrize("lay_length", [0.05, 0.12])
@pytest.mark.parametrize(
    "make",
    [
        lambda lay: FourCoreCable(wire(1e-3), 3.4e-3, Dielectric(0.0), lay, True),
        lambda lay: FourCoreCable(wire(1e-3), 3.4e-3, Dielectric(0.0), lay, False),
        lambda lay: ThreeCoreCable(wire(1e-3), 3.4e-3, Dielectric(0.0), lay, "minus"),
        lambda lay: ThreeCoreCable(wire(1e-3), 3.4e-3, Dielectric(0.0), lay, "plus"),
    ],
)
def test_cores_in_parallel_as_helices(
    make: Callable[[float], FourCoreCable | ThreeCoreCable], lay_length: float
) -> None:
    """The whole inductance with its twist, by the field of all helices along each: 0.3 %."""
    cable = make(lay_length)
    centres, shares = np.array(cable.centres), np.array(cable.shares)
    each = reference.twisted_cores(
        np.angle(centres), shares, 2.0 * abs(centres[0]), lay_length, 1e-3 * math.exp(-0.25)
    )
    expected = np.array([each[shares > 0.0].sum(), each[shares < 0.0].sum()])
    found = cable.by_conductor(LOW)[:, 0].imag / (2.0 * math.pi * VERY_LOW)
    np.testing.assert_allclose(found, expected, rtol=3e-3)
    untwisted = cable.solve(LOW)[:, 0].imag / (2.0 * math.pi * VERY_LOW)
    assert (expected > 1.003 * untwisted).all()


def test_one_core_doubled() -> None:
    """Two in parallel have half of the resistance, and half of ln(s / g) each way round."""
    cable = ThreeCoreCable(wire(1e-3), 3.4e-3, Dielectric(0.0), 0.12)
    dc = cable.by_conductor(np.zeros(1))[:, 0].real / cable.lengthening
    np.testing.assert_allclose(dc, COPPER / (math.pi * 1e-6) * np.array([1.0, 0.5]), rtol=1e-7)
    log = math.log(3.4 / math.exp(-0.25))
    henry = cable.solve(LOW)[:, 0].imag / (2.0 * math.pi * VERY_LOW)
    np.testing.assert_allclose(henry, 2e-7 * log * np.array([1.0, 0.5]), rtol=1e-6)


# ---- laws ---------------------------------------------------------------------------------------

CABLES: list[SolvedCable] = [
    PairCable(wire(1e-3), 3.2e-3, Dielectric(0.0)),
    PairCable(wire(1.2e-3), 3.2e-3, Dielectric(0.0), minus=wire(0.7e-3)),
    FourCoreCable(wire(1e-3), 3.4e-3, Dielectric(0.0), 0.12, False),
    ThreeCoreCable(wire(1e-3), 3.4e-3, Dielectric(0.0), 0.12),
    CoaxialCable(CORE, INNER, OUTER, SHIELD, Dielectric(0.0)),
]
LAYS: list[Lay] = [
    Coiled(Winding(0.3, 20), "plus inside"),
    Coiled(Winding(0.3, 20), "plus inside", BAR),
    SplitCoils(Winding(0.2, 9), Winding(0.3, 5), 0.4, iron=BAR),
    FigureOfEight(0.3, 0.25, 6, "edge to edge"),
    Straight(),
]


@pytest.mark.parametrize("cable", CABLES)
@pytest.mark.parametrize("lay", LAYS)
def test_both_are_the_loop_and_their_power_is_its_heat(cable: SolvedCable, lay: Lay) -> None:
    """Z_plus + Z_minus = Z_loop to rounding; Re(V I*) of both conductors and joints is the heat."""
    run = Run(
        cable,
        60.0,
        added=lambda f: added_by_conductor(lay, THICK_AND_THIN, 60.0, f),
        near=Contact(0.02, 0.3),
    )
    f = np.array([20.0, 1e3, 1e4])
    np.testing.assert_allclose(run.by_conductor(f).sum(axis=0), run.series(f), rtol=1e-12)
    network = Network(Amplifier(0.05), {"run": run}, {"load": Connected(EIGHT, "run")})
    solution = solve(network, f)
    plus, minus = (solution.drop("load", across) for across in ("plus", "minus"))  # type: ignore[arg-type]
    np.testing.assert_allclose(plus + minus, solution.drop("load"), rtol=1e-12)
    heat = ((plus + minus) * solution.current["load"].conj()).real
    kept = solution.run_power("run") + solution.joint_power("run")
    np.testing.assert_allclose(heat, kept, rtol=1e-9)


def test_a_loop_that_was_measured_cannot_be_split() -> None:
    run = Run(MeasuredCable(0.01, 0.6e-6, Dielectric(0.0)), 30.0)
    network = Network(Amplifier(0.0), {"pond": run}, {"load": Connected(EIGHT, "pond")})
    with pytest.raises(ValueError, match=r"run 'pond': a cable measured as a loop .* describe it"):
        solve(network, [1e3]).drop("load", "plus")


def test_room_of_a_flat_twin_by_its_facing() -> None:
    assert sizes("plus inside", TWIN) == sizes("aligned", TWIN)[::-1]
    assert len(pack(Winding(0.3, 7), 2e-3, 4e-3).radius) == 7
