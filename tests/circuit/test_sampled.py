"""Sampled impedance: what lies between, below and above, against the circuits the samples came from."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from auralize.circuit import twoport
from auralize.circuit.cable import Dielectric, MeasuredCable, make_pair
from auralize.circuit.conductor import MATERIALS, Complex, Real, make_conductor
from auralize.circuit.crossover import Capacitor, Coil, Crossover, InSeries, Ladder, Rung
from auralize.circuit.loudspeaker import Driver, Load, Resistor, Vent
from auralize.circuit.network import Amplifier, Connected, Network, Run
from auralize.circuit.sampled import (
    SampledCable,
    SampledImpedance,
    fitted_dielectric,
    line_constants,
)
from auralize.circuit.solution import solve

lawful = settings(derandomize=True, database=None, deadline=None, max_examples=80)

BOX = Driver(5.6, 38.0, 4.2, 0.42, 0.5e-3, 0.02, 1.5, vent=Vent(45.0, 7.0))
TWEETER = Driver(6.2, 900.0, 2.5, 1.3, inductance=0.05e-3)
TWO_WAY = Crossover(
    {
        "low": Ladder((Rung("series", Coil(1e-3, 0.2)), Rung("shunt", Capacitor(15e-6))), BOX),
        "high": Ladder(
            (Rung("series", Capacitor(6e-6)), Rung("shunt", Coil(0.4e-3, 0.1))), TWEETER
        ),
    }
)
PAIR = make_pair(
    make_conductor(2.5e-6, MATERIALS["copper"], None, 0.75, 20.0),
    3.2e-3,
    permittivity=3.5,
    loss_tangent=0.05,
)


def every(fraction: int, low: float = 10.0, high: float = 20_480.0) -> Real:
    """Hz, so many to an octave."""
    return low * 2.0 ** (np.arange(round(np.log2(high / low)) * fraction + 1) / fraction)


def sampled(load: Load, frequency: Real) -> SampledImpedance:
    return SampledImpedance(frequency, load.impedance(frequency))


def worst(found: Complex, expected: Complex) -> float:
    return float(np.abs(found / expected - 1.0).max())


@pytest.mark.parametrize(("load", "bound"), [(BOX, 5e-5), (TWEETER, 5e-5), (TWO_WAY, 3e-4)])
def test_between_the_samples_it_is_the_circuit(load: Load, bound: float) -> None:
    """48 to an octave, as analysers export; four times as sparse is far less than 256 times worse."""
    f = np.geomspace(10.0, 20_480.0, 3001)
    assert worst(sampled(load, every(48)).impedance(f), load.impedance(f)) < bound
    assert worst(sampled(load, every(12)).impedance(f), load.impedance(f)) < 200.0 * bound


@pytest.mark.parametrize("f", [every(3), np.array([20.0, 100.0, 1e3, 1e4])])
def test_at_the_samples_it_is_the_samples(f: Real) -> None:
    data = sampled(TWO_WAY, f)
    assert worst(data.impedance(f), TWO_WAY.impedance(f)) < 1e-12
    assert (data.impedance(np.geomspace(0.1, 1e5, 301)).real > 0.0).all()


@pytest.mark.parametrize("load", [BOX, TWEETER, TWO_WAY])
def test_below_and_above_it_is_nearly_the_circuit(load: Load) -> None:
    """Measured from 10 Hz: within 2 % down to 0 Hz, with R0 given within 1 %; twice as high within 10 %."""
    f = every(24)
    below, above = np.array([0.0, 0.1, 1.0, 3.0, 7.0]), np.array([25e3, 40e3])
    data = sampled(load, f)
    assert worst(data.impedance(below), load.impedance(below)) < 2e-2
    assert worst(data.impedance(above), load.impedance(above)) < 0.1
    at_dc = float(load.impedance(np.zeros(1))[0].real)
    told = SampledImpedance(f, load.impedance(f), dc_resistance=at_dc)
    assert told.impedance(np.zeros(1))[0] == pytest.approx(at_dc, rel=1e-5)
    assert worst(told.impedance(below), load.impedance(below)) < 1e-2


def test_a_coil_and_a_resistor_go_on_as_they_are() -> None:
    """R + s L + K sqrt s has exactly the form that is continued above, and that of 0 Hz below."""
    coil = InSeries((Resistor(6.0), Coil(0.4e-3)))
    f, far = every(12), np.array([0.0, 0.01, 100e3, 1e6])
    assert worst(sampled(coil, f).impedance(far), coil.impedance(far)) < 1e-4
    semi = Driver(6.0, 1e-3, 1.0, 1.0, 0.1e-3, 0.02)  # its resonance lies far below
    above = np.array([30e3, 100e3, 1e6])
    assert worst(sampled(semi, f).impedance(above), semi.impedance(above)) < 1e-3


def test_a_first_point_at_dc_is_the_resistance_there() -> None:
    f = np.concatenate([[0.0], every(12)])
    data = SampledImpedance(f, BOX.impedance(f))
    assert data.lowest == 10.0
    assert data.impedance(np.zeros(1))[0] == pytest.approx(5.6, rel=1e-5)


def test_a_capacitor_in_the_line_stays_one() -> None:
    """Open at 0 Hz, and 1 / omega C just below the data; with R0 stated it is no capacitor any more."""
    load = InSeries((Capacitor(10e-6), Resistor(6.0)))
    f = every(12)
    data = sampled(load, f)
    assert data.capacitive
    assert data.admittance(np.zeros(1))[0] == 0.0
    below = np.array([1.0, 5.0])
    assert worst(data.impedance(below), load.impedance(below)) < 0.03
    told = SampledImpedance(f, load.impedance(f), dc_resistance=1e5)
    assert told.impedance(np.zeros(1))[0] == pytest.approx(1e5, rel=1e-4)


def test_a_peak_below_the_data_is_found() -> None:
    """Measured from 45 Hz upwards: the resonance at 38 Hz and the coil's resistance, within 1 %."""
    driver = Driver(5.6, 38.0, 4.2, 0.42, 0.5e-3)
    f, below = every(24, low=45.0, high=45.0 * 2**8), np.array([0.0, 10.0, 30.0, 38.0, 42.0])
    assert worst(sampled(driver, f).impedance(below), driver.impedance(below)) < 1e-2


