"""What comes of a sweep: the figures of a choice in every case."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import Any, Final

import numpy as np

from auralize.circuit.conductor import Real

OF_ALL: Final = ("choice", "label", "load", "cables", "frequency")
"""What has no value by case."""


@dataclass(frozen=True)
class CaseFigures:
    """Of one choice; every array by case in its first axis, as `figures.numbers.Figures` means it."""

    choice: str
    label: str
    load: str
    """Listened to."""
    cables: tuple[str, ...]
    """Of the rig, used or not."""
    metres: Real
    """Of each of these in all runs, shape (cases, cables)."""
    reference_hz: Real
    loss_db: Real
    """At the reference; minus infinity where nothing arrives."""
    drop_db: Real
    """The same of the drop."""
    deviation_db: Real
    deviation_hz: Real
    worst_loss_db: Real
    """Least in the band, as `fit` judges it: without what transformers lose themselves."""
    worst_loss_hz: Real
    worst_deviation_db: Real
    """Modulus of the largest deviation, as `fit` judges it; infinite where any of the band is silent."""
    damping_factor: Real
    """Infinite where nothing is between loudspeaker and source."""
    damping_hz: Real
    cable_share: Real
    """0 to 1."""
    cable_watts: Real
    """Heat in the cable of all runs, joints left out; not a number where no programme drives the rig."""
    frequency: Real
    """Hz at which curves were asked for, shape (frequencies,)."""
    loss_curve_db: Real
    """Shape (cases, frequencies), as is the next."""
    drop_curve_db: Real

    def __len__(self) -> int:
        return len(self.loss_db)

    def of(self, at: Any) -> CaseFigures:
        """Of some of the cases: a slice, or their numbers."""
        return self._made(lambda name: getattr(self, name)[at])

    @staticmethod
    def joined(parts: Sequence[CaseFigures]) -> CaseFigures:
        """Parts of one choice, one after another."""
        return parts[0]._made(lambda name: np.concatenate([getattr(p, name) for p in parts]))

    def _made(self, array: Any) -> CaseFigures:
        own = {name: getattr(self, name) for name in OF_ALL}
        return CaseFigures(
            **own, **{f.name: array(f.name) for f in fields(self) if f.name not in OF_ALL}
        )
