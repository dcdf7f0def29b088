"""Choices of one layout solved together: the figures of all of them, as arrays."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Sequence
from typing import Any

import numpy as np

from auralize.circuit.conductor import Real
from auralize.circuit.levels import drop_db, loss_db
from auralize.circuit.power import driven_weight, share_kept
from auralize.circuit.sizing import counted, departure, transformers_alone
from auralize.circuit.solution import Across, Solution, solve, source_impedance
from auralize.circuit.stacked import Stacked, layout, tiled
from auralize.figures.headlines import damping_factor
from auralize.figures.numbers import deviation_of
from auralize.figures.powers import programme
from auralize.figures.reference import band_of, damping_points, reference, sweep
from auralize.rig.choice import Choice
from auralize.sweep.case_figures import CaseFigures

Rows = Callable[[Any, Any], Any]
"""Of values at all points of all cases those at some frequencies, shape (cases, frequencies)."""


def alike(choice: Choice) -> Hashable:
    """Equal for choices that can be solved together: the same layout, judged at the same frequencies."""
    drive = choice.drive and (choice.drive.frequency, choice.drive.share)
    return layout(choice.network), choice.listen, band_of(choice), choice.turns_db is None, drive


def solve_together(
    choices: Sequence[Choice], cables: Sequence[str], frequency: Real, across: Across
) -> CaseFigures:
    """The figures of choices that are `alike`, with curves at ``frequency`` in Hz, and metres of ``cables``.

    Raises RequestError where the drop cannot be told, ValueError where a case cannot be solved.
    """
    first = choices[0]
    first.check_signal("drop", across)
    band = band_of(first)
    at, heard, weighing = np.array([reference(band)]), sweep(band), programme(first, band)
    drives = [weighing.frequency] + ([] if first.drive is None else [first.drive.frequency])
    grid = np.unique(np.concatenate([at, heard, *drives, damping_points(first), frequency]))
    stacked = Stacked([choice.network for choice in choices], grid)
    solution = solve(stacked.over(grid), tiled(grid, len(choices)))

    def rows(values: Any, hertz: Any) -> Any:
        return values.reshape(len(choices), -1)[:, np.searchsorted(grid, hertz)]

    loss, drop = loss_db(solution, first.listen), drop_db(solution, first.listen, across)
    loss_there = rows(loss, at)[:, 0]
    points = np.concatenate([at, heard])
    judged = counted(rows(loss, points), _transformers_own(choices, points))
    least = np.argmin(judged[:, 1:], axis=1)
    deviation, deviation_hz = _largest(deviation_of(rows(loss, heard), loss_there[:, None]), heard)
    damping, damping_hz = _damping(choices, stacked)
    power = rows(solution.input_power, weighing.frequency)
    return CaseFigures(
        first.name,
        first.label,
        first.listen,
        tuple(cables),
        metres=np.array([[_metres(choice, cable) for cable in cables] for choice in choices]),
        reference_hz=np.repeat(at, len(choices)),
        loss_db=loss_there,
        drop_db=rows(drop, at)[:, 0],
        deviation_db=deviation,
        deviation_hz=deviation_hz,
        worst_loss_db=judged[:, 1:].min(axis=1),
        worst_loss_hz=heard[least],
        worst_deviation_db=departure(judged).max(axis=1),
        damping_factor=damping,
        damping_hz=damping_hz,
        cable_share=share_kept(power, rows(solution.cable_share(), weighing.frequency), weighing),
        cable_watts=_watts(choices, solution, rows),
        frequency=frequency,
        loss_curve_db=rows(loss, frequency),
        drop_curve_db=rows(drop, frequency),
    )


def _metres(choice: Choice, cable: str) -> float:
    """In all runs."""
    runs = choice.network.runs
    return sum(runs[name].length for name, one in choice.runs.items() if one.cable_name == cable)


def _largest(deviation: Real, heard: Real) -> tuple[Real, Real]:
    """What is largest in each case, with its sign, and the Hz that it is at."""
    worst = np.argmax(np.abs(deviation), axis=1)
    return deviation[np.arange(len(worst)), worst], heard[worst]


def _transformers_own(choices: Sequence[Choice], points: Real) -> Real | float:
    """Loss in dB of what the loudspeaker is behind, which is not the cable's; shape (cases, frequencies)."""
    if choices[0].turns_db is None:
        return 0.0
    grid = np.unique(points)
    alone = Stacked([transformers_alone(choice.network) for choice in choices], grid)
    own = loss_db(solve(alone.over(grid), tiled(grid, len(choices))), choices[0].listen)
    return own.reshape(len(choices), -1)[:, np.searchsorted(grid, points)]


def _damping(choices: Sequence[Choice], stacked: Stacked) -> tuple[Real, Real]:
    """The least factor of each case, and the Hz that it is at."""
    load, points = choices[0].listen, damping_points(choices[0])
    at = tiled(points, len(choices))
    back = np.abs(source_impedance(stacked.over(points), load, at)).reshape(len(choices), -1)
    nominal = np.array([choice.loads[load].nominal for choice in choices])
    return damping_factor(back.max(axis=1), nominal), points[np.argmax(back, axis=1)]


def _watts(choices: Sequence[Choice], solution: Solution, rows: Rows) -> Real:
    """Heat in the cable of all runs; not a number where nothing drives it, or it is shorted."""
    drive = choices[0].drive
    if drive is None:
        return np.full(len(choices), np.nan)
    kept = np.sum([solution.run_power(name) for name in solution.network.runs], axis=0)
    weight = driven_weight(rows(solution.sending, drive.frequency), drive)
    volts = np.array([choice.drive.volts for choice in choices if choice.drive])
    found = (weight * rows(kept, drive.frequency)).sum(axis=-1) * (volts / drive.volts) ** 2
    return np.where(np.isfinite(found), found, np.nan)
