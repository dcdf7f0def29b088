"""The limiter behind all that is played: a safety net, not an effect."""

from __future__ import annotations

from typing import Final

import numpy as np

from auralize.audio.metering import Samples
from auralize.gains import CEILING
from auralize.units import amplitude

LIMITER_CEILING: Final = amplitude(CEILING)
"""Linear: no sample that is played is above it; true peaks between samples may be."""
ATTACK_FRAMES: Final = 64
"""Frames in which the limiter turns down; what is above the ceiling until then is clipped."""
RELEASE: Final = 20.0
"""dB per second."""


class Limiter:
    """Keeps every sample at or under `LIMITER_CEILING`."""

    def __init__(self, rate: int, block: int) -> None:
        self.gain = 1.0
        self._release = amplitude(RELEASE * block / rate)
        self._release_ramp = (np.arange(1, block + 1) / block)[:, None]
        self._attack_ramp = np.minimum(np.arange(1, block + 1) / ATTACK_FRAMES, 1.0)[:, None]

    def run(self, block: Samples) -> None:
        """Limit (block, channels) in place."""
        peak = max(float(block.max()), -float(block.min()))
        before = self.gain
        self.gain = min(before * self._release, 1.0)
        if peak * self.gain > LIMITER_CEILING:
            self.gain = LIMITER_CEILING / peak
        if before == self.gain == 1.0:
            return
        ramp = self._attack_ramp if self.gain < before else self._release_ramp
        block *= before + (self.gain - before) * ramp
        np.clip(block, -LIMITER_CEILING, LIMITER_CEILING, out=block)