def test_no_circuit_is_made_of_angles_with_the_wrong_sign() -> None:
    """They are those of an unstable circuit, whose peak below the data is not believed."""
    driver = Driver(5.6, 38.0, 4.2, 0.42, 0.5e-3)
    f = every(24, low=45.0, high=45.0 * 2**8)
    wrong = SampledImpedance(f, driver.impedance(f).conj())
    at_peak, at_first = np.abs(wrong.impedance(np.array([38.0, 45.0])))
    assert at_peak < 1.2 * at_first


@pytest.mark.parametrize("low", [10.0, 20.0])
def test_noise_of_a_percent_moves_the_resistance_at_dc_by_a_few(low: float) -> None:
    """What a fit over the lowest octave makes of it, in half of all draws (the same each time)."""
    rng = np.random.default_rng(0)
    f = every(48, low, low * 2**11)
    found = []
    for _ in range(20):
        noise = np.exp(0.01 * (rng.normal(size=f.size) + 1j * rng.normal(size=f.size)))
        data = SampledImpedance(f, BOX.impedance(f) * noise)
        found.append(data.impedance(np.zeros(1))[0].real / 5.6 - 1.0)
    assert np.median(np.abs(found)) < 0.05


def test_where_no_circuit_explains_the_data_it_stays_near_them() -> None:
    """Noise of a factor of 2: at 0 Hz a resistance, a quarter of the lowest R at least."""
    rng = np.random.default_rng(4)
    f = every(12)
    noisy = 8.0 * np.exp(
        0.7 * rng.normal(size=f.size) + 1j * rng.normal(0.0, 0.3, f.size).clip(-1, 1)
    )
    at_dc = SampledImpedance(f, noisy).impedance(np.zeros(1))[0]
    assert at_dc.imag == 0.0
    assert 0.249 * noisy.real.min() < at_dc.real <= noisy.real[0]


