"""A sweep as text: each choice in short, in tables for a terminal of 80 columns."""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Mapping, Sequence
from typing import Final, NamedTuple

import numpy as np

from auralize.circuit.conductor import Real
from auralize.figures.columns import (
    WIDTH,
    columns,
    decibels_text,
    factor_text,
    three_digits,
    three_digits_text,
)
from auralize.rig.reading import Rig
from auralize.sweep.case_figures import CaseFigures
from auralize.sweep.cases import Cases
from auralize.sweep.percentiles import LEAST_TO_MOST, percentiles
from auralize.units import show_frequency

_OF_DRAWS: Final = {"5 %": 5, "median": 50, "95 %": 95}
_OF_STEPS: Final = dict(zip(("least", "median", "most"), LEAST_TO_MOST, strict=True))
_LONGEST_LIST: Final = 6
"""Steps that are all named."""


class _Row(NamedTuple):
    """A figure in words, what of it counts, how it is shown, and whether the greatest is the worst."""

    words: str
    values: Callable[[CaseFigures], Real]
    shown: Callable[[float], str]
    greatest: bool


_ROWS: Final = (
    _Row("loss at {}, dB", lambda one: one.loss_db, decibels_text, False),
    _Row("drop at {}, dB", lambda one: one.drop_db, decibels_text, True),
    _Row("largest cable loss, dB", lambda one: one.worst_loss_db, decibels_text, False),
    _Row("largest deviation, dB", lambda one: np.abs(one.deviation_db), lambda v: f"{v:.2f}", True),
    _Row("damping factor", lambda one: one.damping_factor, factor_text, False),
    _Row("power lost in cable", lambda one: one.cable_share, lambda v: f"{v:.1%}", True),
    _Row("heat in cable, W", lambda one: one.cable_watts, three_digits_text, True),
)


def as_text(
    rig: Rig, cases: Cases, found: Sequence[CaseFigures], nominal: Sequence[CaseFigures]
) -> str:
    """The title, what varies, and for each choice nominal, median, 5 % and 95 %, and worst of its figures.

    Where nothing is drawn, least and most stand for 5 % and 95 %.
    """
    blocks = [rig.title, "\n".join(_varied(cases))]
    percents = _OF_DRAWS if cases.tolerances else _OF_STEPS
    blocks += [_choice(*both, percents) for both in zip(found, nominal, strict=True)]
    return "\n\n".join(blocks)


def _varied(cases: Cases) -> list[str]:
    seed = f", drawn with seed {cases.seed}" if cases.tolerances else ""
    told = [f"{len(cases)} cases{seed}:"]
    for stepped in cases.steps:
        shown = list(stepped.shown)
        if len(shown) > _LONGEST_LIST:
            shown = [*shown[:2], "...", shown[-1]]
        told.append(f"{stepped.words}: {', '.join(shown)} ({len(stepped.values)} steps)")
    told += [f"{one.words}: {one.spread_words}" for one in cases.tolerances]
    return [
        textwrap.fill(words, WIDTH, initial_indent="  " if at else "", subsequent_indent="    ")
        for at, words in enumerate(told)
    ]


def _choice(found: CaseFigures, nominal: CaseFigures, percents: Mapping[str, int]) -> str:
    head = textwrap.fill(f"{found.choice}: {found.label}", WIDTH, subsequent_indent="  ")
    hertz = set(found.reference_hz.tolist())
    at = show_frequency(three_digits(hertz.pop())) if len(hertz) == 1 else "reference"
    rows: list[tuple[str, ...]] = [("", "nominal", *percents, "worst", "in case")]
    for row in _ROWS:
        values = row.values(found)
        if np.isnan(values).any():  # no programme drives it
            continue
        worst = int(np.argmax(values) if row.greatest else np.argmin(values))
        low, middle, high = percentiles(values, [*percents.values()])
        told = (row.values(nominal)[0], low, middle, high, values[worst])
        cells = (row.shown(float(value)) for value in told)
        rows.append((row.words.format(at), *cells, str(worst + 1)))
    return f"{head}\n{columns(rows)}"
