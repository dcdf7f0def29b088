"""Two stepped values crossed: a figure as a table for a terminal, one value down, one across."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from auralize.figures.columns import WIDTH, columns, decibels_text
from auralize.rig.stepped import SteppedValue
from auralize.sweep.case_figures import CaseFigures
from auralize.sweep.cases import Cases
from auralize.sweep.requirement import (
    IN_DB,
    Requirement,
    cell,
    excess,
    kind_words,
    loss_words,
    told,
)

_MOST_ROWS: Final = 20
"""Which a terminal of 24 lines shows at once, with their head."""
_KEEPS: Final = "*"
_Texts = NDArray[np.str_]


def as_crossed(
    cases: Cases, found: Sequence[CaseFigures], requirements: Sequence[Requirement]
) -> str:
    """Of each choice the figure of the first requirement, marked where all are kept; else the loss.

    One sentence where there is no room. Nothing unless two values are stepped, and none drawn.
    """
    if len(cases.steps) != 2 or cases.tolerances:
        return ""
    for turned in (False, True):
        down, across = cases.steps[::-1] if turned else cases.steps
        if len(down.values) > _MOST_ROWS or len(across.values) > WIDTH:
            continue
        each = [_cells(one, cases, requirements) for one in found]
        tables = [columns(_rows(down, across, one.T if turned else one)) for one in each]
        if all(map(_fits, tables)):
            named = [f"{one.choice}:\n{t}" for one, t in zip(found, tables, strict=True)]
            return "\n\n".join([_head(down, across, found, requirements), *named])
    down, across = cases.steps
    none = f"There is no room for a table of {down.words} by {across.words}; the CSV has all cases."
    return textwrap.fill(none, WIDTH)


def _head(
    down: SteppedValue,
    across: SteppedValue,
    found: Sequence[CaseFigures],
    requirements: Sequence[Requirement],
) -> str:
    figure, mark = f"{loss_words(found)} in dB", ""
    if requirements:
        kind = requirements[0].kind
        figure = f"{kind_words(kind, found)}{' in dB' if kind in IN_DB else ''}"
        mark = f", {_KEEPS} where all limits are kept"
    told = f"{figure[0].upper()}{figure[1:]}, {down.words} down, {across.words} across{mark}:"
    return textwrap.fill(told, WIDTH)


def _fits(table: str) -> bool:
    return max(map(len, table.splitlines())) <= WIDTH


def _cells(one: CaseFigures, cases: Cases, requirements: Sequence[Requirement]) -> _Texts:
    """Shape (steps of the first value, of the second)."""
    if requirements:
        kind, keeps = requirements[0].kind, excess(one, requirements) <= 1.0
        shown = [cell(value, kind) for value in told(one, kind)]
        texts = [
            f"{text}{_KEEPS if kept else ' '}" for text, kept in zip(shown, keeps, strict=True)
        ]
    else:
        texts = [decibels_text(value) for value in one.loss_db]
    return np.array(texts).reshape([len(step.values) for step in cases.steps])


def _rows(down: SteppedValue, across: SteppedValue, cells: _Texts) -> list[tuple[str, ...]]:
    rows = [(shown, *row) for shown, row in zip(down.shown, cells.tolist(), strict=True)]
    return [("", *across.shown), *rows]
