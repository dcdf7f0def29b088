"""Levels in dB and phase: what arrives at a loudspeaker, and the drop, against the sending end."""

from __future__ import annotations

import numpy as np

from auralize.circuit.conductor import Complex, Real
from auralize.circuit.solution import Across, Solution


def arriving(solution: Solution, load: str) -> Complex:
    """Receiving over sending end (times the transformers' turns), over the solution's frequencies."""
    return _relative(solution.receiving[load], solution.reference(load))


def loss_db(solution: Solution, load: str) -> Real:
    """Level of the receiving end relative to the sending end; minus infinity where nothing arrives."""
    return _level(arriving(solution, load))


def drop_db(solution: Solution, load: str, across: Across = "both") -> Real:
    """Level of the drop relative to the sending end; minus infinity where no cable keeps any."""
    return _level(_relative(solution.drop(load, across), solution.reference(load)))


def _relative(voltage: Complex, reference: Complex) -> Complex:
    """Their ratio; 0 where nothing is sent, as then nothing arrives either."""
    silent = reference == 0.0
    return np.where(silent, 0.0, voltage / np.where(silent, 1.0, reference))


def _level(ratio: Complex) -> Real:
    with np.errstate(divide="ignore"):
        return 20.0 * np.log10(np.abs(ratio))
