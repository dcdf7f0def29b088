"""Impedance of what hangs on the run, in ohm at frequencies in Hz, 0 included."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from auralize.circuit.conductor import Complex, Real


class Load(Protocol):
    """Anything with an impedance whose real part is above zero."""

    def impedance(self, frequency: Real) -> Complex:
        """ohm."""
        ...


@dataclass(frozen=True)
class Resistor:
    """Pure ``resistance`` in ohm, above zero."""

    resistance: float

    def __post_init__(self) -> None:
        if not self.resistance > 0.0:
            raise ValueError(f"a resistance of {self.resistance:g} ohm cannot be; it is above zero")

    def impedance(self, frequency: Real) -> Complex:
        """ohm."""
        return np.full(np.shape(frequency), self.resistance, dtype=np.complex128)


@dataclass(frozen=True)
class Driver:
    """Moving-coil driver in free air, or in a closed box.

    Z = Re + j omega Le + K sqrt(j omega) + Res / (1 + j Qms (f/fs - fs/f)),  Res = Re Qms / Qes

    Small-signal circuit after Thiele and Small (formulas from memory). ``semi_inductance`` K in
    ohm sqrt(s) ("semi-henry") stands for the eddy currents in the pole piece. In a box, both fs and
    Qms rise by sqrt(1 + Vas/box) and Res stays: the box is taken as stiff air without loss, which
    overstates the peak of a stuffed box.
    """

    dc_resistance: float
    resonance: float
    q_mechanical: float
    q_electrical: float
    inductance: float = 0.0
    semi_inductance: float = 0.0
    stiffness_ratio: float = 0.0
    """Vas over box volume; 0 in free air."""

    def __post_init__(self) -> None:
        for name in ("dc_resistance", "resonance", "q_mechanical", "q_electrical"):
            if not getattr(self, name) > 0.0:
                raise ValueError(f"a driver's {name.replace('_', ' ')} must be above zero")
        for name in ("inductance", "semi_inductance", "stiffness_ratio"):
            if not getattr(self, name) >= 0.0:
                raise ValueError(f"a driver's {name.replace('_', ' ')} cannot be below zero")

    @property
    def system_resonance(self) -> float:
        """Hz, in its box."""
        return self.resonance * math.sqrt(1.0 + self.stiffness_ratio)

    def impedance(self, frequency: Real) -> Complex:
        """ohm."""
        s = 2j * np.pi * np.asarray(frequency, dtype=np.float64)
        voice_coil = self.dc_resistance + s * self.inductance + self.semi_inductance * np.sqrt(s)
        peak = self.dc_resistance * self.q_mechanical / self.q_electrical
        omega_0 = 2.0 * math.pi * self.system_resonance
        damping = omega_0 / (self.q_mechanical * math.sqrt(1.0 + self.stiffness_ratio))
        # Res damping s / (s^2 + damping s + omega_0^2): the same resonance, defined at 0 Hz.
        motional = peak * damping * s / (s * s + damping * s + omega_0**2)
        return np.asarray(voice_coil + motional, dtype=np.complex128)
