"""Cases solved: from values of the rig file to the figures of every choice."""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from typing import Any, Final

import numpy as np

from auralize.circuit.conductor import Real
from auralize.circuit.solution import Across
from auralize.errors import RigError
from auralize.rig.choice import Choice
from auralize.rig.reading import Rig
from auralize.rig.table import dotted
from auralize.rig.varied import Place, VariedChoice
from auralize.sweep.case_figures import CaseFigures
from auralize.sweep.cases import Cases
from auralize.sweep.together import alike, solve_together
from auralize.units import quoted

_NONE: Final = np.empty(0)


_TOGETHER: Final = 32
# So many at once: more no longer fit into the processor's cache.


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


def solve_all(rig: Rig, choices: Sequence[Choice], cases: Cases) -> list[CaseFigures]:
    """The same for all cases, without curves."""
    parts = [
        solve_cases(rig, choices, cases, first, min(first + CHUNK, len(cases)))
        for first in range(0, len(cases), CHUNK)
    ]
    return [CaseFigures.joined(some) for some in zip(*parts, strict=True)]


def solve_nominal(
    rig: Rig,
    choices: Sequence[Choice],
    cases: Cases,
    frequency: Real = _NONE,
    across: Across = "both",
) -> list[CaseFigures]:
    """The same of the one nominal case."""
    return [_solved(rig, one, [cases.nominal], None, frequency, across) for one in choices]


def cables_of(rig: Rig, choice: Choice) -> tuple[str, ...]:
    """All that a choice has, used or not."""
    return tuple(rig.said(choice).get("cables", {}))


def _solved(
    rig: Rig,
    choice: Choice,
    values: Sequence[Mapping[Place, Any]],
    first: int | None,
    frequency: Real,
    across: Across,
) -> CaseFigures:
    def told(error: ValueError, at: int) -> RigError:
        said = ", ".join(f"{dotted(place)} = {quoted(v)}" for place, v in values[at].items())
        which = "the nominal case" if first is None else f"case {first + at + 1}"
        return RigError(f"{error}; it was asked for in {which}, with {said}")

    varied, changed = VariedChoice(rig, choice, [*values[0]]), []
    for at, one in enumerate(values):
        try:
            changed.append(varied.at(one))
        except RigError as error:
            raise told(error, at) from None
    groups: dict[Hashable, list[int]] = {}
    for at, made in enumerate(changed):
        groups.setdefault(alike(made), []).append(at)
    found, order, cables = [], [], cables_of(rig, choice)
    for group in (
        g[at : at + _TOGETHER] for g in groups.values() for at in range(0, len(g), _TOGETHER)
    ):
        order += group
        try:
            found.append(solve_together([changed[at] for at in group], cables, frequency, across))
        except ValueError:  # of one of them; which one is found by itself
            for at in group:
                try:
                    found.append(solve_together([changed[at]], cables, frequency, across))
                except ValueError as error:
                    raise told(error, at) from None
    return CaseFigures.joined(found).of(np.argsort(order))
