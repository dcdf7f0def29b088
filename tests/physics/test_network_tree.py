"""Trees with joints, transformers, faults and many loudspeakers: node equations, laws and limits."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from scipy.linalg import expm

from auralize.circuit.cable import Dielectric, MeasuredCable
from auralize.circuit.conductor import Complex, Real
from auralize.circuit.crossover import Capacitor, Coil, Crossover, Ladder, Rung
from auralize.circuit.loudspeaker import Driver, Load, Open, Resistor, Short, Vent
from auralize.circuit.network import Amplifier, Connected, Contact, Network, Placed, Run
from auralize.circuit.solution import solve, source_impedance
from auralize.circuit.transformer import Transformer, make_line_transformer

lawful = settings(
    derandomize=True,
    database=None,
    deadline=None,
    max_examples=50,
    suppress_health_check=[HealthCheck.too_slow],
)

FREQUENCY = np.array([1.0, 20.0, 55.0, 300.0, 1e3, 4e3, 10e3, 20e3, 48e3, 100e3])
WITH_DC = np.concatenate([[0.0], FREQUENCY])


def between(low: float, high: float) -> st.SearchStrategy[float]:
    return st.floats(low, high, allow_subnormal=False)


cables = st.builds(
    MeasuredCable,
    between(1e-3, 0.1),
    between(0.3e-6, 1.5e-6),
    st.builds(Dielectric, between(0.0, 300e-12), between(0.0, 0.1)),
)
contacts = st.builds(Contact, st.just(0.0) | between(1e-3, 2.0), st.just(0.0) | between(1e-3, 2.0))
drivers = st.builds(
    Driver, between(2.5, 14.0), between(20.0, 2e3), between(0.8, 12.0), between(0.2, 3.0)
)
two_ways = st.builds(
    lambda low, high, coil, capacitor: Crossover(
        {
            "low": Ladder((Rung("series", Coil(coil, 0.2)),), low),
            "high": Ladder((Rung("series", Capacitor(capacitor)),), high),
        }
    ),
    drivers,
    drivers,
    between(0.2e-3, 3e-3),
    between(2e-6, 50e-6),
)
loads: st.SearchStrategy[Load] = st.builds(Resistor, between(2.0, 100.0)) | drivers | two_ways
transformers = st.builds(
    Transformer,
    between(0.3, 10.0),
    between(0.1, 50.0),
    between(0.01, 1.0),
    between(0.5, 30.0),
    between(0.0, 20e-3),
    between(1e3, 1e5) | st.just(float("inf")),
)


@st.composite
def networks(draw: st.DrawFn, with_transformers: bool = True) -> Network:
    """A tree of up to six runs and two transformers, a loudspeaker at every end and at some joints."""
    runs: dict[str, Run] = {}
    placed: dict[str, Placed] = {}
    for k in range(draw(st.integers(1, 6))):
        feeder = draw(st.sampled_from([None, *runs, *placed]))
        length = draw(between(0.5, 200.0))
        runs[f"run {k}"] = Run(
            draw(cables), length, feeder, near=draw(contacts), far=draw(contacts)
        )
        if with_transformers and len(placed) < 2 and draw(st.booleans()):
            at = draw(st.sampled_from([None, *runs, *placed]))
            placed[f"transformer {k}"] = Placed(draw(transformers), at)
    fed = {part.fed_from for part in (*runs.values(), *placed.values())}
    connected = {
        f"at {n}": Connected(draw(loads), n, draw(contacts), draw(st.booleans()))
        for n in (*runs, *placed)
        if n not in fed or draw(st.booleans())
    }
    amplifier = Amplifier(draw(between(0.01, 1.0)), draw(between(0.0, 5e-6)))
    return Network(amplifier, runs, connected, placed)


# An independent solution: all voltages and currents at once, in one linear system.


def cable_matrices(run: Run, frequency: Real, share: float = 1.0) -> Complex:
    """(V, I) at the near end from those at the far end of part of the cable: exponential of its equations."""
    system = np.zeros((len(frequency), 2, 2), dtype=np.complex128)
    system[:, 0, 1] = run.cable.series(frequency) * run.length * share
    system[:, 1, 0] = run.cable.shunt(frequency) * run.length * share
    return np.asarray(expm(system))


class Tableau:
    """Rows of a linear system over unknown voltages and currents, solved at each frequency."""

    def __init__(self, network: Network, frequency: Real) -> None:
        self.names: dict[tuple[str, ...], int] = {}
        self.rows: list[tuple[list[tuple[tuple[str, ...], Complex]], Complex]] = []
        self.f, self.network = frequency, network
        s = 2j * np.pi * frequency
        one = np.ones_like(s)
        balance: dict[str, list[tuple[tuple[str, ...], Complex]]] = {}
        amplifier = network.amplifier
        at = ("node", "")
        self.row([(at, one), (("source",), amplifier.resistance + s * amplifier.inductance)], one)
        balance[""] = [(("source",), one)]
        for name, run in network.runs.items():
            feeder = ("node", run.fed_from or "")
            v1, v2, i1, i2 = (("run", name, q) for q in ("v1", "v2", "i1", "i2"))
            m = cable_matrices(run, frequency)
            near, far = (c.plus + c.minus for c in (run.near, run.far))
            self.row([(feeder, one), (v1, -one), (i1, -near * one)])
            self.row([(v1, -one), (v2, m[:, 0, 0]), (i2, m[:, 0, 1])])
            self.row([(i1, -one), (v2, m[:, 1, 0]), (i2, m[:, 1, 1])])
            self.row([(v2, one), (("node", name), -one), (i2, -far * one)])
            balance.setdefault(run.fed_from or "", []).append((i1, -one))
            balance.setdefault(name, []).append((i2, one))
        for name, placed in network.transformers.items():
            t = placed.transformer
            feeder = ("node", placed.fed_from or "")
            core, i1, im, i2 = (("turns", name, q) for q in ("core", "i1", "im", "i2"))
            self.row(
                [
                    (feeder, one),
                    (core, -one),
                    (i1, -(t.primary_resistance + s * t.leakage_inductance)),
                ]
            )
            self.row([(core, one), (im, -s * t.primary_inductance)])
            self.row(  # what the core takes, magnetising current and turned current make up i1
                [(i1, one), (im, -one), (core, -one / t.core_resistance), (i2, -one / t.ratio)]
            )
            self.row(
                [
                    (core, one / t.ratio),
                    (("node", name), -one),
                    (i2, -t.secondary_resistance * one),
                ]
            )
            balance.setdefault(placed.fed_from or "", []).append((i1, -one))
            balance.setdefault(name, []).append((i2, one))
        for name, c in network.loads.items():
            v, i = ("load", name, "v"), ("load", name, "i")
            self.row(
                [
                    (("node", c.at or ""), one),
                    (v, -one),
                    (i, -(c.contact.plus + c.contact.minus) * one),
                ]
            )
            self.row([(i, one), (v, -c.load.admittance(frequency))])
            balance.setdefault(c.at or "", []).append((i, -one))
        for terms in balance.values():
            self.row(terms)
        system = np.zeros((len(frequency), len(self.rows), len(self.names)), dtype=np.complex128)
        right = np.zeros((len(frequency), len(self.rows), 1), dtype=np.complex128)
        for k, (terms, value) in enumerate(self.rows):
            right[:, k, 0] = value
            for name, factor in terms:
                system[:, k, self.names[name]] += factor
        self.found = np.linalg.solve(system, right)[..., 0]

    def row(
        self, terms: list[tuple[tuple[str, ...], Complex]], value: Complex | float = 0.0
    ) -> None:
        for name, _ in terms:
            self.names.setdefault(name, len(self.names))
        self.rows.append((terms, np.asarray(value)))

    def __getitem__(self, name: tuple[str, ...]) -> Complex:
        return self.found[:, self.names[name]]

    def burnt(self) -> dict[str, Real]:
        """Heat by what makes it: |I|^2 R and |V|^2 G, along cables by Gauss points."""
        heat: dict[str, Real] = {}
        points, weights = np.polynomial.legendre.leggauss(12)
        for name, run in self.network.runs.items():
            v2, i1, i2 = (self["run", name, q] for q in ("v2", "i1", "i2"))
            heat[f"{name} joints"] = np.abs(i1) ** 2 * (run.near.plus + run.near.minus) + np.abs(
                i2
            ) ** 2 * (run.far.plus + run.far.minus)
            z, y = run.cable.series(self.f).real, run.cable.shunt(self.f).real
            heat[name] = np.zeros(len(self.f))
            for x, w in zip(points, weights, strict=True):
                m = cable_matrices(run, self.f, (1.0 + x) / 2.0)
                v = m[:, 0, 0] * v2 + m[:, 0, 1] * i2
                i = m[:, 1, 0] * v2 + m[:, 1, 1] * i2
                heat[name] += w * run.length / 2.0 * (np.abs(i) ** 2 * z + np.abs(v) ** 2 * y)
        for name, placed in self.network.transformers.items():
            t = placed.transformer
            core, i1, i2 = (self["turns", name, q] for q in ("core", "i1", "i2"))
            heat[name] = (
                np.abs(i1) ** 2 * t.primary_resistance
                + np.abs(core) ** 2 / t.core_resistance
                + np.abs(i2) ** 2 * t.secondary_resistance
            )
        for name, c in self.network.loads.items():
            current = np.abs(self["load", name, "i"]) ** 2
            heat[f"{name} contact"] = current * (c.contact.plus + c.contact.minus)
            heat[f"{name} load"] = current * c.load.impedance(self.f).real
        return heat


def agree(found: Complex | Real, expected: Complex | Real, rel: float, whole: Real) -> None:
    """Within ``rel`` of the value, or of a millionth of the whole where the value is next to nothing."""
    np.testing.assert_array_less(
        np.abs(found - expected), rel * (np.abs(expected) + 1e-6 * np.abs(whole)) + 1e-300
    )


@lawful
@given(networks())
def test_solution_and_powers_are_those_of_the_whole_linear_system(network: Network) -> None:
    solution, tableau = solve(network, FREQUENCY), Tableau(network, FREQUENCY)
    agree(solution.sending, tableau["node", ""], 1e-9, np.ones(1))
    agree(solution.sent_current, tableau["source",], 1e-9, np.ones(1))
    for name in network.loads:
        agree(solution.receiving[name], tableau["load", name, "v"], 1e-8, solution.sending)
        agree(solution.current[name], tableau["load", name, "i"], 1e-8, solution.sent_current)
    burnt = tableau.burnt()
    drawn = solution.input_power
    for name in network.runs:
        agree(solution.run_power(name), burnt[name], 1e-7, drawn)
        agree(solution.joint_power(name), burnt[f"{name} joints"], 1e-8, drawn)
    for name in network.transformers:
        agree(solution.transformer_power(name), burnt[name], 1e-7, drawn)
    for name in network.loads:
        agree(solution.contact_power(name), burnt[f"{name} contact"], 1e-8, drawn)
        agree(solution.load_power[name], burnt[f"{name} load"], 1e-8, drawn)
    # Conservation, against heat that was summed from the parts.
    np.testing.assert_allclose(drawn, np.sum(list(burnt.values()), axis=0), rtol=1e-9)


@lawful
@given(networks())
def test_any_tree_is_passive_at_any_frequency(network: Network) -> None:
    solution = solve(network, WITH_DC)
    drawn = solution.input_power
    nothing = -1e-12 * np.abs(drawn)
    for powers in (
        *solution.load_power.values(),
        *(solution.run_power(n) for n in network.runs),
        *(solution.transformer_power(n) for n in network.transformers),
    ):
        assert np.isfinite(powers).all()
        assert (powers >= nothing).all()
    assert (drawn > 0.0).all()
    assert (solution.presented.real > 0.0).all()


@lawful
@given(networks(with_transformers=False), st.data())
def test_amplifier_and_loudspeaker_may_change_places(network: Network, data: st.DataObject) -> None:
    """Reciprocity: the current at one end from a source at the other is the same both ways round."""
    far = data.draw(st.sampled_from(sorted(network.loads)))
    end = network.loads[far]
    ohm = data.draw(between(1.0, 20.0))
    there_loads = dict(network.loads) | {far: replace(end, load=Resistor(ohm))}
    there = replace(network, amplifier=Amplifier(0.3), loads=there_loads)

    # The same tree, hung up at the loudspeaker: the runs on the way are turned round.
    way = network.path(far)
    runs = dict(network.runs)
    onwards: str | None = None
    moved: dict[str | None, str | None] = {end.at: None}
    for name in reversed(way):
        run = network.runs[name]
        runs[name] = replace(run, fed_from=onwards, near=run.far, far=run.near)
        onwards = name
        moved[run.fed_from] = name  # what hung at its near end hangs at its far end now
    for name, run in network.runs.items():
        if name not in way and run.fed_from in moved:
            runs[name] = replace(run, fed_from=moved[run.fed_from])
    loads_back = {
        n: replace(c, at=moved[c.at]) if c.at in moved else c
        for n, c in network.loads.items()
        if n != far
    }
    loads_back[far] = Connected(Resistor(0.3), onwards)
    back = Network(Amplifier(ohm + end.contact.both), runs, loads_back)
    one, other = solve(there, FREQUENCY), solve(back, FREQUENCY)
    np.testing.assert_allclose(one.current[far], other.current[far], rtol=1e-9)


@lawful
@given(networks())
def test_source_impedance_is_that_of_two_different_loads(network: Network) -> None:
    """From voltages on two resistors in a loudspeaker's place: Thevenin's source, contact and all."""
    for name, connected in network.loads.items():
        voltage = {}
        for ohm in (3.0, 70.0):
            swapped = dict(network.loads) | {name: replace(connected, load=Resistor(ohm))}
            voltage[ohm] = solve(replace(network, loads=swapped), FREQUENCY).receiving[name]
        one, other = voltage[3.0], voltage[70.0]
        expected = (other - one) / (one / 3.0 - other / 70.0)
        found = source_impedance(network, name, FREQUENCY)
        np.testing.assert_allclose(found, expected, rtol=1e-7)


def straight(length: float = 30.0, fed_from: str | None = None, **joints: Contact) -> Run:
    cable = MeasuredCable(14.8e-3, 0.65e-6, Dielectric(60e-12))
    return Run(cable, length, fed_from, **joints)


WOOFER = Driver(5.6, 38.0, 4.2, 0.42, 0.5e-3, 0.02, 1.5, vent=Vent(45.0, 7.0))
EIGHT = Resistor(8.0)


def single(run: Run, load: Load = EIGHT, **connected: object) -> Network:
    at = Connected(load, "run", **connected)  # type: ignore[arg-type]
    return Network(Amplifier(0.05), {"run": run}, {"load": at})


# Joints and legs.


def test_a_joint_is_a_resistor_in_the_loop() -> None:
    """At 0 Hz by hand: 0.05 + 0.3 + 30 m of 14.8 mohm/m + 0.2 + 0.1 into 8 ohm."""
    run = straight(near=Contact(0.3, 0.0), far=Contact(0.0, 0.2))
    solution = solve(single(run, contact=Contact(0.04, 0.06)), [0.0])
    loop = 0.05 + 0.3 + 30.0 * 14.8e-3 + 0.2 + 0.1
    assert solution.receiving["load"][0] == pytest.approx(8.0 / (8.0 + loop), rel=1e-12)
    assert solution.sending[0] == pytest.approx(1.0 - 0.05 / (8.0 + loop), rel=1e-12)
    seen = source_impedance(single(run, contact=Contact(0.04, 0.06)), "load", [0.0])
    assert seen[0] == pytest.approx(loop, rel=1e-12)


def test_each_leg_drops_what_is_in_it() -> None:
    """A bad joint in one leg: the whole of it drops there, and half of the cable in each."""
    run = straight(far=Contact(plus=0.5))
    solution = solve(single(run, WOOFER), WITH_DC)
    plus, minus = (solution.leg_drop("load", leg) for leg in ("plus", "minus"))  # type: ignore[arg-type]
    over_joint = 0.5 * solution.current["load"]
    np.testing.assert_allclose(plus - minus, over_joint, rtol=1e-10)
    np.testing.assert_allclose(plus + minus, solution.drop("load"), rtol=1e-12)
    assert plus[0].real > 2.0 * minus[0].real
    with pytest.raises(ValueError, match="differ: ask for the drop over plus or over minus"):
        solution.drop("load", 1)


def test_legs_are_halves_where_both_conductors_are_equal() -> None:
    solution = solve(single(straight(near=Contact(0.1, 0.1)), WOOFER), WITH_DC)
    for leg in ("plus", "minus"):
        half = solution.leg_drop("load", leg)  # type: ignore[arg-type]
        np.testing.assert_allclose(half, solution.drop("load", 1), rtol=1e-12)


def test_joints_cannot_be_below_zero() -> None:
    with pytest.raises(ValueError, match="joint cannot be below zero"):
        Contact(-0.1)


# Faults.


def pair_of(west: Load, east: Load, **connected: object) -> Network:
    return Network(
        Amplifier(0.05),
        {"trunk": straight(), "west": straight(5.0, "trunk"), "east": straight(9.0, "trunk")},
        {"west": Connected(west, "west"), "east": Connected(east, "east", **connected)},  # type: ignore[arg-type]
    )


def test_reversed_polarity_is_flagged_and_changes_no_voltage() -> None:
    right, wrong = (
        solve(pair_of(WOOFER, WOOFER), WITH_DC),
        solve(pair_of(WOOFER, WOOFER, reversed=True), WITH_DC),
    )
    np.testing.assert_array_equal(wrong.receiving["east"], right.receiving["east"])
    assert (right.polarity("east"), wrong.polarity("east"), wrong.polarity("west")) == (1, -1, 1)


def test_an_open_branch_is_as_if_it_were_not_there() -> None:
    """Where its cable has no capacitance: nothing flows, and nothing drops."""
    tight = MeasuredCable(14.8e-3, 0.65e-6, Dielectric(0.0))
    whole = pair_of(WOOFER, Open())
    runs = {name: replace(run, cable=tight) for name, run in whole.runs.items()}
    broken = solve(replace(whole, runs=runs), WITH_DC)
    del runs["east"]
    alone = Network(Amplifier(0.05), runs, {"west": Connected(WOOFER, "west")})
    np.testing.assert_allclose(
        broken.receiving["west"], solve(alone, WITH_DC).receiving["west"], rtol=1e-12
    )
    assert not broken.current["east"].any()
    assert not broken.load_power["east"].any()
    np.testing.assert_allclose(
        broken.receiving["east"], broken.flows["trunk"].far_voltage, rtol=1e-12
    )


def test_a_shorted_branch_takes_the_voltage_and_loads_the_amplifier() -> None:
    """At 0 Hz by hand: the amplifier sees trunk and branch, and their other branch in parallel."""
    solution = solve(pair_of(EIGHT, Short()), WITH_DC)
    assert not solution.receiving["east"].any()
    ohm = 14.8e-3
    beside = 1.0 / (1.0 / (9.0 * ohm) + 1.0 / (8.0 + 5.0 * ohm))
    assert solution.presented[0] == pytest.approx(30.0 * ohm + beside, rel=1e-12)
    through = solution.flows["trunk"].far_voltage / (9.0 * ohm)
    assert solution.current["east"][0] == pytest.approx(through[0], rel=1e-12)
    np.testing.assert_array_equal(solution.load_power["east"], 0.0)


def test_a_short_at_a_joint_silences_all_that_hangs_there() -> None:
    """Exactly, and its current is all there is; two shorts in one place share it."""
    network = Network(
        Amplifier(0.05),
        {"run": straight()},
        {
            "load": Connected(EIGHT, "run"),
            "one": Connected(Short(), "run"),
            "two": Connected(Short(), "run"),
        },
    )
    solution = solve(network, [0.0])
    assert solution.receiving["load"][0] == solution.current["load"][0] == 0.0
    expected = 1.0 / (0.05 + 30.0 * 14.8e-3)
    assert solution.current["one"][0] == pytest.approx(expected / 2.0, rel=1e-12)
    assert solution.current["two"][0] == pytest.approx(expected / 2.0, rel=1e-12)


def test_an_ideal_amplifier_cannot_feed_a_short() -> None:
    network = Network(Amplifier(0.0), {}, {"load": Connected(Short(), None)})
    with pytest.raises(ValueError, match="without output resistance feeds a short circuit at 0 Hz"):
        solve(network, WITH_DC)


def test_capacitors_alone_draw_nothing_at_dc() -> None:
    solution = solve(single(straight(), Capacitor(10e-6)), WITH_DC)
    assert solution.receiving["load"][0] == solution.sending[0] == 1.0
    assert solution.drop("load")[0] == 0.0
    assert solution.cable_share()[0] == 0.0
    assert np.isposinf(solution.presented[0].real)
    assert (solution.cable_share()[1:] > 0.0).all()


# Transformers in a tree.

TAP = make_line_transformer(100.0, 10.0, 8.0, insertion_loss=1.0, low_frequency=20.0)


def test_what_arrives_is_referred_to_the_turns() -> None:
    """A loss of 1 dB at middle frequencies on a stiff line, relative to sqrt(P Z) / V of the sending end."""
    network = Network(
        Amplifier(0.0), {}, {"load": Connected(EIGHT, "tap")}, {"tap": Placed(TAP, None)}
    )
    solution = solve(network, [0.0, 1e5])
    assert network.ratio("load") == pytest.approx(np.sqrt(80.0) / 100.0, rel=1e-12)
    arrived = np.abs(solution.receiving["load"][1] / solution.reference("load")[1])
    assert 20.0 * np.log10(arrived) == pytest.approx(-1.0, abs=1e-6)
    assert solution.receiving["load"][0] == 0.0
    np.testing.assert_allclose(
        solution.drop("load") + solution.receiving["load"], solution.reference("load"), rtol=1e-15
    )


def test_no_conductor_runs_through_a_transformer() -> None:
    network = Network(
        Amplifier(0.05),
        {"line": straight()},
        {"load": Connected(EIGHT, "tap")},
        {"tap": Placed(TAP, "line")},
    )
    assert network.way("load") == ["line", "tap"]
    assert network.path("load") == ["line"]
    solution = solve(network, [1e3])
    for ask in (lambda: solution.drop("load", 1), lambda: solution.leg_drop("load", "plus")):
        with pytest.raises(ValueError, match="transformer on the way to 'load'"):
            ask()
    share = solution.cable_share() + solution.transformer_power("tap") / solution.input_power
    arrived = solution.load_power["load"] / solution.input_power
    np.testing.assert_allclose(share + arrived, 1.0, rtol=1e-12)


def test_trees_that_are_none_are_refused() -> None:
    load = {"load": Connected(EIGHT, "line")}
    with pytest.raises(ValueError, match="names both a run and a transformer"):
        Network(Amplifier(0.0), {"line": straight()}, load, {"line": Placed(TAP)})
    with pytest.raises(ValueError, match="transformer 'tap' is fed from 'b', which is no run"):
        Network(Amplifier(0.0), {"line": straight()}, load, {"tap": Placed(TAP, "b")})
    with pytest.raises(ValueError, match="in a circle"):
        Network(
            Amplifier(0.0),
            {"line": straight(1.0, "tap")},
            load,
            {"tap": Placed(TAP, "line")},
        )
