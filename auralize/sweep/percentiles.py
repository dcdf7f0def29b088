"""Of many cases, what so many of a hundred do not exceed."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from auralize.circuit.conductor import Real

PERCENTS: Final = (5, 25, 50, 75, 95)
"""What a band is drawn between, and the median."""
LEAST_TO_MOST: Final = (0, 50, 100)
"""Where nothing is drawn: steps are chosen, so that no share of them says how likely anything is."""


def percentiles(values: Real, percents: Sequence[int] = PERCENTS) -> Real:
    """The least of ``values`` (cases, ...) that so many per cent do not exceed; shape (percents, ...).

    Each is a value that occurs, so that levels of silence need no special care, and a share of cases that
    meets a tolerance agrees with it. Exact; needs a copy of ``values``.
    """
    cases = len(values)
    places = [max(-(-percent * cases // 100) - 1, 0) for percent in percents]
    return np.partition(values, places, axis=0)[places]
