"""A cable of which a test says what each conductor is."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from auralize.circuit.cable import Dielectric
from auralize.circuit.conductor import Complex, Real


@dataclass(frozen=True)
class ToldCable:
    """(ohm/m, H/m) of plus and of minus, and F/m between them."""

    plus: tuple[float, float]
    minus: tuple[float, float]
    capacitance: float = 0.0

    def by_conductor(self, frequency: Real) -> Complex:
        s = 2j * np.pi * np.asarray(frequency, dtype=np.float64)
        return np.stack([ohm + s * henry for ohm, henry in (self.plus, self.minus)])

    def series(self, frequency: Real) -> Complex:
        return np.asarray(self.by_conductor(frequency).sum(axis=0))

    def shunt(self, frequency: Real) -> Complex:
        return Dielectric(self.capacitance).admittance(frequency)


def even(resistance: float, inductance: float, capacitance: float = 0.0) -> ToldCable:
    """Of a loop that is known, half in each conductor."""
    half = 0.5 * resistance, 0.5 * inductance
    return ToldCable(half, half, capacitance)
