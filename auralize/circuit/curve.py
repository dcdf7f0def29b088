"""A smooth, passive impedance through points: cubic splines of ln|Z| and asinh(X/R) over ln f.

Whatever these become, Re Z stays above zero, and Z is smooth to its second derivative, so that filters
made from it decay.
"""

from __future__ import annotations

import numpy as np

from auralize.circuit.conductor import Complex, Real
from auralize.circuit.spline import Spline


class Curve:
    """Z over f > 0 from a table that reaches far beyond the data at both ends."""

    def __init__(self, frequency: Real, impedance: Complex, capacitive: bool) -> None:
        self._low, self._high = float(frequency[0]), float(frequency[-1])
        self._capacitive = capacitive
        skew = np.arcsinh(impedance.imag / impedance.real)
        values = np.stack([np.log(np.abs(impedance)), skew], axis=-1)
        self._spline = Spline(np.log(frequency), values, 3)

    def __call__(self, frequency: Real) -> Complex:
        inside = np.clip(frequency, self._low, self._high)
        level, skew = np.moveaxis(self._spline(np.log(inside)), -1, 0)
        # asinh(X/R) = u means cos(angle) = 1/cosh(u) and sin(angle) = tanh(u).
        z = np.exp(level) * (1.0 / np.cosh(skew) + 1j * np.tanh(skew))
        ratio = np.asarray(frequency / inside)
        if not self._capacitive:
            low = ratio < 1.0
            z = np.where(low, z.real + 1j * z.imag * ratio, z)
            ratio = np.where(low, 1.0, ratio)
        return np.asarray(z * ratio ** (np.angle(z) / (np.pi / 2.0)), dtype=np.complex128)
