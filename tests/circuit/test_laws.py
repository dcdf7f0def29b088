"""Laws that hold for any rig, over rigs drawn at random (the same ones each time)."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from auralize.circuit.cable import Cable, Dielectric, MeasuredCable, PairCable, make_pair
from auralize.circuit.conductor import Complex, Conductor, Real
from auralize.circuit.loudspeaker import Driver, Load, Resistor
from auralize.circuit.network import Amplifier, Connected, Network, Run
from auralize.circuit.solution import Solution, solve, source_impedance
from support.random_rigs import (
    AUDIO,
    FREQUENCY,
    between,
    cables,
    chain_matrices,
    close,
    conductors,
    lawful,
    lengths,
    measured_cables,
    single,
)

resistors = st.builds(Resistor, between(2.0, 100.0))
drivers = st.builds(
    Driver,
    between(2.5, 14.0),
    between(20.0, 2e3),
    between(0.8, 12.0),
    between(0.2, 3.0),
    between(0.0, 2e-3),
    st.just(0.0) | between(1e-3, 0.05),
    between(0.0, 6.0),
)
loads: st.SearchStrategy[Load] = resistors | drivers
amplifiers = st.builds(Amplifier, between(0.0, 1.0), between(0.0, 5e-6))


@st.composite
def networks(draw: st.DrawFn) -> Network:
    """A tree of up to three runs and four loudspeakers."""
    runs: dict[str, Run] = {}
    for k in range(draw(st.integers(1, 3))):
        feeder = draw(st.sampled_from([None, *runs]))
        runs[f"run {k}"] = Run(draw(cables), draw(lengths), feeder)
    connected = {f"at {n}": Connected(draw(loads), n) for n in runs}
    if draw(st.booleans()):
        connected["at the amplifier"] = Connected(draw(loads), None)
    return Network(draw(amplifiers), runs, connected)


def nodal(network: Network, frequency: Real) -> dict[str | None, Complex]:
    """Voltage at each node (None: the amplifier's terminals), source voltage 1."""
    nodes: list[str | None] = [None, *network.runs]
    place = {n: k for k, n in enumerate(nodes)}
    size = len(nodes) + 1  # the last unknown is the amplifier's current: it may have no impedance
    system = np.zeros((len(frequency), size, size), dtype=np.complex128)
    for name, run in network.runs.items():
        m = chain_matrices(run, frequency)
        i, k = place[run.fed_from], place[name]
        system[:, i, i] += m[:, 1, 1] / m[:, 0, 1]
        system[:, k, k] += m[:, 0, 0] / m[:, 0, 1]
        system[:, i, k] -= 1.0 / m[:, 0, 1]
        system[:, k, i] -= 1.0 / m[:, 0, 1]
    for connected in network.loads.values():
        k = place[connected.at]
        system[:, k, k] += 1.0 / connected.load.impedance(frequency)
    system[:, 0, -1] = -1.0
    system[:, -1, 0] = 1.0
    omega = 2.0 * np.pi * frequency
    system[:, -1, -1] = network.amplifier.resistance + 1j * omega * network.amplifier.inductance
    source = np.zeros((len(frequency), size, 1), dtype=np.complex128)
    source[:, -1, 0] = 1.0
    voltage = np.linalg.solve(system, source)[..., 0]
    return {n: voltage[:, k] for n, k in place.items()}


@lawful
@given(networks())
def test_solution_is_that_of_the_node_equations(network: Network) -> None:
    solution, voltage = solve(network, FREQUENCY), nodal(network, FREQUENCY)
    close(solution.sending, voltage[None], 1e-9)
    for name, connected in network.loads.items():
        close(solution.receiving[name], voltage[connected.at], 1e-9)


@lawful
@given(networks())
def test_dc_limit_is_the_divider(network: Network) -> None:
    """At 0 Hz only resistances are left, of runs as long as they are, and it is reached smoothly."""
    solution = solve(network, [0.0, 1e-7])  # a semi-inductance goes with the root of f

    def at_dc(load: Load) -> float:
        if isinstance(load, Resistor):
            return load.resistance
        assert isinstance(load, Driver)
        return load.dc_resistance

    def seen(at: str | None) -> float:
        """Conductance of all that hangs at a node."""
        here = sum(1.0 / at_dc(c.load) for c in network.loads.values() if c.at == at)
        onward = (n for n, r in network.runs.items() if r.fed_from == at)
        return here + sum(1.0 / (loop(n) + 1.0 / seen(n)) for n in onward)

    def loop(name: str) -> float:
        run = network.runs[name]
        if isinstance(run.cable, MeasuredCable):
            return run.cable.resistance * run.length
        assert isinstance(run.cable, PairCable)
        return 2.0 * run.cable.conductor.resistance * run.cable.lengthening * run.length

    expected: dict[str | None, float] = {
        None: 1.0 / (1.0 + network.amplifier.resistance * seen(None))
    }
    for name, run in network.runs.items():  # each comes after the one that feeds it
        expected[name] = expected[run.fed_from] / (1.0 + loop(name) * seen(name))
    for name, connected in network.loads.items():
        # Pair cables are tabled: R at 0 Hz is good to 1e-7.
        found = solution.receiving[name]
        assert found[0] == pytest.approx(expected[connected.at], rel=1e-7)
        assert found[0].imag == 0.0
        assert found[1] == pytest.approx(found[0], rel=1e-3)


@lawful
@given(networks())
def test_passive(network: Network) -> None:
    """No load gives power, and the runs only take it."""
    solution = solve(network, FREQUENCY)
    for power in solution.load_power.values():
        assert (power > 0.0).all()
    share = solution.cable_share()
    assert (share > 0.0).all()
    assert (share < 1.0).all()


@lawful
@given(cables, lengths)
def test_a_run_is_passive_whatever_is_at_its_ends(cable: Cable, length: float) -> None:
    """Power in less power out is no negative form of any voltage and current at the far end."""
    m = Run(cable, length).two_port(FREQUENCY)
    flow = np.array([[0.0, 0.5], [0.5, 0.0]])  # Re(V I*) of (V, I)
    kept = m.conj().transpose(0, 2, 1) @ flow @ m - flow
    scale = np.linalg.norm(m, axis=(1, 2)) ** 2
    assert (np.linalg.eigvalsh(kept)[:, 0] > -1e-14 * scale).all()
    assert (np.linalg.eigvalsh(kept)[:, 1] > 0.0).all()  # some current is always dissipated


@lawful
@given(networks())
def test_power_is_conserved(network: Network) -> None:
    """What a run takes is the heat along it: |I|^2 Re Z' + |V|^2 Re Y', integrated by Gauss points."""
    solution, voltage = solve(network, FREQUENCY), nodal(network, FREQUENCY)
    node, weight = np.polynomial.legendre.leggauss(12)
    heat = np.zeros(len(FREQUENCY))
    for name, run in network.runs.items():
        chain = chain_matrices(run, FREQUENCY)
        far_current = (voltage[run.fed_from] - chain[:, 0, 0] * voltage[name]) / chain[:, 0, 1]
        z, y = run.cable.series(FREQUENCY).real, run.cable.shunt(FREQUENCY).real
        for x, w in zip(node, weight, strict=True):
            part = chain_matrices(replace(run, length=run.length * (1.0 + x) / 2.0), FREQUENCY)
            v = part[:, 0, 0] * voltage[name] + part[:, 0, 1] * far_current
            i = part[:, 1, 0] * voltage[name] + part[:, 1, 1] * far_current
            heat += w * run.length / 2.0 * (np.abs(i) ** 2 * z + np.abs(v) ** 2 * y)
    arrived = np.sum(list(solution.load_power.values()), axis=0)
    np.testing.assert_allclose(arrived + heat, solution.input_power, rtol=1e-9)
    np.testing.assert_allclose(solution.cable_share(), heat / solution.input_power, rtol=1e-7)


@lawful
@given(networks())
def test_drop_and_receiving_make_sending(network: Network) -> None:
    """To the last digit that a subtraction leaves; over plus and over minus add up to it."""
    solution = solve(network, FREQUENCY)
    for load, receiving in solution.receiving.items():
        drop = solution.drop(load)
        left = np.abs(drop + receiving - solution.sending)
        last_digit = np.finfo(float).eps * (np.abs(drop) + np.abs(solution.sending))
        assert (left <= last_digit).all()
        np.testing.assert_array_equal(drop, solution.drop(load, "both"))
        plus, minus = solution.drop(load, "plus"), solution.drop(load, "minus")
        close(plus + minus, drop, 1e-9)


@lawful
@given(amplifiers, measured_cables, lengths, loads)
def test_drop_is_the_current_times_the_loop(
    amplifier: Amplifier, cable: MeasuredCable, length: float, load: Load
) -> None:
    """Where nothing leaks between the conductors, so that one current flows in all of it."""
    tight = replace(cable, dielectric=Dielectric(0.0))
    solution = solve(single(amplifier, Run(tight, length), load), FREQUENCY)
    current = solution.receiving["load"] / load.impedance(FREQUENCY)
    close(solution.drop("load"), current * tight.series(FREQUENCY) * length, 1e-9)


def test_drop_is_over_both_plus_or_minus() -> None:
    run = Run(MeasuredCable(0.01, 0.6e-6, Dielectric(0.0)), 30.0)
    solution = solve(single(Amplifier(0.0), run, Resistor(8.0)), FREQUENCY)
    with pytest.raises(ValueError, match="across 'live' is not known"):
        solution.drop("load", "live")  # type: ignore[arg-type]


@lawful
@given(cables, lengths)
def test_chain_matrix_is_reciprocal(cable: Cable, length: float) -> None:
    m = Run(cable, length).two_port(FREQUENCY)
    close(np.linalg.det(m), np.ones(len(FREQUENCY), dtype=np.complex128))
    close(m[:, 0, 0], m[:, 1, 1])


@lawful
@given(st.lists(st.tuples(cables, lengths), min_size=1, max_size=3), resistors, between(0.01, 1.0))
def test_source_and_load_may_change_places(
    parts: list[tuple[Cable, float]], load: Resistor, output: float
) -> None:
    """The current at one end from a source at the other is the same both ways round."""

    def current(ways: list[tuple[Cable, float]], source: float, end: float) -> Complex:
        runs = {
            f"{k}": Run(cable, length, f"{k - 1}" if k else None)
            for k, (cable, length) in enumerate(ways)
        }
        last = f"{len(ways) - 1}"
        network = Network(Amplifier(source), runs, {"load": Connected(Resistor(end), last)})
        return np.asarray(solve(network, FREQUENCY).receiving["load"] / end)

    there = current(parts, output, load.resistance)
    back = current(parts[::-1], load.resistance, output)
    close(there, back, 1e-9)


@lawful
@given(amplifiers, cables, lengths, loads, between(0.01, 0.99))
def test_a_run_is_its_two_parts_in_cascade(
    amplifier: Amplifier, cable: Cable, length: float, load: Load, share: float
) -> None:
    whole = single(amplifier, Run(cable, length), load)
    for part in (0.5, share):
        near, far = Run(cable, part * length), Run(cable, (1.0 - part) * length, "near")
        split = Network(amplifier, {"near": near, "far": far}, {"load": Connected(load, "far")})
        one, two = solve(whole, FREQUENCY), solve(split, FREQUENCY)
        close(two.receiving["load"], one.receiving["load"])
        close(two.sending, one.sending)
        close(
            near.two_port(FREQUENCY) @ far.two_port(FREQUENCY),
            Run(cable, length).two_port(FREQUENCY),
        )


@lawful
@given(networks())
def test_source_impedance_is_that_of_two_different_loads(network: Network) -> None:
    """From the voltages on 1 ohm and on 50 ohm in a loudspeaker's place: Thevenin's source."""
    for name, connected in network.loads.items():
        voltages = {}
        for ohm in (1.0, 50.0):
            swapped = dict(network.loads) | {name: Connected(Resistor(ohm), connected.at)}
            voltages[ohm] = solve(replace(network, loads=swapped), FREQUENCY).receiving[name]
        one, fifty = voltages[1.0], voltages[50.0]
        expected = (fifty - one) / (one / 1.0 - fifty / 50.0)
        found = source_impedance(network, name, FREQUENCY)
        scale = (
            np.abs(expected) + 1e-3
        )  # an ideal amplifier alone has none: micro-ohms do not count
        assert (np.abs(found - expected) < 1e-9 * scale).all()
        # It also predicts what the loudspeaker itself gets.
        open_circuit = one * (1.0 + expected)
        z = connected.load.impedance(FREQUENCY)
        close(solve(network, FREQUENCY).receiving[name], open_circuit * z / (z + found), 1e-8)


def loss(solution: Solution) -> Real:
    """dB, positive where the receiving end is lower."""
    return np.asarray(-20.0 * np.log10(np.abs(solution.receiving["load"] / solution.sending)))


@lawful
@given(amplifiers, cables, lengths, loads, between(1.01, 3.0))
def test_more_length_keeps_more_power(
    amplifier: Amplifier, cable: Cable, length: float, load: Load, factor: float
) -> None:
    """Into any load at any frequency: what is put in front of a run takes its share of power first."""
    short, long = (
        solve(single(amplifier, Run(cable, x), load), FREQUENCY).cable_share()
        for x in (length, factor * length)
    )
    assert (long > short).all()


@lawful
@given(cables, lengths, between(2.0, 16.0), between(1.01, 3.0))
def test_more_length_loses_more_level(
    cable: Cable, length: float, ohm: float, factor: float
) -> None:
    """Into a resistor below the line's own impedance, to 20 kHz and 300 m. (A loudspeaker above its
    resonance is capacitive, and can resonate with the run.)"""
    far = min(factor * length, 300.0)
    assume(far > 1.01 * length)
    shunt = np.abs(cable.shunt(AUDIO[1:]) / cable.series(AUDIO[1:]))
    assume((ohm**2 * shunt < 1.0).all())
    short, long = (
        loss(solve(single(Amplifier(0.0), Run(cable, x), Resistor(ohm)), AUDIO))
        for x in (length, far)
    )
    assert (short > 0.0).all()
    assert (long > short).all()


@lawful
@given(conductors, between(1.1, 10.0), lengths, between(2.0, 16.0), between(1.01, 4.0))
def test_more_area_loses_less(
    conductor: Conductor, ratio: float, length: float, ohm: float, factor: float
) -> None:
    """Into a resistor, all proportions and materials kept: R and L fall at every frequency, C stays."""
    thicker = Conductor(conductor.radius * math.sqrt(factor), conductor.resistance / factor)
    results = []
    for c in (conductor, thicker):
        cable = make_pair(c, 2.0 * ratio * c.radius, permittivity=2.5, loss_tangent=0.01)
        z = cable.series(AUDIO)
        network = single(Amplifier(0.0), Run(cable, length), Resistor(ohm))
        results.append((z.real, loss(solve(network, AUDIO))))
    (r_thin, thin), (r_thick, thick) = results
    assert (r_thick < r_thin).all()
    assert (thick < thin).all()


# Trees that are none.


def test_networks_that_are_no_tree_are_refused() -> None:
    cable = MeasuredCable(0.01, 6e-7, Dielectric(0.0))
    load = {"load": Connected(Resistor(8.0), "a")}
    with pytest.raises(ValueError, match="at least one load"):
        Network(Amplifier(0.0), {"a": Run(cable, 1.0)}, {})
    with pytest.raises(ValueError, match="fed from 'b', which is no run"):
        Network(Amplifier(0.0), {"a": Run(cable, 1.0, "b")}, load)
    with pytest.raises(ValueError, match="at the end of 'a', which is no run"):
        Network(Amplifier(0.0), {"b": Run(cable, 1.0)}, load)
    with pytest.raises(ValueError, match="in a circle"):
        Network(Amplifier(0.0), {"a": Run(cable, 1.0, "b"), "b": Run(cable, 1.0, "a")}, load)
