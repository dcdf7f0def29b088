"""What sounds now, in third octaves and in a fine line, averaged as a sound level meter does.

Both by Hann windows whose length follows frequency, so a low tone gets the time it needs and a high one is
not held up: power is integrated over bands, third octaves of IEC 61260-1, or (the fine line) twelfths of an
octave, 24 of them an octave, as a constant-Q analysis does. What lies low is looked at in a signal of lower
rate. Windows overlap so that their squares add up to a constant: all that sounds counts, wherever it lies.

    third octaves   21 ms from 1.25 kHz on, 43 ms at 1 kHz, doubled octave by octave to 1.4 s at 20 Hz
    fine line       85 ms from 1 kHz on, doubled octave by octave to 1.4 s at 63 Hz; under that a point is as
                    wide as the window allows, 3.7 Hz

(at 48 kHz). Levels are mean squares relative to 1 over all channels, in dB: a sine at full scale reads -3.01
dBFS. Computed in single precision: what lies 130 dB under the loudest band of its signal is rounding.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from auralize.audio.bands import THIRD_OCTAVES
from auralize.audio.metering import Samples

Real = NDArray[np.float64]
Rows = NDArray[np.float32]
Fineness = Literal["thirds", "line"]

THIRD: Final = 10.0**0.1
"""From one mid-band frequency to the next: a tenth of a decade (IEC 61260-1, base ten)."""
FAST, SLOW = 0.125, 1.0
"""s; time weightings F and S (IEC 61672-1, values from memory)."""
POINTS_PER_OCTAVE: Final = 24
LINE_LOWEST, LINE_HIGHEST = 20.0, 20_000.0
"""Hz, the ends of the fine line."""
_HALF_POINT: Final = 2.0 ** (1 / 24)
"""A point of the line reaches this factor to either side: a twelfth of an octave."""
_HALF_BINS: Final = 2.5
"""Least distance, in bins, from the middle of a band to its lower edge: the main lobe of a Hann window (2
bins to either side) lies within it, and so does the power of a tone."""
_SHORTEST, _LONGEST = 0.020, 1.16
"""s of the shortest window and the longest one (what the band at 20 Hz needs), before they are rounded up
to a power of two frames."""
_OVERLAP: Final = 4
"""Windows that hold one sample, at least: squares of Hann windows then add up to a constant."""
_HOP: Final = 0.043
"""s from window to window at most, so that long ones move as smoothly as a picture does."""
_LOW_RATE: Final = 3_000.0
"""Hz; the lower rate is the one nearest to it that the rate is a power of two of."""
_LOW_EDGE: Final = 0.375
"""Of the lower rate: what lies under it is looked at there."""
_HIGHEST_EDGE: Final = 0.475
"""Of the rate: the highest band edge that is looked at. 20 kHz from 47.2 kHz on."""
_FOLDED: Final = 80.0
"""dB by which what would fold back at the lower rate is kept out."""
_NOTHING: Final = 1e-30
"""Power of silence, -300 dB, in place of none."""


@dataclass(frozen=True, eq=False)
class Readings:
    """dB, (signals, bands), at one moment."""

    fast: Real
    slow: Real
    highest: Real
    """Highest fast levels since this was last asked."""


def mid_bands(rate: float) -> Real:
    """Exact mid-band frequencies in Hz of the audio third octaves that a sample rate carries."""
    exact = 10.0 ** (np.round(10.0 * np.log10(THIRD_OCTAVES)) / 10.0)
    return np.asarray(exact[exact * math.sqrt(THIRD) <= _HIGHEST_EDGE * rate])


def line_points(rate: float) -> Real:
    """Frequencies in Hz of the fine line."""
    highest = min(LINE_HIGHEST, _HIGHEST_EDGE * rate / _HALF_POINT)
    steps = np.arange(int(math.log2(highest / LINE_LOWEST) * POINTS_PER_OCTAVE) + 1)
    return np.asarray(LINE_LOWEST * 2.0 ** (steps / POINTS_PER_OCTAVE))


def _power_of_two(at_least: float) -> int:
    return 1 << max(0, math.ceil(math.log2(at_least)))


class _Group:
    """Bands that share a window length at one rate: their powers, averaged."""

    def __init__(
        self, rate: float, frames: int, shape: tuple[int, int], middles: Real, half: float
    ) -> None:
        from scipy import fft  # 0.1 s to import: only when something is analysed

        self._rfft = fft.rfft
        self._signals, self._channels = shape
        self._frames = frames
        self._hop = min(frames // _OVERLAP, _power_of_two(_HOP * rate))
        self._window = np.hanning(frames + 1)[:-1].astype(np.float32)
        self._held: Rows = np.zeros((self._signals * self._channels, frames), np.float32)
        # The upper edges of all bands, then the lower ones: bins to their left, and how far beyond.
        edges = np.concatenate(_band_edges(rate, frames, middles, half)[::-1])
        self._left = np.minimum(edges.astype(np.intp), frames // 2)
        self._beyond = edges - self._left
        self._scale = 2.0 / (frames * np.sum(self._window.astype(np.float64) ** 2) * self._channels)
        self._constants = [self._hop / rate / constant for constant in (FAST, SLOW)]
        self._shares: dict[int, list[tuple[Real, Real]]] = {}
        """For each of both averages, by the number of windows: see `_shares_of`."""
        self.fast, self.slow, self.highest = (
            np.full((self._signals, len(middles)), _NOTHING) for _ in range(3)
        )

    def feed(self, rows: Rows) -> None:
        """(signals and channels, frames)"""
        held = np.concatenate([self._held, rows], axis=1)
        count = max(0, (held.shape[1] - self._frames) // self._hop)
        self._held = held[:, count * self._hop :]
        if not count:
            return
        row, item = held.strides
        windows = np.lib.stride_tricks.as_strided(
            held[:, self._hop :], (len(held), count, self._frames), (row, self._hop * item, item)
        )
        spectra = self._rfft(windows * self._window, axis=2)
        power = spectra.real**2 + spectra.imag**2
        power = power.reshape(self._signals, self._channels, count, -1).sum(
            axis=1, dtype=np.float64
        )
        total = np.zeros((*power.shape[:2], power.shape[2] + 1))
        np.cumsum(power, axis=2, out=total[:, :, 1:])
        found = np.take(total, self._left, axis=2)
        found += (np.take(total, self._left + 1, axis=2) - found) * self._beyond
        bands = found[..., : found.shape[2] // 2] - found[..., found.shape[2] // 2 :]
        self._take(self._scale * bands.swapaxes(0, 1))

    def _take(self, powers: Real) -> None:
        """(windows, signals, bands): each average after each of them.

        No product of matrices by BLAS, here and above: its threads would wait for work at full load.
        """
        if len(powers) not in self._shares:
            self._shares[len(powers)] = [_shares_of(len(powers), c) for c in self._constants]
        for state, (shares, left) in zip(
            (self.fast, self.slow), self._shares[len(powers)], strict=True
        ):
            averages = np.einsum("ij,jsb->isb", shares, powers)
            averages += left * state
            state[:] = np.maximum(averages[-1], _NOTHING)
            if state is self.fast:
                np.maximum(self.highest, averages.max(axis=0), out=self.highest)


def _band_edges(rate: float, frames: int, middles: Real, half: float) -> tuple[Real, Real]:
    """Where each band begins and ends, in bins from the left edge of the first (half a bin under 0 Hz).

    Where a window is too short for a band, that reaches as far as a tone is spread.
    """
    width = rate / frames
    low = np.minimum(middles / half, middles - _HALF_BINS * width) / width
    high = np.maximum(middles * half, middles + _HALF_BINS * width) / width
    last = frames // 2 + 1
    return np.clip(low + 0.5, 0.0, last), np.clip(high + 0.5, 0.0, last)


def _shares_of(windows: int, constant: float) -> tuple[Real, Real]:
    """Of each window in the average after each, (windows, windows); of what was before, (windows, 1, 1)."""
    after = np.arange(windows)
    age = after[:, None] - after
    shares = np.where(age >= 0, -np.expm1(-constant) * np.exp(-constant * age), 0.0)
    return shares, np.exp(-constant * (after[:, None, None] + 1))


class _Lower:
    """The same signal at a rate lower by a whole factor."""

    def __init__(self, rows: int, factor: int) -> None:
        from scipy import signal

        self._factor = factor
        nyquist = 0.5 * factor  # of the lower rate, in which all is reckoned here
        taps, beta = signal.kaiserord(_FOLDED, (1.0 - 2.0 * _LOW_EDGE) / nyquist)
        window = ("kaiser", beta)
        self._taps = signal.firwin(taps, 0.5, window=window, fs=factor)[::-1].astype(np.float32)
        before = -(-taps // factor) * factor
        self._before: Rows = np.zeros((rows, before), np.float32)

    def feed(self, rows: Rows) -> Rows:
        """(rows, frames), frames a multiple of the factor."""
        held = np.concatenate([self._before, rows], axis=1)
        first = self._before.shape[1] - len(self._taps) + 1
        self._before = held[:, rows.shape[1] :]
        row, item = held.strides
        parts = np.lib.stride_tricks.as_strided(
            held[:, first:],
            (len(rows), rows.shape[1] // self._factor, len(self._taps)),
            (row, self._factor * item, item),
        )
        # Several times as fast as scipy's upfirdn; BLAS is not for here, see `_Group._take`.
        return np.einsum("rkt,t->rk", parts, self._taps)


class Analyser:
    """Takes signals side by side and tells their levels, over third octaves or as a fine line.

    What is taken comes in multiples of ``step`` frames, a power of two of 10 to 20 ms.
    """

    def __init__(
        self, rate: int, signals: int, channels: int, step: int, fineness: Fineness
    ) -> None:
        thirds = fineness == "thirds"
        self.frequencies = mid_bands(rate) if thirds else line_points(rate)
        """Hz, of the bands."""
        half = math.sqrt(THIRD) if thirds else _HALF_POINT
        self._shape, self._step = (signals, channels), step
        factor = 1 << max(0, round(math.log2(rate / _LOW_RATE)))
        lower = rate / factor
        low = self.frequencies * half <= _LOW_EDGE * lower
        highs = self._grouped(rate, self.frequencies[~low][:1], half)
        self._lower = _Lower(signals * channels, factor)
        self._high = _Group(rate, int(highs[0]), self._shape, self.frequencies[~low], half)
        windows = self._grouped(lower, self.frequencies[low], half)
        self._lows = [
            _Group(lower, int(n), self._shape, self.frequencies[low][windows == n], half)
            for n in sorted(set(windows), reverse=True)  # the longest has the lowest bands
        ]

    def _grouped(self, rate: float, middles: Real, half: float) -> NDArray[np.intp]:
        """Frames of the window of each of these bands."""
        needed = _HALF_BINS * rate / (middles * (1.0 - 1.0 / half))
        least, most = _power_of_two(_SHORTEST * rate), _power_of_two(_LONGEST * rate)
        return np.array([min(max(_power_of_two(n), least), most) for n in needed], np.intp)

    def feed(self, samples: Samples) -> None:
        """(signals, frames, channels); raises ValueError on another shape."""
        signals, frames, channels = samples.shape
        if (signals, channels) != self._shape or frames % self._step:
            raise ValueError(
                f"Samples of shape {samples.shape} were given; ({self._shape[0]}, a multiple of "
                f"{self._step}, {self._shape[1]}) is right"
            )
        rows = np.asarray(samples, np.float32).swapaxes(1, 2).reshape(signals * channels, frames)
        self._high.feed(rows)
        lower = self._lower.feed(rows)
        for group in self._lows:
            group.feed(lower)

    def readings(self) -> Readings:
        """Levels in dB now; the highest ones begin anew."""
        groups = [*self._lows, self._high]
        found = Readings(
            fast=_decibels([g.fast for g in groups]),
            slow=_decibels([g.slow for g in groups]),
            highest=_decibels([g.highest for g in groups]),
        )
        for group in groups:
            group.highest[:] = group.fast
        return found


def _decibels(powers: list[Real]) -> Real:
    return np.asarray(10.0 * np.log10(np.concatenate(powers, axis=1)))
