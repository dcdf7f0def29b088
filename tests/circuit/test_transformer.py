"""Line transformers against coupled coils, closed forms, and what the trade computes by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from auralize.circuit import twoport
from auralize.circuit.loudspeaker import Driver, Resistor
from auralize.circuit.network import Amplifier, Connected, Network, Placed
from auralize.circuit.solution import solve, source_impedance
from auralize.circuit.transformer import (
    LINE_VOLTAGES,
    Transformer,
    lossless,
    make_line_transformer,
    make_transformer,
)

AUDIO = np.geomspace(20.0, 20e3, 101)
MIDDLE = np.array([1e3])

lawful = settings(derandomize=True, database=None, deadline=None, max_examples=60)


def between(low: float, high: float) -> st.SearchStrategy[float]:
    return st.floats(low, high, allow_subnormal=False)


transformers = st.builds(
    Transformer,
    between(0.1, 30.0),
    between(0.0, 50.0),
    between(0.0, 2.0),
    between(0.1, 30.0),
    between(0.0, 50e-3),
    between(300.0, 1e6) | st.just(math.inf),
)


def nearly_ideal(line_voltage: float, power: float, ohm: float) -> Transformer:
    """Neither loss nor leakage, and a primary inductance that takes 1e-9 of the rated current at 1 kHz."""
    return make_line_transformer(
        line_voltage, power, ohm, insertion_loss=0.0, low_frequency=1e3 * 1e-9
    )


def on_line(transformer: Transformer, ohm: float, volts_behind: float = 0.0) -> Network:
    return Network(
        Amplifier(volts_behind),
        {},
        {"load": Connected(Resistor(ohm), "tap")},
        {"tap": Placed(transformer)},
    )


@pytest.mark.parametrize(
    ("volts", "power", "primary"),
    [(100.0, 10.0, 1000.0), (100.0, 40.0, 250.0), (50.0, 5.0, 500.0), (70.7, 5.0, 999.698)],
)
@pytest.mark.parametrize("ohm", [4.0, 8.0, 16.0])
def test_a_tap_shows_the_line_volts_squared_over_power(
    volts: float, power: float, primary: float, ohm: float
) -> None:
    """Z = V^2/P (common practice, no source), and the loudspeaker gets just the power of the tap."""
    assert volts in LINE_VOLTAGES
    network = on_line(nearly_ideal(volts, power, ohm), ohm)
    solution = solve(network, MIDDLE)
    assert abs(solution.presented[0]) == pytest.approx(primary, rel=1e-6)
    assert volts**2 * solution.load_power["load"][0] == pytest.approx(power, rel=1e-8)
    assert network.transformers["tap"].transformer.ratio == pytest.approx(
        volts / math.sqrt(power * ohm), rel=1e-12
    )


@pytest.mark.parametrize("loss", [0.3, 1.0, 2.5])
@pytest.mark.parametrize("core", [math.inf, 20e3])
def test_insertion_loss_is_what_the_rated_load_loses(loss: float, core: float) -> None:
    tap = make_line_transformer(
        100.0, 10.0, 8.0, insertion_loss=loss, low_frequency=1e-6, core_resistance=core
    )
    got = 100.0**2 * solve(on_line(tap, 8.0), MIDDLE).load_power["load"][0]
    assert 10.0 * math.log10(got / 10.0) == pytest.approx(-loss, abs=1e-6)
    # Half of the copper loss on each side: the same resistance seen from either.
    assert tap.primary_resistance == pytest.approx(tap.secondary_resistance * tap.ratio**2)


def test_stated_frequencies_are_where_the_reactances_equal_the_load() -> None:
    """Lossless: |Z| falls to 1/sqrt 2 at the low one, and the level by as much at the high one."""
    low = make_line_transformer(100.0, 10.0, 8.0, insertion_loss=0.0, low_frequency=40.0)
    assert low.primary_inductance == pytest.approx(1000.0 / (2.0 * math.pi * 40.0), rel=1e-12)
    presented = solve(on_line(low, 8.0), [40.0]).presented[0]
    assert abs(presented) == pytest.approx(1000.0 / math.sqrt(2.0), rel=1e-9)
    high = make_line_transformer(
        100.0, 10.0, 8.0, insertion_loss=0.0, low_frequency=1e-6, high_frequency=15e3
    )
    solution = solve(on_line(high, 8.0), [15e3])
    arrived = abs(solution.receiving["load"][0] / solution.reference("load")[0])
    assert arrived == pytest.approx(1.0 / math.sqrt(2.0), rel=1e-9)


@lawful
@given(transformers)
def test_a_transformer_is_a_pair_of_coupled_coils(transformer: Transformer) -> None:
    """V1 = (r1 + s L1) I1 - s M I2, V2 = s M I1 - (r2 + s L2) I2; L1 = Ll + Lm, M = Lm/n, L2 = Lm/n^2."""
    t = Transformer(
        transformer.ratio,
        transformer.primary_resistance,
        transformer.secondary_resistance,
        transformer.primary_inductance,
        transformer.leakage_inductance,
    )
    s = 2j * np.pi * AUDIO
    mutual = t.primary_inductance / t.ratio
    load = 5.0 + s * 1e-3
    # Both coils' equations, with V2 = load I2 and V1 = 1.
    system = np.zeros((len(AUDIO), 2, 2), dtype=np.complex128)
    system[:, 0, 0] = t.primary_resistance + s * (t.leakage_inductance + t.primary_inductance)
    system[:, 0, 1] = -s * mutual
    system[:, 1, 0] = s * mutual
    system[:, 1, 1] = -(t.secondary_resistance + s * t.primary_inductance / t.ratio**2) - load
    right = np.zeros((len(AUDIO), 2, 1), dtype=np.complex128)
    right[:, 0] = 1.0
    one, two = np.moveaxis(np.linalg.solve(system, right)[..., 0], -1, 0)
    matrix, factor = t.two_port(AUDIO)
    near = twoport.carried(matrix, twoport.port(load, 1.0))
    np.testing.assert_allclose(twoport.admittance(near), one, rtol=1e-8)
    np.testing.assert_allclose(factor * load / near[:, 0], load * two, rtol=1e-8)


@lawful
@given(transformers)
def test_a_transformer_is_reciprocal_and_passive(transformer: Transformer) -> None:
    matrix, factor = transformer.two_port(AUDIO)
    scale = np.abs(matrix).max(axis=(1, 2)) ** 2
    assert (np.abs(np.linalg.det(matrix) - factor**2) < 1e-12 * scale).all()
    flow = np.array([[0.0, 0.5], [0.5, 0.0]])  # Re(V I*) of (V, I)
    kept = matrix.conj().transpose(0, 2, 1) @ flow @ matrix
    kept -= flow * np.abs(factor)[:, None, None] ** 2
    assert (np.linalg.eigvalsh(kept)[:, 0] > -1e-13 * scale).all()


def test_at_dc_only_the_windings_are_left() -> None:
    tap = make_line_transformer(100.0, 10.0, 8.0, insertion_loss=1.0, low_frequency=30.0)
    network = on_line(tap, 8.0, volts_behind=2.0)
    solution = solve(network, [0.0])
    assert solution.receiving["load"][0] == 0.0
    assert solution.presented[0] == pytest.approx(tap.primary_resistance, rel=1e-12)
    back = source_impedance(network, "load", [0.0])[0]
    assert back == pytest.approx(tap.secondary_resistance, rel=1e-12)


def test_step_up_at_the_amplifier_feeds_the_line() -> None:
    """28.3 V to 100 V for 200 W, and five taps of 40 W: each gets its power, the amplifier sees 4 ohm."""
    step_up = make_transformer(28.3, 100.0, 200.0, insertion_loss=0.0, low_frequency=1e-6)
    tap = nearly_ideal(100.0, 40.0, 8.0)
    network = Network(
        Amplifier(0.0),
        {},
        {f"{k}": Connected(Resistor(8.0), f"tap {k}") for k in range(5)},
        {"up": Placed(step_up)} | {f"tap {k}": Placed(tap, "up") for k in range(5)},
    )
    solution = solve(network, MIDDLE)
    assert abs(solution.presented[0]) == pytest.approx(28.3**2 / 200.0, rel=1e-6)
    for power in solution.load_power.values():
        assert 28.3**2 * power[0] == pytest.approx(40.0, rel=1e-6)


def test_a_loudspeaker_sees_the_line_through_the_windings() -> None:
    """Looking back at middle frequencies: r2 + (r1 + the line's ohms) / ratio^2."""
    tap = make_line_transformer(100.0, 10.0, 8.0, insertion_loss=1.0, low_frequency=1e-6)
    seen = source_impedance(on_line(tap, 8.0, volts_behind=20.0), "load", MIDDLE)[0]
    expected = tap.secondary_resistance + (tap.primary_resistance + 20.0) / tap.ratio**2
    assert seen == pytest.approx(expected, rel=1e-6)


def test_a_driver_behind_a_tap_keeps_its_peak() -> None:
    """Re (1 + Qms/Qes) times the ratio squared, where nothing is lost."""
    tap = nearly_ideal(100.0, 10.0, 8.0)
    network = Network(
        Amplifier(0.0),
        {},
        {"load": Connected(Driver(5.6, 1e3, 4.2, 0.42), "tap")},
        {"tap": Placed(tap)},
    )
    seen = solve(network, MIDDLE).presented[0]
    assert seen == pytest.approx(5.6 * 11.0 * tap.ratio**2, rel=1e-6)


def test_transformers_that_cannot_be_are_refused() -> None:
    with pytest.raises(ValueError, match="primary inductance must be above zero"):
        Transformer(10.0, 1.0, 0.1, 0.0)
    with pytest.raises(ValueError, match="leakage inductance cannot be below zero"):
        Transformer(10.0, 1.0, 0.1, 1.0, -1.0)
    with pytest.raises(ValueError, match=r"insertion loss of -1 dB cannot be"):
        make_line_transformer(100.0, 10.0, 8.0, insertion_loss=-1.0, low_frequency=30.0)
    with pytest.raises(ValueError, match="secondary impedance must be above zero"):
        make_line_transformer(100.0, 10.0, 0.0, insertion_loss=1.0, low_frequency=30.0)
    with pytest.raises(ValueError, match="power must be above zero"):
        make_transformer(100.0, 10.0, 0.0, insertion_loss=1.0, low_frequency=30.0)


def test_turns_alone_are_their_ratio_and_nothing_else() -> None:
    """V over n, n times I; before a kilohm the core takes 1e-5 of the current at 1 Hz, less above."""
    real = make_line_transformer(100.0, 20.0, 8.0, insertion_loss=1.0, low_frequency=40.0)
    frequency = np.geomspace(1.0, 1e6, 50)
    matrix, factor = lossless(real).two_port(frequency)
    load = 1000.0
    voltage = (matrix[:, 0, 0] * load + matrix[:, 0, 1]) / factor
    current = (matrix[:, 1, 0] * load + matrix[:, 1, 1]) / factor
    np.testing.assert_allclose(voltage / load, real.ratio, rtol=1e-12)
    np.testing.assert_allclose(current * real.ratio, 1.0, rtol=1e-4)
