"""Trees with transformers and many loudspeakers, drawn at random: node equations and laws."""

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
from auralize.circuit.loudspeaker import Driver, Load, Resistor
from auralize.circuit.network import Amplifier, Connected, Contact, Network, Placed, Run
from auralize.circuit.solution import solve, source_impedance
from auralize.circuit.transformer import Transformer
from support.trees import EIGHT, FREQUENCY, TAP, WITH_DC, straight

lawful = settings(
    derandomize=True,
    database=None,
    deadline=None,
    max_examples=50,
    suppress_health_check=[HealthCheck.too_slow],
)


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
