"""Which of what varies matters most: each alone over its range, all else at its nominal value."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from auralize.circuit.conductor import Real
from auralize.figures.fit import Kind
from auralize.rig.choice import Choice
from auralize.rig.place_words import value_words
from auralize.rig.reading import Rig
from auralize.rig.stepped import SteppedValue
from auralize.rig.varied import Place
from auralize.sweep.case_figures import CaseFigures
from auralize.sweep.cases import Cases
from auralize.sweep.requirement import told
from auralize.sweep.solving import solve_all
from auralize.sweep.uncertain import UncertainValue

_POINTS: Final = 11
"""Over a range, both ends among them: a figure need not be least or most at an end."""
_SIGMAS: Final = 2.0
"""To either side of a mean: 95 % of a normal distribution."""


@dataclass(frozen=True)
class Alone:
    """What comes of one value that varies, all others being nominal."""

    place: Place
    words: str
    range_words: str
    """From where to where, or the list."""
    figures: Sequence[CaseFigures]
    """Of each choice, over the range."""


def each_alone(rig: Rig, choices: Sequence[Choice], cases: Cases) -> list[Alone]:
    """Every stepped value and every tolerance by itself: evenly over its limits, or +-2 sigma, or its list.

    Where a tolerance states no nominal value, and for stepped values, nominal is what the rig says.
    Raises RigError for a value that the rig file could not have.
    """
    found = [_alone(rig, choices, cases, one, _listed(one.shown)) for one in cases.steps]
    for uncertain in cases.tolerances:
        values = _over_range(uncertain)
        stepped = SteppedValue(uncertain.place, values, tuple(map(value_words, values)))
        found.append(_alone(rig, choices, cases, stepped, _range_words(uncertain)))
    return found


def swing(values: Real) -> float:
    """By how much a figure changes over a range; 0 where it is silence, or endless, throughout."""
    if np.all(values == values[0]):
        return 0.0
    return float(np.max(values) - np.min(values))


def ranked(found: Sequence[Alone], kind: Kind) -> list[Alone]:
    """What moves a figure of any choice most at the head."""
    return sorted(found, key=lambda one: -max(swing(told(f, kind)) for f in one.figures))


def _alone(
    rig: Rig, choices: Sequence[Choice], cases: Cases, stepped: SteppedValue, words: str
) -> Alone:
    figures = solve_all(rig, choices, Cases((*cases.held(stepped.place), stepped)))
    return Alone(stepped.place, stepped.words, words, figures)


def _over_range(uncertain: UncertainValue) -> tuple[Any, ...]:
    """Values as a rig file has them."""
    if uncertain.law == "list":
        return uncertain.values
    low, high = _ends(uncertain)
    return tuple(uncertain.written(float(at)) for at in np.linspace(low, high, _POINTS))


def _ends(uncertain: UncertainValue) -> tuple[float, float]:
    low, high = uncertain.low, uncertain.high
    if uncertain.law == "normal":
        more = (_SIGMAS - 1.0) * 0.5 * (high - low)
        return low - more, high + more
    return low, high


def _range_words(uncertain: UncertainValue) -> str:
    if uncertain.law == "list":
        return _listed([value_words(value) for value in uncertain.values])
    low, high = _ends(uncertain)
    sigma = f" (+-{_SIGMAS:g} sigma)" if uncertain.law == "normal" else ""
    return f"{low:.4g} to {high:.4g} {uncertain.unit}".rstrip() + sigma


def _listed(shown: Sequence[str]) -> str:
    return ", ".join(shown) if len(shown) <= 3 else f"{shown[0]}, {shown[1]} ... {shown[-1]}"
