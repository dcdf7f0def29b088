"""What a lay does to its run, solved as far as frequency does not matter, and its impedance."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from auralize.circuit.conductor import MU_0, Complex, Real, bessel_argument, bessel_ratios
from auralize.circuit.crowding import Crowding
from auralize.circuit.iron import IronBar, added_inductance
from auralize.circuit.lays import LaidCable


@dataclass(frozen=True)
class Effect:
    """A lay solved as far as frequency does not matter."""

    inductance: float
    """H, beyond the straight pair."""
    crowding: Crowding
    iron: IronBar | None = None
    iron_field: Real | None = None

    def impedance(self, cable: LaidCable, frequency: Real) -> Complex:
        """ohm. A field H makes of a wire, by its eddy currents, a dipole -2 pi a^2 (I2/I0) H per metre.

        Exact for a round wire across an even field (Smythe, Static and Dynamic Electricity, section 10;
        from memory); at low frequency its loss is pi sigma omega^2 mu0^2 a^4 H^2 / 4.
        """
        ratios = bessel_ratios(bessel_argument(frequency, cable.conductor), 2)
        dipole = 2.0 * math.pi * cable.conductor.radius**2 * ratios[0] * ratios[1]
        inductance = np.full(frequency.shape, self.inductance, dtype=np.complex128)
        for strength, coupling in zip(self.crowding.strength, self.crowding.coupling, strict=True):
            inductance -= MU_0 * strength * dipole / (1.0 + coupling * dipole)
        if self.iron is not None and self.iron_field is not None:
            inductance += added_inductance(self.iron, self.iron_field, frequency)
        return np.asarray(2j * np.pi * frequency * inductance, dtype=np.complex128)
