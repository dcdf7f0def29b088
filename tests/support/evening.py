"""The programme of the demonstration, synthesised once in a process: it takes seconds."""

from functools import cache

import numpy as np
from auralize_demo.programme import synthesise
from numpy.typing import NDArray


@cache
def evening(rate: int = 48_000) -> NDArray[np.float64]:
    """Its samples, (frames, 2), for reading only."""
    samples = synthesise(rate)
    samples.flags.writeable = False
    return samples
