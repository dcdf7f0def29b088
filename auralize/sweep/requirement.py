"""A figure, and the limit that it is to keep."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from auralize.circuit.conductor import Real
from auralize.figures.columns import decibels_text, factor_text, three_digits
from auralize.figures.fit import Kind, shown
from auralize.sweep.case_figures import CaseFigures
from auralize.units import rounded, show_frequency

_KIND_WORDS: Final[Mapping[Kind, str]] = {
    "loss": "loss at {}",
    "deviation": "largest deviation from the loss at {}",
    "damping": "damping factor",
    "heat": "share of programme power lost in cable",
}
"""Of the figures of `auralize figures`, with where loss is stated."""


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
    def bound(self) -> str:
        """What the limit is."""
        return "at least" if self.kind == "damping" else "at most"

    @property
    def words(self) -> str:
        """The limit: "at most 1 dB"."""
        number = f"{self.limit * 100:.3g} %" if self.kind == "heat" else f"{self.limit:.3g}"
        return f"{self.bound} {number}{' dB' if self.kind in ('loss', 'deviation') else ''}"


def kind_words(kind: Kind, figures: Sequence[CaseFigures]) -> str:
    """What a figure is called."""
    hertz = dict.fromkeys(at for one in figures for at in np.unique(one.reference_hz).tolist())
    at = " or ".join(show_frequency(three_digits(one)) for one in hertz)
    return _KIND_WORDS[kind].format(at)


def told(figures: CaseFigures, kind: Kind) -> Real:
    """A figure in every case as it is told: dB, of a deviation its modulus, a factor, or a share."""
    if kind == "deviation":
        return np.abs(figures.deviation_db)
    return {
        "loss": figures.loss_db,
        "damping": figures.damping_factor,
        "heat": figures.cable_share,
    }[kind]


def measured(figures: CaseFigures, kind: Kind) -> Real:
    """The same so that less is better: of a loss what is lost, of a damping factor one over it."""
    values = told(figures, kind)
    if kind == "loss":
        return -values
    return 1.0 / values if kind == "damping" else values


def cell(value: float, kind: Kind) -> str:
    """One of `told` in a table."""
    if kind == "damping":
        return factor_text(value)
    return rounded(value, ".1%") if kind == "heat" else decibels_text(value)


def measured_words(value: float, kind: Kind) -> str:
    """One of `measured` in a sentence."""
    words = cell(shown(value, kind), kind)
    return f"{words} dB" if kind in ("loss", "deviation") and math.isfinite(value) else words