shapes = arrays(np.float64, 24, elements=st.floats(-3.0, 3.0, allow_subnormal=False))
angles = arrays(np.float64, 24, elements=st.floats(-89.9, 89.9, allow_subnormal=False))
gaps = arrays(np.float64, 24, elements=st.floats(0.01, 1.0, allow_subnormal=False))


@lawful
@given(shapes, angles, gaps)
def test_whatever_was_measured_it_stays_passive_and_finite(
    shape: Real, angle: Real, gap: Real
) -> None:
    f = 20.0 * np.exp(np.cumsum(gap))
    data = SampledImpedance(f, 8.0 * np.exp(shape + 1j * np.radians(angle)))
    grid = np.geomspace(1e-3, 1e6, 3001)
    z = data.impedance(grid)
    assert np.isfinite(z).all()
    assert (z.real > 0.0).all()
    assert data.impedance(np.zeros(1))[0].real > 0.0


def test_it_is_smooth_to_the_second_derivative() -> None:
    """Steps of the second difference shrink with the step of ln f, also at both ends of the data."""
    data = sampled(TWO_WAY, every(6))

    def largest_jump(step: float) -> float:
        u = np.arange(np.log(1.0), np.log(200e3), step)
        z = data.impedance(np.exp(u))
        level = np.stack([np.log(np.abs(z)), np.unwrap(np.angle(z))])
        second = np.diff(level, 2, axis=1) / step**2
        return float(np.abs(np.diff(second, axis=1)).max())

    # Of a function with a bounded third derivative: proportional to the step.
    assert largest_jump(2e-3) < 0.6 * largest_jump(4e-3)


def test_response_with_samples_is_that_with_the_circuit() -> None:
    """Closed loop at 80 m: within 0.005 dB and 0.1 degree of the run into the load itself."""
    f = np.geomspace(20.0, 20e3, 2001)

    def receiving(load: Load) -> Complex:
        run = Run(PAIR, 80.0)
        network = Network(Amplifier(0.05), {"run": run}, {"load": Connected(load, "run")})
        return solve(network, f).receiving["load"]

    ratio = receiving(sampled(TWO_WAY, every(48))) / receiving(TWO_WAY)
    assert np.abs(20.0 * np.log10(np.abs(ratio))).max() < 0.0005
    assert np.abs(np.angle(ratio, deg=True)).max() < 0.005


def test_what_lies_beyond_is_named() -> None:
    data = sampled(BOX, every(12))
    assert data.beyond(20.0, 20e3) is None
    assert data.beyond(5.0, 20e3) == (
        "measured from 10 Hz to 20.48 kHz only: below, it is led to a resistance at 0 Hz"
    )
    both = data.beyond(0.0, 96e3)
    assert both is not None
    assert both.endswith("at 0 Hz; above, coils are taken")
    cable = SampledCable(every(12), PAIR.series(every(12)), Dielectric(0.0))
    assert cable.beyond(0.0, 20e3) == (
        "measured from 10 Hz to 20.48 kHz only: below, R and L are led to those at 0 Hz"
    )


