"""What a lay does to its run, solved as far as frequency does not matter, and its impedance."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from auralize.circuit.conductor import Complex, Real
from auralize.circuit.crowding import NO_CROWDING, Crowding
from auralize.circuit.iron import IronBar, added_inductance
from auralize.circuit.lays import LaidCable


@dataclass(frozen=True)
class Effect:
    """A lay solved as far as frequency does not matter, by conductor: plus, then minus."""

    inductance: Real
    """H, beyond the straight pair, shape (2,)."""
    solve_crowding: Callable[[], Crowding] = lambda: NO_CROWDING
    """Only where it is asked for: of many lays that may be, few are."""
    iron: IronBar | None = None
    iron_field: Real | None = None
    """A/m at the bar's strips of each conductor's own current, shape (2, strips)."""

    @cached_property
    def crowding(self) -> Crowding:
        return self.solve_crowding()

    def impedance(self, cable: LaidCable, frequency: Real) -> Complex:
        """ohm along plus and minus, shape (2, frequencies)."""
        inductance = self.inductance[:, None] + self.crowding.inductance(cable, frequency)
        if self.iron is not None and self.iron_field is not None:
            inductance = inductance + added_inductance(self.iron, self.iron_field, frequency)
        return np.asarray(2j * np.pi * frequency * inductance, dtype=np.complex128)


@dataclass(frozen=True)
class Swapped(Effect):
    """An effect that is known, plus and minus having changed places."""

    known: Effect = field(kw_only=True)

    def impedance(self, cable: LaidCable, frequency: Real) -> Complex:
        """ohm along plus and minus, shape (2, frequencies)."""
        return self.known.impedance(cable, frequency)[::-1]


def swapped(known: Effect) -> Swapped:
    """What the same lay does where plus lies where minus lay; for conductors that are alike."""
    return Swapped(known.inductance[::-1], known=known)
