"""Phase out of the magnitude alone, against the circuits that the magnitude came from, and closed forms."""

from __future__ import annotations

import numpy as np
import pytest
from test_between import LOADS, THIRDS, drop

from auralize.circuit.crossover import Capacitor, Coil, InSeries
from auralize.circuit.derived_phase import derived_phase, minimum_phase
from auralize.circuit.loudspeaker import Load, Resistor
from auralize.circuit.sampled import SampledImpedance

FROM_10 = 10.0 * 2.0 ** (np.arange(265) / 24.0)
FROM_20 = 20.0 * 2.0 ** (np.arange(241) / 24.0)


@pytest.mark.parametrize(("f", "low", "rest"), [(FROM_10, 3.5, 2.5), (FROM_20, 6.0, 2.5)])
@pytest.mark.parametrize("name", [*LOADS])
def test_the_phase_of_every_loudspeaker(name: str, f: np.ndarray, low: float, rest: float) -> None:
    """As stated: within 6 degrees in the lowest octave, and 2.5 above it, up to the last point."""
    z = LOADS[name].impedance(f)
    off = np.abs(np.degrees(minimum_phase(f, np.abs(z)) - np.angle(z)))
    assert off[f <= 2.0 * f[0]].max() < low
    assert off[f > 2.0 * f[0]].max() < rest


@pytest.mark.parametrize("name", [*LOADS])
def test_the_drop_that_follows(name: str) -> None:
    """From 20 Hz on, 24 points an octave: within 0.1 dB of that of the circuit."""
    f = FROM_20
    modulus = np.abs(LOADS[name].impedance(f))
    told = SampledImpedance(f, modulus * np.exp(1j * minimum_phase(f, modulus)))
    assert np.abs(drop(told) - drop(LOADS[name])).max() < 0.1


@pytest.mark.parametrize("name", [n for n in LOADS if "closed" in n or "free" in n])
def test_from_thirds_of_an_octave_it_is_that_of_a_circuit(name: str) -> None:
    """As stated: within 6 degrees, where Hilbert's transform is off by 14 and more."""
    z = LOADS[name].impedance(THIRDS)
    told, hilbert = (way(THIRDS, np.abs(z)) for way in (derived_phase, minimum_phase))
    assert np.abs(np.degrees(told - np.angle(z))).max() < 6.0
    assert np.abs(np.degrees(hilbert - np.angle(z))).max() > 14.0


def test_from_thirds_of_a_closed_box_the_drop_is_right() -> None:
    """Within 0.3 dB, where Hilbert's transform puts it off by 3 dB."""
    box = LOADS["closed box"]
    modulus = np.abs(box.impedance(THIRDS))
    told = SampledImpedance(THIRDS, modulus * np.exp(1j * derived_phase(THIRDS, modulus)))
    assert np.abs(drop(told) - drop(box)).max() < 0.3


def test_where_no_simple_circuit_is_near_it_is_hilberts() -> None:
    modulus = np.abs(LOADS["two ways"].impedance(THIRDS))
    np.testing.assert_array_equal(derived_phase(THIRDS, modulus), minimum_phase(THIRDS, modulus))


SIMPLE: list[tuple[Load, float]] = [
    (Resistor(8.0), 0.001),
    (InSeries((Resistor(6.0), Coil(0.3e-3))), 0.05),
    (InSeries((Resistor(6.0), Capacitor(8e-6))), 1.0),
]


@pytest.mark.parametrize(("load", "degrees"), SIMPLE)
def test_what_one_can_write_down(load: Load, degrees: float) -> None:
    """R; R + j omega L, whose angle is atan(omega L / R); R + 1 / (j omega C)."""
    z = load.impedance(FROM_20)
    off = np.degrees(minimum_phase(FROM_20, np.abs(z)) - np.angle(z))
    assert np.abs(off).max() < degrees
