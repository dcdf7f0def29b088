"""Cases solved: from values of the rig file to the figures of every choice."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

import numpy as np

from auralize.circuit.conductor import Real
from auralize.circuit.solution import Across
from auralize.errors import RigError
from auralize.figures.curves import curves
from auralize.figures.numbers import Figures, figures
from auralize.rig.choice import Choice
from auralize.rig.reading import Rig
from auralize.rig.table import dotted
from auralize.sweep.case_figures import CaseFigures
from auralize.sweep.cases import Cases, Place, overlay
from auralize.units import quoted

_NONE: Final = np.empty(0)


def solve_cases(
    rig: Rig,
    choices: Sequence[Choice],
    cases: Cases,
    first: int,
    last: int,
    frequency: Real = _NONE,
    across: Across = "both",
) -> list[CaseFigures]:
    """The figures of each choice in the cases from ``first`` to before ``last``.

    With curves at ``frequency`` in Hz. Raises RigError for a value that the rig file could not have.
    """
    columns = cases.values(first, last)
    values = [dict(zip(columns, row, strict=True)) for row in zip(*columns.values(), strict=True)]
    return [_solved(rig, one, values, first, frequency, across) for one in choices]


CHUNK: Final = 256
"""Cases that are solved together."""


def solve_nominal(
    rig: Rig,
    choices: Sequence[Choice],
    cases: Cases,
    frequency: Real = _NONE,
    across: Across = "both",
) -> list[CaseFigures]:
    """The same of the one nominal case."""
    return [_solved(rig, one, [cases.nominal], None, frequency, across) for one in choices]


def _solved(
    rig: Rig,
    choice: Choice,
    values: Sequence[Mapping[Place, Any]],
    first: int | None,
    frequency: Real,
    across: Across,
) -> CaseFigures:
    found = []
    for number, one in enumerate(values):
        try:
            changed = rig.changed(choice, {(): overlay(one)})
        except RigError as error:
            told = ", ".join(f"{dotted(place)} = {quoted(value)}" for place, value in one.items())
            which = "the nominal case" if first is None else f"case {first + number + 1}"
            raise RigError(f"{error}; it was asked for in {which}, with {told}") from None
        found.append(_one(changed, frequency, across))
    return CaseFigures.joined(found)


def _one(choice: Choice, frequency: Real, across: Across) -> CaseFigures:
    found = figures(choice, (), across)
    at = (found.reference_hz,)
    drawn = curves(choice, across, np.array([*at, *frequency]))
    return CaseFigures(
        choice.name,
        choice.label,
        choice.listen,
        reference_hz=np.array(at),
        loss_db=np.array([found.loss_db]),
        drop_db=drawn.drop_db[:1],
        deviation_db=np.array([found.deviation_db]),
        deviation_hz=np.array([found.deviation_hz]),
        damping_factor=np.array([found.damping_factor]),
        damping_hz=np.array([found.damping_hz]),
        cable_share=np.array([found.cable_share]),
        cable_watts=np.array([_watts(found)]),
        frequency=frequency,
        loss_curve_db=drawn.loss_db[None, 1:],
        drop_curve_db=drawn.drop_db[None, 1:],
    )


def _watts(found: Figures) -> float:
    return np.nan if found.driven is None else sum(r.watts for r in found.driven.runs.values())
