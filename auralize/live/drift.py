"""Two devices, two clocks: a slow control loop, and a resampler that follows it. No device, no thread.

What comes in at one clock goes out at another that differs by some parts per million (ppm). The loop looks
at how much lies between the two and says how many frames to take for each frame out; the interpolator takes
them. A step of pitch of 500 ppm is 0.9 cent; what is heard as a change of pitch begins at some cents.
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from numpy.typing import NDArray

from auralize.audio.metering import Samples

MOST_DRIFT: Final = 500e-6
"""Of the rate: the loop goes no further. Crystals differ by 100 ppm at most (common practice, no source)."""
LARGE_DRIFT: Final = 100e-6
"""Of the rate: more is said."""
LOOP_FREQUENCY: Final = 0.006
"""Hz: natural frequency of the control loop, critically damped."""
SMOOTHING: Final = 0.04
"""Hz: corner of each of the two filters before it, which take out the jitter of callbacks."""

FIRST_LOOK: Final = 1.0
"""s in which the loop only looks."""

HALF: Final = 48
"""Frames on either side that the interpolator looks at: its delay."""
KAISER_BETA: Final = 12.5
NODES: Final = 8
"""Filters worked out for one block; between them it is interpolated (error: see `Interpolator`)."""
LONGEST_BLOCK: Final = 4096
"""Frames: with `MOST_DRIFT` the place moves by 2 frames in it at most."""


_WINDOW_AT: Final = np.linspace(0.0, HALF, 1 << 14)
_WINDOW: Final = np.i0(KAISER_BETA * np.sqrt(1.0 - (_WINDOW_AT / HALF) ** 2)) / np.i0(KAISER_BETA)
"""Read between two points of this table it is wrong by -165 dB at most."""
_WINDOW[-1] = 0.0


class DriftLoop:
    """From how far the filling is off its target to frames in per frame out.

    Type II: a lasting difference of the clocks leaves no error of the filling. One of 100 ppm moves the
    filling by 1 ms and overshoots to 135 ppm on the way; after three minutes the ratio is right within
    0.5 ppm. Callbacks that come up to 5 ms late, at random, move it by 35 ppm at most (0.06 cent).
    """

    def __init__(self, rate: int, block: int) -> None:
        seconds = block / rate
        natural = 2.0 * math.pi * LOOP_FREQUENCY
        self._smooth = 1.0 - math.exp(-2.0 * math.pi * SMOOTHING * seconds)
        self._straight = 2.0 * natural / rate
        self._gathered = natural**2 * seconds / rate
        self._looks = round(FIRST_LOOK / seconds)
        self.drift = 0.0
        """By how much the clock of the input is faster, of the rate: what the loop has gathered."""
        self.settle()

    def step(self, excess: float) -> float:
        """Frames in per frame out for the next block; ``excess``: frames that lie there over the target."""
        if self._looked < self._looks:
            self._looked += 1
            self._base += (excess - self._base) / self._looked
            return 1.0 + self.drift
        self._first += self._smooth * (excess - self._base - self._first)
        self._second += self._smooth * (self._first - self._second)
        self.drift = _held(self.drift + self._gathered * self._second)
        return 1.0 + _held(self.drift + self._straight * self._second)

    def settle(self) -> None:
        """The filling was brought near its target by other means; what is known of the clocks stays.

        What it is on the mean of the first second, with callbacks early and late, is the target then.
        """
        self._looked, self._base = 0, 0.0
        self._first = self._second = 0.0


def _held(drift: float) -> float:
    return min(max(drift, -MOST_DRIFT), MOST_DRIFT)


class Interpolator:
    """A signal at places that move on by nearly one frame for each frame out: a Kaiser-windowed sinc.

    Within a block the place between two frames moves little, so the filter is worked out exactly at
    `NODES` places of it and what they give is interpolated (Chebyshev nodes): no table of phases, no
    error from one. A sine comes out with its error under -120 dB up to 0.9 of half the rate, at any drift
    within `MOST_DRIFT` and in blocks of up to 1024 frames (of 2048, from 96 kHz on, up to 0.5 of it);
    what lies above 0.95 is soiled by its own images.
    """

    def __init__(self, block: int, channels: int) -> None:
        if block > LONGEST_BLOCK:
            raise ValueError(f"a block of {block} frames; {LONGEST_BLOCK} at most are right")
        self._block = block
        self._taps = 2 * HALF + 1
        self._place = 1.0  # of the next frame out, from half a frame to one and a half
        self._kept = np.zeros((self._taps - 1, channels))
        # Interpolation over the block by Lagrange's polynomials, the same whatever the drift is.
        self._nodes = np.cos(np.pi * (np.arange(NODES) + 0.5) / NODES)
        within = np.linspace(-1.0, 1.0, block)
        self._between = np.array(
            [
                np.prod([(within - b) / (a - b) for b in self._nodes if b != a], axis=0)
                for a in self._nodes
            ]
        )

    @property
    def ahead(self) -> float:
        """Frames that it has taken beyond those whose place has been passed."""
        return len(self._kept) - (self._taps - 1) + 1.0 - self._place

    @property
    def needs(self) -> int:
        """Frames to be given for the next block."""
        return self._block + self._taps - 1 - len(self._kept)

    def run(self, samples: Samples, ratio: float) -> Samples:
        """(block, channels) from (`needs`, channels), at ``ratio`` frames in per frame out."""
        held = np.concatenate([self._kept, samples])
        moved = (self._block - 1) * (ratio - 1.0)
        places = self._place + 0.5 * moved * (1.0 + self._nodes)
        filters = _windowed_sinc(places[:, None] + HALF - 1 - np.arange(self._taps))
        out = np.empty((self._block, held.shape[1]))
        for channel in range(held.shape[1]):
            signal = np.ascontiguousarray(held[:, channel])
            given = [np.convolve(signal, taps, "valid") for taps in filters[:, ::-1]]
            out[:, channel] = np.einsum("kn,kn->n", given, self._between)
        place = self._place + self._block * (ratio - 1.0)
        whole = math.floor(place - 0.5)
        self._place = place - whole
        self._kept = held[self._block + whole :]
        return out


def _windowed_sinc(distance: NDArray[np.float64]) -> NDArray[np.float64]:
    """The filter at distances in frames; 0 from `HALF` on."""
    window = np.interp(np.abs(distance), _WINDOW_AT, _WINDOW)
    return np.asarray(np.sinc(distance) * window)