@pytest.mark.parametrize(
    ("frequency", "impedance", "message"),
    [
        ([20, 30, 40], [8, 8, 8], "at least 4 frequencies"),
        ([20, 30, 30, 40], [8, 8, 8, 8], "must rise"),
        ([-1, 30, 40, 50], [8, 8, 8, 8], "must rise"),
        ([20, 30, 40, 50], [8, 8, 8j, 8], "real part of an impedance must be above zero"),
        ([20, 30, 40, 50], [8, 8, 8], "as many impedances as frequencies"),
        ([20, 30, 40, np.nan], [8, 8, 8, 8], "must be numbers"),
    ],
)
def test_samples_that_cannot_be_are_refused(
    frequency: list[float], impedance: list[complex], message: str
) -> None:
    with pytest.raises(ValueError, match=message):
        SampledImpedance(np.array(frequency, float), np.array(impedance, complex))
    if len(frequency) == len(impedance) > 3 and all(np.diff(frequency) > 0):
        with pytest.raises(ValueError, match=message):
            SampledCable(np.array(frequency, float), np.array(impedance, complex), Dielectric(0.0))


# Cables.


def test_sampled_cable_is_the_cable() -> None:
    """Skin and proximity effect from 20 Hz to 20 kHz, and on to 100 kHz within 2 %."""
    f = every(12, low=20.0)
    cable = SampledCable(f, PAIR.series(f), PAIR.dielectric)
    inside, outside = np.geomspace(20.0, 20e3, 501), np.array([0.0, 1.0, 30e3, 100e3])
    assert worst(cable.series(inside), PAIR.series(inside)) < 3e-4
    assert worst(cable.series(outside), PAIR.series(outside)) < 2e-2
    np.testing.assert_allclose(cable.shunt(inside), PAIR.shunt(inside), rtol=1e-12)


@pytest.mark.parametrize("loss_tangent", [0.0, 0.02, 0.1])
def test_dielectric_is_found_again(loss_tangent: float) -> None:
    dielectric = Dielectric(85e-12, loss_tangent)
    f = every(6)
    found = fitted_dielectric(f, dielectric.admittance(f))
    assert found.capacitance == pytest.approx(85e-12, rel=1e-9, abs=0.0)
    assert found.loss_tangent == pytest.approx(loss_tangent, rel=1e-9, abs=1e-12)


def test_where_no_capacitance_is_measured_there_is_none() -> None:
    found = fitted_dielectric(np.array([20.0, 200.0]), np.array([-1e-12j, -2e-12j]))
    assert found == Dielectric(0.0)


@lawful
@given(
    st.floats(1e-3, 0.1),
    st.floats(0.3e-6, 1.5e-6),
    st.floats(1e-12, 300e-12),
    st.floats(0.0, 0.1),
    st.floats(1.0, 300.0),
)
def test_a_line_gives_back_what_it_was_made_of(
    resistance: float, inductance: float, capacitance: float, loss: float, length: float
) -> None:
    """`twoport.line` undone, to what B and C themselves can tell."""
    cable = MeasuredCable(resistance, inductance, Dielectric(capacitance, loss))
    f = every(3)
    matrix = twoport.line(cable.series(f), cable.shunt(f), length)
    found = line_constants(matrix, length)
    np.testing.assert_allclose(found.series, cable.series(f), rtol=1e-12)
    np.testing.assert_allclose(found.shunt, cable.shunt(f), rtol=1e-12)


def test_a_line_of_more_than_a_quarter_wavelength_is_refused() -> None:
    cable = MeasuredCable(0.01, 0.6e-6, Dielectric(60e-12))  # 167 m a microsecond
    quarter = 1.0 / np.sqrt(0.6e-6 * 60e-12) / 1e6 / 4.0
    f = np.array([1e6])
    near, far = (twoport.line(cable.series(f), cable.shunt(f), x * quarter) for x in (0.95, 1.1))
    np.testing.assert_allclose(
        line_constants(near, 0.95 * quarter).series, cable.series(f), rtol=1e-9
    )
    with pytest.raises(ValueError, match="longer than a quarter of a wavelength"):
        line_constants(far, 1.1 * quarter)
    with pytest.raises(ValueError, match="length of a measured cable"):
        line_constants(near, 0.0)
