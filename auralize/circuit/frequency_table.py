"""An impedance known at some frequencies, and smoothly in between."""

from __future__ import annotations

import numpy as np

from auralize.circuit.conductor import Complex, Real
from auralize.circuit.spline import Spline


def check_within(frequency: Real, top: float) -> None:
    """Raises ValueError for frequencies in Hz that a cable is not solved at."""
    if frequency.size and not 0.0 <= frequency.min() <= frequency.max() <= top:
        raise ValueError(f"the cable is solved from 0 to {top:g} Hz")


class ImpedanceTable:
    """R(f) and L(f) between the points of a table: splines of log f, constant below its foot.

    Smooth in R and L, so that a filter made from it decays. ``impedance`` has any leading axes.
    Raises ValueError above the table.
    """

    def __init__(self, frequency: Real, impedance: Complex) -> None:
        self._foot, self._top = float(frequency[0]), float(frequency[-1])
        omega = 2.0 * np.pi * frequency
        values = np.stack([impedance.real, impedance.imag / omega])
        self._spline = Spline(np.log(frequency), np.moveaxis(values, -1, 0), 5)

    def __call__(self, frequency: Real) -> Complex:
        """ohm/m at frequencies in Hz, the last axis."""
        frequency = np.asarray(frequency, dtype=np.float64)
        check_within(frequency, self._top)
        r, henry = np.moveaxis(self._spline(np.log(np.maximum(frequency, self._foot))), 0, -1)
        omega = 2.0 * np.pi * frequency
        return np.asarray(r + 1j * omega * henry, dtype=np.complex128)
