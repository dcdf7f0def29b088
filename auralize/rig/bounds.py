"""What a measured value can be at all: bounds wide enough for every real load and cable, and no wider.

They are orders of magnitude of the trade (common practice, no source). What is out of them is nearly
always in another unit, which the refusal then guesses.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np

from auralize.circuit.conductor import Real
from auralize.rig.rows import refuse_line
from auralize.units import show


@dataclass(frozen=True)
class Bounds:
    """From ``low`` to ``high``, both in ``unit``; ``slip`` is the unit that it often is in instead."""

    noun: str
    low: float
    high: float
    unit: str
    slip: str
    factor: float
    """How many of ``slip`` one ``unit`` is."""

    def check(
        self, values: Real, path: Path, lines: Sequence[int], high: Real | None = None
    ) -> None:
        """Refuse the first of ``values`` that is out of bounds; ``high``, row by row, in place of its own."""
        most = np.full(values.shape, self.high) if high is None else high
        good = (values >= self.low) & (values <= most)  # not a number is out of them too
        if not good.all():
            row = int(np.argmin(good))
            refuse_line(path, lines[row], self._sentence(float(values[row]), float(most[row])))

    def _sentence(self, value: float, most: float) -> str:
        meant = value / self.factor
        hint = f" (is it in {self.slip}?)" if self.low <= meant <= most else ""
        return (
            f"{self.noun} of {value:.4g} {self.unit} was found; right is one from "
            f"{show(self.low, self.unit)} to {show(most, self.unit)}, in {self.unit}{hint}"
        )


MODULUS: Final = Bounds("a modulus", 1e-3, 1e7, "ohm", "mohm", 1e3)
RESISTANCE: Final = Bounds("a loop resistance", 1e-5, 5.0, "ohm/m", "ohm/km", 1e3)
"""A loop of 0.03 mm2, the thinnest that a rig file takes, has 1.2 ohm/m."""
INDUCTANCE: Final = Bounds("a loop inductance", 1e-9, 1e-5, "H/m", "H/km", 1e3)
CAPACITANCE: Final = Bounds("a capacitance", 0.0, 1e-8, "F/m", "F/km", 1e3)

_SKIN_FROM: Final = 20e3
"""Hz; above, the most that a resistance can be grows with the root of frequency, as skin effect does."""


def most_resistance(frequency: Real) -> Real:
    """The most ohm/m that a loop has at frequencies in Hz."""
    return RESISTANCE.high * np.sqrt(np.maximum(frequency / _SKIN_FROM, 1.0))
