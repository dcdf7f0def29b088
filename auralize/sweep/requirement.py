"""A figure, and the limit that it is to keep: both as `fit` has them."""

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

IN_DB: Final = ("loss", "deviation")
FIGURE: Final[Mapping[Kind, str]] = {
    "loss": "worst_loss_db",
    "deviation": "worst_deviation_db",
    "damping": "damping_factor",
    "heat": "cable_share",
}
"""Of `CaseFigures`, what is limited."""
_KIND_WORDS: Final[Mapping[Kind, str]] = {
    "loss": "largest cable loss",
    "deviation": "largest deviation from the {}",
    "damping": "damping factor",
    "heat": "share of programme power lost in cable",
}
"""With `loss_words`."""


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
        return f"{self.bound} {number}{' dB' if self.kind in IN_DB else ''}"

    @property
    def tag(self) -> str:
        """The same in a file's name."""
        number = f"{self.limit * 100.0:.6g}" if self.kind == "heat" else f"{self.limit:.6g}"
        unit = {"heat": "percent", "damping": ""}.get(self.kind, "dB")
        return f"{self.kind}-{number}{unit}"


def loss_words(figures: Sequence[CaseFigures]) -> str:
    """The loss, and where it is stated."""
    hertz = dict.fromkeys(at for one in figures for at in np.unique(one.reference_hz).tolist())
    return f"loss at {' or '.join(show_frequency(three_digits(one)) for one in hertz)}"


def kind_words(kind: Kind, figures: Sequence[CaseFigures]) -> str:
    """What a figure is called."""
    return _KIND_WORDS[kind].format(loss_words(figures))


def limit_words(requirements: Sequence[Requirement], figures: Sequence[CaseFigures]) -> str:
    """All limits: "largest cable loss of at most 1 dB and damping factor of at least 20"."""
    return " and ".join(f"{kind_words(r.kind, figures)} of {r.words}" for r in requirements)


def told(figures: CaseFigures, kind: Kind) -> Real:
    """A figure in every case as it is told: a level in dB, a factor, or a share."""
    values: Real = getattr(figures, FIGURE[kind])
    return values


def measured(figures: CaseFigures, kind: Kind) -> Real:
    """The same so that less is better: of a loss what is lost, of a damping factor one over it."""
    values = told(figures, kind)
    if kind == "loss":
        return -values
    return 1.0 / values if kind == "damping" else values


def untold(value: float, kind: Kind) -> float:
    """One of `measured` as it is told."""
    return -value if kind == "loss" else shown(value, kind)


def excess(figures: CaseFigures, requirements: Sequence[Requirement]) -> Real:
    """`measured` over its limit in every case, for the limit that is kept worst; up to 1 all are kept."""
    return np.max([measured(figures, one.kind) / one.most for one in requirements], axis=0)


def kept_share(figures: CaseFigures, requirements: Sequence[Requirement]) -> float:
    """Of all cases those that keep all requirements, 0 to 1."""
    return float(np.mean(excess(figures, requirements) <= 1.0))


def cell(value: float, kind: Kind) -> str:
    """One of `told` in a table."""
    if kind == "damping":
        return factor_text(value)
    return rounded(value, ".1%") if kind == "heat" else decibels_text(value)


def measured_words(value: float, kind: Kind) -> str:
    """One of `measured` in a sentence."""
    words = cell(shown(value, kind), kind)
    return f"{words} dB" if kind in IN_DB and math.isfinite(value) else words
