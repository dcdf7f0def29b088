"""How good a filter is: what is told as a caution, and what is refused. The one policy for all uses.

An error is the largest |F - H| / |H| in dB. At the goals of `auralize.filters.fir` nobody can tell; 20 dB
short of them the user is told; at 0 dB a filter is as wrong as silence, and is refused.
"""

from __future__ import annotations

import math
from typing import Final

from auralize.circuit.signals import Signal, over
from auralize.errors import DesignError
from auralize.filters.fir import DROP_GOAL, EXACT_GOAL, RunFilters
from auralize.rig.load_notes import what_to_measure
from auralize.rig.loads import WHOLE
from auralize.units import amplitude

TOLD_FROM: Final = 20.0
"""dB by which a goal may be missed without a word."""
COARSE_FROM: Final = -40.0
"""dB of error that a measured load is nearly always to blame for: too few points, or a wrong phase."""
REFUSED_FROM: Final = 0.0
"""dB; an error as large as the response itself."""


def goal_of(signal: Signal) -> float:
    """dB; the error that a filter of this signal should keep."""
    return DROP_GOAL if signal == "drop" else EXACT_GOAL


def of_magnitude(decibels: float) -> float:
    """The error in dB of a filter whose magnitude is off by some dB."""
    off = math.expm1(abs(decibels) * math.log(10.0) / 20.0)
    return 20.0 * math.log10(off) if off > 0.0 else -math.inf


def check(what: str, error: float) -> None:
    """Raise DesignError for a filter that is no better than silence; ``what`` it is, in words."""
    if not error < REFUSED_FROM:  # also refuses what is no number
        raise DesignError(
            f"{what}: no filter comes near this response (its error is as large as the response itself); "
            "right is a run that weakens less, or a higher sample rate"
        )


def caution(what: str, error: float, goal: float) -> str | None:
    """One sentence where ``error`` misses its ``goal`` by more than `TOLD_FROM`, both in dB."""
    if error <= goal + TOLD_FROM:
        return None
    remedy = f" If a load in it was measured: {what_to_measure(WHOLE)}, with its phase."
    return (
        f"Caution: {what} is off by up to {100.0 * amplitude(error):.2g} % somewhere between 20 Hz and "
        f"20 kHz ({error:.0f} dB; the goal is {goal:.0f} dB): do not judge small differences by it."
        f"{remedy if error > COARSE_FROM else ''}"
    )


def check_run(choice: str, filters: RunFilters) -> None:
    """`check` all filters of a choice."""
    for signal, across in filters.named():
        what = f"choice {choice}, {signal} signal{over(signal, across)}"
        check(what, filters.of(signal, across).error)


def run_caution(choice: str, filters: RunFilters) -> str | None:
    """The `caution` on the signal of a choice that misses its goal by most; None where none misses it."""
    signal, across = max(
        filters.named(), key=lambda name: filters.of(*name).error - goal_of(name[0])
    )
    what = f"the {signal} signal{over(signal, across)} of {choice}"
    return caution(what, filters.of(signal, across).error, goal_of(signal))
