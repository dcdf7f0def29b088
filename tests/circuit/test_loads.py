"""Boxes, crossovers and groups of loads against closed forms, mechanics and chain matrices."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from auralize.circuit.conductor import Complex, Real
from auralize.circuit.crossover import (
    Capacitor,
    Coil,
    Crossover,
    InParallel,
    InSeries,
    Ladder,
    Rung,
)
from auralize.circuit.loudspeaker import Driver, Load, Open, Resistor, Several, Short, Vent

AUDIO = np.geomspace(1.0, 100e3, 401)
WITH_DC = np.concatenate([[0.0], AUDIO])
ROUNDING = 1e-12
"""Relative; what some dozen double-precision operations may leave."""

lawful = settings(derandomize=True, database=None, deadline=None, max_examples=80)


def between(low: float, high: float) -> st.SearchStrategy[float]:
    return st.floats(low, high, allow_subnormal=False)


def close(found: Complex, expected: Complex | float, rel: float = ROUNDING) -> None:
    expected = np.broadcast_to(expected, found.shape)
    np.testing.assert_array_less(np.abs(found - expected), rel * np.abs(expected) + 1e-300)


# Vented boxes.

FS, ALPHA = 38.0, 1.5


def vented(tuning: float, **losses: float) -> Driver:
    return Driver(5.6, FS, 4.2, 0.42, stiffness_ratio=ALPHA, vent=Vent(tuning, **losses))


def motion(driver: Driver, frequency: float) -> complex:
    """1 / (Z - Re): real where the moving parts resonate."""
    return complex(1.0 / (driver.impedance(np.array([frequency]))[0] - driver.dc_resistance))


def resonances(driver: Driver) -> list[float]:
    """Frequencies in Hz where the motional part is real and at its peak."""

    def reactance(frequency: float) -> float:
        return motion(driver, frequency).imag

    grid = np.geomspace(5.0, 300.0, 400)
    signs = np.array([reactance(f) for f in grid])
    rising = np.nonzero((signs[:-1] < 0.0) & (signs[1:] > 0.0))[0]
    return [brentq(reactance, grid[k], grid[k + 1], rtol=1e-14) for k in rising]


@pytest.mark.parametrize("tuning", [28.0, 38.0, 51.0])
def test_vented_box_has_its_two_peaks_where_thiele_and_small_put_them(tuning: float) -> None:
    """fL fH = fs fb; fL^2 + fH^2 = fs^2 (1 + alpha) + fb^2; alpha from the three frequencies.

    A. N. Thiele, Loudspeakers in Vented Boxes, 1961; R. H. Small, 1973 (formulas from memory). Without
    loss in the box both peaks are Re (1 + Qms/Qes) high, and the coil alone is left at fb.
    """
    driver = vented(tuning)
    low, high = resonances(driver)
    assert low * high == pytest.approx(FS * tuning, rel=1e-10)
    assert low**2 + high**2 == pytest.approx(FS**2 * (1.0 + ALPHA) + tuning**2, rel=1e-10)
    alpha = (high**2 - tuning**2) * (tuning**2 - low**2) / (low * high) ** 2
    assert alpha == pytest.approx(ALPHA, rel=1e-9)
    peaks = driver.impedance(np.array([low, high]))
    close(peaks, 5.6 * (1.0 + 4.2 / 0.42), 1e-9)
    close(driver.impedance(np.array([tuning])), 5.6)


@pytest.mark.parametrize(
    ("losses", "expected"),
    [
        ({"q_leakage": 7.0}, 7.0),
        ({"q_absorption": 30.0, "q_friction": 30.0}, 15.0),
    ],
)
def test_losses_of_the_box_set_what_is_left_at_its_tuning(
    losses: dict[str, float], expected: float
) -> None:
    """At fs = fb: Z = Re + (Re/Qes) / (1/Qms + alpha QB), QB the Q of all losses (Small, from memory).

    Exact for a leak; absorption and friction act as a leak to first order of 1/Q.
    """
    z = vented(FS, **losses).impedance(np.array([FS]))[0]
    exact = "q_leakage" in losses
    at_tuning = 5.6 / 0.42 / (1.0 / 4.2 + ALPHA * expected)
    assert abs(z - 5.6) == pytest.approx(at_tuning, rel=1e-12 if exact else 2e-3)
    assert z.real > 5.6


def test_vented_box_is_its_mechanics_and_air() -> None:
    """Z = Re + Bl^2 / (s m + r + k/s + S^2 Za), Za the box, leak and vent side by side in acoustic ohm."""
    force_factor, mass, friction, stiffness, area = 11.0, 0.035, 1.6, 2200.0, 0.05
    compliance, vent_mass = 2.6e-7, 60.0  # m3/Pa and kg/m4: 37 l and a vent that tunes it to 40 Hz
    leak, absorption, vent_friction = 1.4e5, 300.0, 500.0
    s = 2j * np.pi * AUDIO
    air = 1.0 / (absorption + 1.0 / (s * compliance))
    flow = air + 1.0 / leak + 1.0 / (vent_friction + s * vent_mass)
    expected = 5.6 + force_factor**2 / (s * mass + friction + stiffness / s + area**2 / flow)

    omega_s, omega_b = math.sqrt(stiffness / mass), 1.0 / math.sqrt(vent_mass * compliance)
    driver = Driver(
        5.6,
        omega_s / (2.0 * math.pi),
        omega_s * mass / friction,
        omega_s * mass * 5.6 / force_factor**2,
        stiffness_ratio=area**2 / compliance / stiffness,
        vent=Vent(
            omega_b / (2.0 * math.pi),
            q_leakage=omega_b * compliance * leak,
            q_absorption=1.0 / (omega_b * compliance * absorption),
            q_friction=omega_b * vent_mass / vent_friction,
        ),
    )
    close(driver.impedance(AUDIO), expected, 1e-10)


def test_a_box_whose_vent_is_far_too_narrow_is_closed() -> None:
    """What the vent does falls as (fb/f)^2."""
    closed = Driver(5.6, FS, 4.2, 0.42, stiffness_ratio=ALPHA)
    close(vented(1e-3).impedance(AUDIO[AUDIO > 10.0]), closed.impedance(AUDIO[AUDIO > 10.0]), 1e-6)


@lawful
@given(between(10.0, 200.0), between(3.0, 30.0), between(5.0, 100.0), between(5.0, 100.0))
def test_vented_box_is_passive(tuning: float, leak: float, stuffing: float, vent: float) -> None:
    driver = vented(tuning, q_leakage=leak, q_absorption=stuffing, q_friction=vent)
    z = driver.impedance(WITH_DC)
    assert z[0] == 5.6
    assert (z.real >= 5.6 * (1.0 - ROUNDING)).all()


def test_a_vent_needs_a_box_and_losses_above_zero() -> None:
    with pytest.raises(ValueError, match="needs a box"):
        Driver(5.6, FS, 4.2, 0.42, vent=Vent(40.0))
    for field in ("tuning", "q_leakage", "q_absorption", "q_friction"):
        with pytest.raises(ValueError, match=f"{field.replace('_', ' ')} must be above zero"):
            Vent(**({"tuning": 40.0} | {field: 0.0}))


# Voice coils.


def test_hot_coil_has_more_resistance_and_moves_as_before() -> None:
    """Copper, 0.393 % for each K (IEC 60028): 39.3 % more at 120 degC; the peak over it stays."""
    cold, hot = Driver(5.6, FS, 4.2, 0.42), Driver(5.6, FS, 4.2, 0.42, coil_celsius=120.0)
    close(hot.impedance(WITH_DC) - cold.impedance(WITH_DC), 0.393 * 5.6, 1e-9)
    with pytest.raises(ValueError, match="outside -60 to 200 degC"):
        Driver(5.6, FS, 4.2, 0.42, coil_celsius=250.0)


def test_step_of_a_lossy_coil_goes_from_nothing_to_its_resistance() -> None:
    """L2 beside R2: R2/2 (1 + j) where omega L2 = R2, nothing at 0 Hz, R2 far above."""
    plain, lossy = (
        Driver(5.6, FS, 4.2, 0.42),
        Driver(5.6, FS, 4.2, 0.42, step_inductance=1e-3, step_resistance=12.0),
    )
    corner = 12.0 / (2.0 * math.pi * 1e-3)
    frequency = np.array([0.0, corner, 1e9])
    added = lossy.impedance(frequency) - plain.impedance(frequency)
    assert added[0] == 0.0
    assert added[1] == pytest.approx(6.0 + 6.0j, rel=1e-10)
    assert added[2] == pytest.approx(12.0, rel=1e-5)
    with pytest.raises(ValueError, match="need each other"):
        Driver(5.6, FS, 4.2, 0.42, step_inductance=1e-3)


# Crossovers.

CORNER = 2.0e3
OMEGA = 2.0 * math.pi * CORNER
DUTY = 8.0


def way(*parts: tuple[str, Load], end: Load) -> Ladder:
    return Ladder(tuple(Rung(place, part) for place, part in parts), end)  # type: ignore[arg-type]


def butterworth(order: int) -> Crossover:
    """Low and high pass of the same corner into the same resistor, from one ideal source.

    Element values of singly terminated Butterworth filters of 1 ohm and 1 rad/s, from the source:
    1; 1.4142, 0.7071; 1.5, 1.3333, 0.5 (A. I. Zverev, Handbook of Filter Synthesis, from memory).
    """
    values = {1: (1.0,), 2: (math.sqrt(2.0), math.sqrt(0.5)), 3: (1.5, 4.0 / 3.0, 0.5)}[order]
    low, high = [], []
    for k, g in enumerate(values):
        place = "shunt" if k % 2 else "series"
        if k % 2:
            low.append((place, Capacitor(g / (OMEGA * DUTY))))
            high.append((place, Coil(DUTY / (OMEGA * g))))
        else:
            low.append((place, Coil(g * DUTY / OMEGA)))
            high.append((place, Capacitor(1.0 / (OMEGA * DUTY * g))))
    end = Resistor(DUTY)
    return Crossover({"low": way(*low, end=end), "high": way(*high, end=end)})


@pytest.mark.parametrize("order", [1, 2, 3])
def test_butterworth_crossover_is_a_plain_resistor_and_splits_the_power(order: int) -> None:
    """A pair that shares the power without loss draws what one resistor draws, at every frequency."""
    crossover = butterworth(order)
    close(crossover.impedance(WITH_DC), DUTY, 1e-10)
    low, high = (np.abs(crossover.transfer(name, WITH_DC)) ** 2 for name in ("low", "high"))
    close(low + high, 1.0, 1e-10)
    x = (WITH_DC / CORNER) ** (2 * order)
    close(low, 1.0 / (1.0 + x), 1e-10)
    assert low[0] == 1.0
    assert high[0] == 0.0


def test_zobel_makes_a_coil_a_resistor() -> None:
    """R = Re and C = Le/Re^2 across Re + s Le: Re at all frequencies (closed form)."""
    coil = InSeries((Resistor(6.0), Coil(0.6e-3)))
    zobel = Capacitor(0.6e-3 / 36.0, resistance=6.0)
    close(way(("shunt", zobel), end=coil).impedance(WITH_DC), 6.0)


def test_l_pad_keeps_the_impedance_and_takes_the_level() -> None:
    """R (1 - k) in the line and R k/(1 - k) across: R is seen, k of the voltage arrives."""
    k = 10.0 ** (-6.0 / 20.0)
    pad = way(
        ("series", Resistor(8.0 * (1.0 - k))),
        ("shunt", Resistor(8.0 * k / (1.0 - k))),
        end=Resistor(8.0),
    )
    close(pad.impedance(WITH_DC), 8.0)
    close(pad.transfer(WITH_DC), k)


def test_three_ways_share_the_terminals() -> None:
    """Admittances of the ways add up, each by hand."""
    s = 2j * np.pi * AUDIO
    ways = {
        "low": way(("series", Coil(3e-3, 0.3)), ("shunt", Capacitor(60e-6)), end=Resistor(8.0)),
        "mid": way(("series", Capacitor(40e-6)), ("series", Coil(0.5e-3)), end=Resistor(8.0)),
        "high": way(("series", Capacitor(5e-6, 0.1)), end=Resistor(6.0)),
    }
    low = s * 3e-3 + 0.3 + 1.0 / (s * 60e-6 + 1.0 / 8.0)
    mid = 1.0 / (s * 40e-6) + s * 0.5e-3 + 8.0
    high = 0.1 + 1.0 / (s * 5e-6) + 6.0
    crossover = Crossover(ways)
    close(crossover.admittance(AUDIO), 1.0 / low + 1.0 / mid + 1.0 / high)
    close(crossover.transfer("mid", AUDIO), 8.0 / mid)
    close(crossover.transfer("high", AUDIO), 6.0 / high)


# 0 Hz, opens and shorts: exact.

STILL = np.zeros(1)


def test_at_dc_a_capacitor_is_open_and_a_coil_is_its_wire() -> None:
    assert Capacitor(10e-6, 0.1).admittance(STILL)[0] == 0.0
    assert np.isposinf(Capacitor(10e-6).impedance(STILL)[0].real)
    assert Coil(1e-3, 0.2).impedance(STILL)[0] == 0.2
    assert Coil(1e-3).impedance(STILL)[0] == 0.0
    assert np.isposinf(Coil(1e-3).admittance(STILL)[0].real)


def test_opens_and_shorts_among_themselves() -> None:
    capacitor, coil, eight = Capacitor(1e-6), Coil(1e-3), Resistor(8.0)
    for load in (
        InSeries((capacitor, capacitor, eight)),
        InSeries((Open(), Short())),
        InParallel((capacitor, Open())),
        Several(capacitor, 2, 3),
    ):
        assert load.admittance(STILL)[0] == 0.0
    for load in (
        InParallel((coil, coil)),
        InParallel((eight, Short(), Open())),
        InSeries((coil, Short())),
    ):
        assert load.impedance(STILL)[0] == 0.0
    assert InParallel((capacitor, eight)).impedance(STILL)[0] == 8.0
    assert InSeries((coil, eight)).impedance(STILL)[0] == 8.0


def test_a_third_order_way_passes_nothing_at_dc_and_its_ideal_coil_shorts_nothing() -> None:
    tweeter = way(
        ("series", Capacitor(6e-6)),
        ("shunt", Coil(0.3e-3)),
        ("series", Capacitor(20e-6)),
        end=Driver(6.2, 900.0, 2.5, 1.3),
    )
    assert tweeter.admittance(STILL)[0] == 0.0
    assert tweeter.transfer(STILL)[0] == 0.0
    # The limit is reached smoothly: an eighth of the frequency lets through 1/512.
    low, lower = tweeter.transfer(np.array([0.8, 0.1]))
    assert abs(low / lower) == pytest.approx(512.0, rel=1e-3)


def test_an_unplugged_way_keeps_the_voltage() -> None:
    found = way(("series", Coil(1e-3)), end=Open()).transfer(WITH_DC)
    close(found, 1.0)


def test_parts_that_cannot_be_are_refused() -> None:
    with pytest.raises(ValueError, match="coil's inductance must be above zero"):
        Coil(0.0)
    with pytest.raises(ValueError, match="capacitor's resistance cannot be below zero"):
        Capacitor(1e-6, -1.0)
    for nothing in (InSeries, InParallel):
        with pytest.raises(ValueError, match="at least one part"):
            nothing(())
    with pytest.raises(ValueError, match="at least one way"):
        Crossover({})
    with pytest.raises(ValueError, match="counted from 1"):
        Several(Resistor(8.0), 0, 1)


def test_several_are_in_series_and_in_parallel() -> None:
    driver = Driver(5.6, FS, 4.2, 0.42, 0.4e-3, 0.02)
    z = driver.impedance(WITH_DC)
    close(Several(driver, series=2, parallel=3).impedance(WITH_DC), z * 2.0 / 3.0)
    chain = InSeries((driver, driver))
    close(InParallel((chain, chain, chain)).impedance(WITH_DC), z * 2.0 / 3.0)


# Any ladder against textbook chain matrices.

parts: st.SearchStrategy[Load] = (
    st.builds(Resistor, between(0.5, 50.0))
    | st.builds(Coil, between(0.05e-3, 5e-3), between(0.0, 1.0))
    | st.builds(Capacitor, between(1e-6, 100e-6), between(0.0, 0.5))
    | st.builds(
        lambda a, b: InParallel((Coil(a, 0.2), Capacitor(b, 0.1))),
        between(0.05e-3, 5e-3),
        between(1e-6, 100e-6),
    )
)
ladders = st.builds(
    lambda rungs, end: Ladder(tuple(Rung(p, x) for p, x in rungs), end),
    st.lists(st.tuples(st.sampled_from(["series", "shunt"]), parts), max_size=7),
    st.builds(
        Driver, between(2.5, 14.0), between(20.0, 2e3), between(0.8, 12.0), between(0.2, 3.0)
    ),
)


def cascade(ladder: Ladder, frequency: Real) -> tuple[Complex, Complex]:
    """(input admittance, voltage at the end over that at the terminals), by chain matrices."""
    whole = np.broadcast_to(np.eye(2, dtype=np.complex128), (len(frequency), 2, 2))
    for rung in ladder.rungs:
        step = np.broadcast_to(np.eye(2, dtype=np.complex128), whole.shape).copy()
        z = rung.part.impedance(frequency)
        if rung.place == "series":
            step[:, 0, 1] = z
        else:
            step[:, 1, 0] = 1.0 / z
        whole = whole @ step
    y = 1.0 / ladder.end.impedance(frequency)
    voltage = whole[:, 0, 0] + whole[:, 0, 1] * y
    return (whole[:, 1, 0] + whole[:, 1, 1] * y) / voltage, 1.0 / voltage


@lawful
@given(ladders)
def test_any_ladder_is_its_cascade_and_passive(ladder: Ladder) -> None:
    frequency = np.geomspace(1.0, 100e3, 31)
    admittance, end = cascade(ladder, frequency)
    close(ladder.admittance(frequency), admittance, 1e-9)
    close(ladder.transfer(frequency), end, 1e-9)
    y = ladder.admittance(np.concatenate([STILL, frequency]))
    finite = np.isfinite(y)
    assert finite[1:].all()
    assert (y[finite].real >= -ROUNDING * np.abs(y[finite])).all()
    # Power in is power into all parts: what arrives at the end is no more.
    arriving = np.abs(ladder.transfer(frequency)) ** 2 * ladder.end.admittance(frequency).real
    assert (arriving <= y[1:].real * (1.0 + 1e-9)).all()
