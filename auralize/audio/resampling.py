"""From one sample rate to another: a polyphase filter for any stretch of a signal by itself."""

from __future__ import annotations

import math
from typing import Final

import numpy as np

from auralize.audio.metering import Samples

REACH: Final = 48
"""Samples of the lower rate on either side that the resampler looks at."""
KAISER_BETA: Final = 10.0


class Resampler:
    """Rational resampling by a Kaiser-windowed sinc; any stretch of the result by itself.

    Flat within 0.001 dB up to 0.466 of the lower rate (20.5 kHz at 44.1 kHz); images and aliases
    under -95 dB from 0.534 of it on, and none is heard between: they mirror what is above 20.5 kHz.
    """

    def __init__(self, from_rate: int, to_rate: int) -> None:
        common = math.gcd(from_rate, to_rate)
        self._up, self._down = to_rate // common, from_rate // common
        longest = max(self._up, self._down)
        self._half = REACH * longest
        place = np.arange(-self._half, self._half + 1)
        window = np.kaiser(len(place), KAISER_BETA)
        self._taps = np.sinc(place / longest) * window * (self._up / longest)

    def needs(self, start: int, stop: int) -> tuple[int, int]:
        """First frame of the file for frames start to stop of the result, and that after the last."""
        first = -((self._half - start * self._down) // self._up)
        return first, ((stop - 1) * self._down + self._half) // self._up + 1

    def run(self, samples: Samples, first: int, start: int, stop: int) -> Samples:
        """Frames start to stop, from ``samples`` that begin with frame ``first`` of the file."""
        from scipy.signal import upfirdn

        lead = start * self._down - first * self._up + self._half
        pad = -lead % self._down  # so that frame `start` falls on an output of the polyphase filter
        taps = np.concatenate([np.zeros(pad), self._taps])
        out = upfirdn(taps, samples, self._up, self._down, axis=0)
        skip = (lead + pad) // self._down
        return np.ascontiguousarray(out[skip : skip + stop - start])
