"""What hangs on the run: impedance in ohm at frequencies in Hz, 0 included."""

from __future__ import annotations

import math
from abc import ABC, abstractmethod
from dataclasses import dataclass
from typing import Final

import numpy as np

from auralize.circuit import twoport
from auralize.circuit.conductor import MATERIALS, Complex, Real, temperature_factor


class Load(ABC):
    """Anything passive with two terminals."""

    @abstractmethod
    def port(self, frequency: Real) -> Complex:
        """Voltage and current at the terminals up to a common factor, shape (frequencies, 2)."""

    def admittance(self, frequency: Real) -> Complex:
        """S; 0 for an open, infinite for a short."""
        return twoport.admittance(self.port(frequency))

    def impedance(self, frequency: Real) -> Complex:
        """ohm, for showing; infinite where nothing flows."""
        return twoport.impedance(self.port(frequency))


@dataclass(frozen=True)
class Resistor(Load):
    """Pure ``resistance`` in ohm, above zero."""

    resistance: float

    def __post_init__(self) -> None:
        if not self.resistance > 0.0:
            raise ValueError(f"a resistance of {self.resistance:g} ohm cannot be; it is above zero")

    def port(self, frequency: Real) -> Complex:
        """R to 1."""
        return twoport.port(np.full(np.shape(frequency), self.resistance), 1.0)


@dataclass(frozen=True)
class Open(Load):
    """A fault: nothing is connected any more."""

    def port(self, frequency: Real) -> Complex:
        """No current."""
        return twoport.port(np.ones(np.shape(frequency)), 0.0)


@dataclass(frozen=True)
class Short(Load):
    """A fault: both conductors touch, without any resistance; a real short is a `Resistor`."""

    def port(self, frequency: Real) -> Complex:
        """No voltage."""
        return twoport.port(np.zeros(np.shape(frequency)), 1.0)


@dataclass(frozen=True)
class Vent:
    """Opening of a vented box: the ``tuning`` in Hz of the box, and its losses at that frequency.

    Q of leakage (through the walls and seals), of absorption (in the stuffing) and of friction (in
    the vent); infinite where there is no loss. R. H. Small, Vented-Box Loudspeaker Systems, 1973
    (definitions from memory); QL of 5 to 20 is typical, the other two are then left out.
    """

    tuning: float
    q_leakage: float = math.inf
    q_absorption: float = math.inf
    q_friction: float = math.inf

    def __post_init__(self) -> None:
        for name in ("tuning", "q_leakage", "q_absorption", "q_friction"):
            if not getattr(self, name) > 0.0:
                raise ValueError(f"a vent's {name.replace('_', ' ')} must be above zero")

    def stiffness(self, s: Complex) -> tuple[Complex, Complex]:
        """Numerator and denominator of the stiffness of the air in the box, 1 with the vent shut.

        The air (with absorption), the leak and the vent (with friction) are side by side; s = j omega.
        Without loss the denominator is 0 at the tuning: the box holds the cone still.
        """
        y = s / (2.0 * math.pi * self.tuning)
        vent = y + 1.0 / self.q_friction
        beside = y / (1.0 + y / self.q_absorption) + 1.0 / self.q_leakage
        return y * vent, vent * beside + 1.0


COLD: Final = 20.0
"""degC at which a driver's resistance is stated."""


@dataclass(frozen=True)
class Driver(Load):
    """Moving-coil driver in free air, in a closed box, or (with a `Vent`) in a vented one.

    Z = Re + j omega Le + K sqrt(j omega) + (L2 beside R2) + Res / (1 + j Qms (f/fs - fs/f)),
    Res = Re Qms / Qes

    Small-signal circuit after Thiele and Small (formulas from memory). ``semi_inductance`` K in
    ohm sqrt(s) ("semi-henry") stands for the eddy currents in the pole piece, as does the
    ``step_inductance`` L2 in H with ``step_resistance`` R2 in ohm across it. In a box, fs and Qms
    both rise by sqrt(1 + Vas/box) and Res stays: closed, it is taken as stiff air without loss, which
    overstates the peak of a stuffed box. A hot coil has more Re, and its motion is as before.
    """

    dc_resistance: float
    resonance: float
    q_mechanical: float
    q_electrical: float
    inductance: float = 0.0
    semi_inductance: float = 0.0
    stiffness_ratio: float = 0.0
    """Vas over box volume; 0 in free air."""
    step_inductance: float = 0.0
    step_resistance: float = 0.0
    vent: Vent | None = None
    coil_celsius: float = COLD
    """Temperature of the voice coil (copper, -60 to 200 degC)."""

    def __post_init__(self) -> None:
        for name in ("dc_resistance", "resonance", "q_mechanical", "q_electrical"):
            if not getattr(self, name) > 0.0:
                raise ValueError(f"a driver's {name.replace('_', ' ')} must be above zero")
        for name in (
            "inductance",
            "semi_inductance",
            "stiffness_ratio",
            "step_inductance",
            "step_resistance",
        ):
            if not getattr(self, name) >= 0.0:
                raise ValueError(f"a driver's {name.replace('_', ' ')} cannot be below zero")
        if (self.step_inductance == 0.0) != (self.step_resistance == 0.0):
            raise ValueError("a driver's step inductance and step resistance need each other")
        if self.vent is not None and self.stiffness_ratio == 0.0:
            raise ValueError("a vent needs a box: give Vas and the volume of the box")
        temperature_factor(MATERIALS["copper"], self.coil_celsius)

    @property
    def system_resonance(self) -> float:
        """Hz, in its box with the vent (if any) shut."""
        return self.resonance * math.sqrt(1.0 + self.stiffness_ratio)

    def port(self, frequency: Real) -> Complex:
        """Z to 1."""
        s = 2j * np.pi * np.asarray(frequency, dtype=np.float64)
        return twoport.port(self._voice_coil(s) + self._motional(s), 1.0)

    def _voice_coil(self, s: Complex) -> Complex:
        hot = self.dc_resistance * temperature_factor(MATERIALS["copper"], self.coil_celsius)
        still = hot + s * self.inductance + self.semi_inductance * np.sqrt(s)
        if self.step_inductance == 0.0:
            return still
        corner = self.step_resistance / self.step_inductance
        return still + self.step_resistance * s / (s + corner)

    def _motional(self, s: Complex) -> Complex:
        """Res (x/Qms) / (x^2 + x/Qms + 1 + box), x = s/omega_s: defined at 0 Hz."""
        air, over = (1.0, 1.0) if self.vent is None else self.vent.stiffness(s)
        x = s / (2.0 * math.pi * self.resonance)
        free = x * x + x / self.q_mechanical + 1.0
        peak = self.dc_resistance / self.q_electrical
        return peak * x * over / (free * over + self.stiffness_ratio * air)


@dataclass(frozen=True)
class Several(Load):
    """``series`` times ``parallel`` identical loads: ``parallel`` chains of ``series`` each."""

    load: Load
    series: int = 1
    parallel: int = 1

    def __post_init__(self) -> None:
        if self.series < 1 or self.parallel < 1:
            raise ValueError("loads in series and in parallel are counted from 1")

    def port(self, frequency: Real) -> Complex:
        """The voltage of one times the number in series, its current times that in parallel."""
        return self.load.port(frequency) * np.array([self.series, self.parallel])
