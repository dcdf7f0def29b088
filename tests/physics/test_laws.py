"""Laws that hold for any rig, over rigs drawn at random (the same ones each time)."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

import mpmath  # type: ignore[import-untyped]
import numpy as np
import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.linalg import expm
from scipy.optimize import nnls

from auralize.circuit import twoport
from auralize.circuit.cable import (
    REFERENCE_FREQUENCY,
    Cable,
    Dielectric,
    MeasuredCable,
    PairCable,
    make_pair,
)
from auralize.circuit.conductor import (
    MATERIALS,
    MU_0,
    Complex,
    Conductor,
    Real,
    internal_impedance,
    make_conductor,
)
from auralize.circuit.loudspeaker import Driver, Load, Resistor
from auralize.circuit.network import Amplifier, Connected, Network, Run
from auralize.circuit.pair import pair_impedance
from auralize.circuit.solution import Solution, solve, source_impedance

lawful = settings(
    derandomize=True,
    database=None,
    deadline=None,
    max_examples=60,
    suppress_health_check=[HealthCheck.too_slow],
)

FREQUENCY = np.array([0.0, 1.0, 20.0, 55.0, 300.0, 1e3, 4e3, 10e3, 20e3, 48e3, 100e3])
ROUNDING = 1e-11
"""Relative; what a few dozen double-precision operations may leave."""


# Rigs at random.


def between(low: float, high: float) -> st.SearchStrategy[float]:
    return st.floats(low, high, allow_subnormal=False)


conductors = st.builds(
    make_conductor,
    between(0.5e-6, 10e-6),
    st.sampled_from(list(MATERIALS.values())),
    st.none(),
    between(0.7, 1.0),
    between(-30.0, 80.0),
)


@st.composite
def pair_cables(draw: st.DrawFn) -> PairCable:
    conductor = draw(conductors)
    spacing = 2.0 * conductor.radius * draw(between(1.1, 10.0))
    return make_pair(
        conductor,
        spacing,
        permittivity=draw(between(1.0, 5.0)),
        loss_tangent=draw(st.just(0.0) | between(1e-4, 0.1)),
        lay_length=draw(st.none() | between(20.0 * spacing, 60.0 * spacing)),
    )


measured_cables = st.builds(
    MeasuredCable,
    between(1e-3, 0.1),
    between(0.3e-6, 1.5e-6),
    st.builds(Dielectric, between(0.0, 300e-12), between(0.0, 0.1)),
)
cables: st.SearchStrategy[Cable] = pair_cables() | measured_cables

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
lengths = between(0.5, 300.0)


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


def single(amplifier: Amplifier, run: Run, load: Load) -> Network:
    return Network(amplifier, {"run": run}, {"load": Connected(load, "run")})


def close(found: Complex, expected: Complex, rel: float = ROUNDING) -> None:
    np.testing.assert_allclose(found, expected, rtol=rel, atol=0.0)


# An independent solution: node voltages, with every run as the exponential of its own equations.


def chain_matrices(run: Run, frequency: Real) -> Complex:
    """d(V, I)/dx = -(Z' I, Y' V), from the far end back to the near one."""
    z, y = run.cable.series(frequency), run.cable.shunt(frequency)
    system = np.zeros((len(frequency), 2, 2), dtype=np.complex128)
    system[:, 0, 1], system[:, 1, 0] = z * run.length, y * run.length
    return np.asarray(expm(system))


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
    """To the last digit that a subtraction leaves; over one conductor it is half."""
    solution = solve(network, FREQUENCY)
    for load, receiving in solution.receiving.items():
        drop = solution.drop(load)
        left = np.abs(drop + receiving - solution.sending)
        last_digit = np.finfo(float).eps * (np.abs(drop) + np.abs(solution.sending))
        assert (left <= last_digit).all()
        np.testing.assert_array_equal(solution.drop(load, 1) * 2.0, drop)
        np.testing.assert_array_equal(drop, solution.drop(load, 2))


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


def test_drop_is_over_one_or_two_conductors() -> None:
    run = Run(MeasuredCable(0.01, 0.6e-6, Dielectric(0.0)), 30.0)
    solution = solve(single(Amplifier(0.0), run, Resistor(8.0)), FREQUENCY)
    with pytest.raises(ValueError, match="one or two conductors"):
        solution.drop("load", 3)


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


AUDIO = FREQUENCY[FREQUENCY <= 20e3]


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


# The line itself.


@lawful
@given(cables, lengths)
def test_line_solves_the_telegrapher_s_equations(cable: Cable, length: float) -> None:
    run = Run(cable, length)
    found, expected = run.two_port(FREQUENCY), chain_matrices(run, FREQUENCY)
    nothing = np.abs(expected) == 0.0  # C at 0 Hz
    np.testing.assert_array_equal(found[nothing], 0.0)
    close(found[~nothing], expected[~nothing], 1e-10)


@pytest.mark.parametrize(
    ("z", "y", "length"),
    [
        (0.0148 + 0.08j, 8e-6j, 62.0),
        (0.0148, 0.0, 62.0),
        (1e-3 + 1e-9j, 1e-15j, 1e-3),
        (1e-2 + 4j, 1e-6 + 4e-4j, 300.0),
        (0.05 + 1j, 1e-30j, 10.0),
    ],
)
def test_line_loses_no_digits(z: complex, y: complex, length: float) -> None:
    found = twoport.line(np.array([z + 0j]), np.array([y + 0j]), length)[0]
    with mpmath.workdps(40):
        x = mpmath.sqrt(mpmath.mpc(z) * mpmath.mpc(y)) * length
        ratio = mpmath.sinh(x) / x if x else mpmath.mpf(1)
        b, c = mpmath.mpc(z) * length * ratio, mpmath.mpc(y) * length * ratio
        expected = np.array([[mpmath.cosh(x), b], [c, mpmath.cosh(x)]], dtype=np.complex128)
    np.testing.assert_allclose(found, expected, rtol=2e-14, atol=0.0)


def test_ladder_of_lumps_tends_to_the_line() -> None:
    """With its sections' number squared, as the middle of each section is lumped."""
    cable = MeasuredCable(14.8e-3, 0.65e-6, Dielectric(300e-12, 0.02))
    frequency = np.array([1e5])
    z, y = cable.series(frequency) * 300.0, cable.shunt(frequency) * 300.0
    exact = twoport.line(z / 300.0, y / 300.0, 300.0)[0]
    errors = []
    for count in (16, 32, 64):
        half, whole = twoport.series(z / count / 2.0), twoport.shunt(y / count)
        ladder = np.linalg.matrix_power((half @ whole @ half)[0], count)
        errors.append(np.abs(ladder - exact).max() / np.abs(exact).max())
    assert errors[0] / errors[1] == pytest.approx(4.0, rel=0.05)
    assert errors[1] / errors[2] == pytest.approx(4.0, rel=0.05)


def test_parts_of_a_chain_by_hand() -> None:
    """A series 3 ohm and a shunt 1/6 S into 6 ohm: 3 ohm behind 3 ohm, half the voltage."""
    m = twoport.series(np.array([3.0 + 0j])) @ twoport.shunt(np.array([1 / 6 + 0j]))
    load = np.array([1 / 6 + 0j])
    close(twoport.voltage_ratio(m, load), np.array([0.5]))
    close(twoport.input_admittance(m, load), np.array([1 / 6]))
    open_end = np.array([0j])
    close(twoport.voltage_ratio(m, open_end), np.array([2 / 3]))


@pytest.mark.parametrize("bad", [-1.0, math.nan, math.inf])
def test_frequencies_that_are_none_are_refused(bad: float) -> None:
    with pytest.raises(ValueError, match="0 Hz and above"):
        solve(
            single(
                Amplifier(0.1), Run(MeasuredCable(0.01, 6e-7, Dielectric(0.0)), 9.0), Resistor(4.0)
            ),
            [20.0, bad],
        )


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


# Causality: nothing answers before it is asked.


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
