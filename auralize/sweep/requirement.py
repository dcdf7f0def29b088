"""A figure, and the limit that it is to keep."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from auralize.circuit.conductor import Real
from auralize.figures.columns import factor_text
from auralize.figures.fit import Kind, shown
from auralize.sweep.case_figures import CaseFigures
from auralize.units import rounded

KIND_WORDS: Final[Mapping[Kind, str]] = {
    "loss": "loss at 1 kHz",
    "deviation": "deviation from that",
    "damping": "damping factor",
    "heat": "programme power lost in cable",
}
"""As `auralize figures` calls them; 1 kHz, or the middle of a band without it."""


@dataclass(frozen=True)
class Requirement:
    """What a case has to keep."""

    kind: Kind
    limit: float
    """dB at most; for damping the least factor; for heat a share of the power, 0 to 1."""

    @property
    def most(self) -> float:
        """The limit as `measured` has it."""
        return shown(self.limit, self.kind)

    @property
    def words(self) -> str:
        """Figure and limit: "loss at 1 kHz of at most 1 dB"."""
        name = (
            "deviation from the loss at 1 kHz"
            if self.kind == "deviation"
            else KIND_WORDS[self.kind]
        )
        bound = "at least" if self.kind == "damping" else "at most"
        limit = {"damping": f"{self.limit:.3g}", "heat": f"{self.limit * 100:.3g} %"}
        return f"{name} of {bound} {limit.get(self.kind, f'{self.limit:.3g} dB')}"


def measured(figures: CaseFigures, kind: Kind) -> Real:
    """A figure in every case so that less is better: dB of loss or deviation, a share, one over damping."""
    if kind == "loss":
        return -figures.loss_db
    if kind == "deviation":
        return np.abs(figures.deviation_db)
    if kind == "heat":
        return figures.cable_share
    return 1.0 / figures.damping_factor


def measured_words(value: float, kind: Kind) -> str:
    """One of `measured` as it is told."""
    if kind == "damping":
        return factor_text(shown(value, kind))
    if not np.isfinite(value):
        return "silent"
    return rounded(value, ".1%") if kind == "heat" else f"{rounded(value, '.2f')} dB"
