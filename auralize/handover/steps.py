"""The step of a slider that is the rig as it is."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray


def nearest(base: Sequence[NDArray[np.float64]], steps: Sequence[Sequence[NDArray[Any]]]) -> int:
    """The step whose responses are those of the rig as it is, or come nearest; each a list by choice."""
    return int(np.argmin([sum(map(_apart, base, step)) for step in steps]))


def _apart(one: NDArray[np.float64], other: NDArray[np.float64]) -> float:
    most = max(len(one), len(other))
    padded = (np.pad(taps, (0, most - len(taps))) for taps in (one, other))
    return float(np.square(np.subtract(*padded)).sum())
