"""The gain of a voice: at once, or coming up slowly where it is much louder than what was heard."""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from numpy.typing import NDArray

STRIKING: Final = 6.0
"""dB; a step up of more than that comes in slowly."""
DEEPEST: Final = 40.0
"""dB under its gain at which a voice begins to come up, at most."""
RISE: Final = 2.0
"""s that it takes, straight in dB."""


def rise_for(step: float) -> float:
    """dB under its gain at which a voice has to begin that is ``step`` dB louder than what is heard."""
    return min(step, DEEPEST) if step > STRIKING else 0.0


class Rise:
    """What a voice is multiplied by: up to ``gain`` (linear) from ``depth`` dB under it."""

    def __init__(self, gain: float, depth: float = 0.0) -> None:
        self.gain = gain
        self.left = depth
        """dB still to come."""
        self._rate = depth / RISE
        """dB/s"""

    def next(self, seconds: NDArray[np.float64], *, moves: bool) -> float | NDArray[np.float64]:
        """For the next block, whose frames end ``seconds`` after it begins; or it waits where it is."""
        if not self.left:
            return self.gain
        if not moves:
            return self.gain * 10.0 ** (-self.left / 20.0)
        left = np.maximum(self.left - self._rate * seconds, 0.0)
        self.left = float(left[-1, 0])
        return np.asarray(self.gain * np.exp(left * (-math.log(10.0) / 20.0)))
