"""True peak, measured while samples stream past: ITU-R BS.1770, Annex 2 (oversampled).

A block of samples is (n, channels), finite, with full scale at 1.0. The result does not depend on how a
stream is cut into blocks.
"""

from __future__ import annotations

import numpy as np

from auralize.audio.loudness import SLICE, FloatArray, check_format, check_shape

# The interpolator: a sinc that passes through the samples, cut by a Kaiser window. Its error is
# under 0.05 dB up to 0.46 of the sample rate (20.3 kHz at 44.1 kHz), 0.003 dB up to 0.25 of it.
REACH = 24  # samples on either side
KAISER_BETA = 6.0
SEGMENT = 2 * REACH  # instants decided on together; the taps of a segment span two segments
BATCH = 256  # segments interpolated together


class TruePeakMeter:
    """Highest true peak of a stream, over all channels; keeps a few samples only.

    4x oversampled below 64 kHz, 2x below 128 kHz, not at all above. A sine of frequency f can peak
    between two instants: it reads low by at most cos(pi f / oversampled rate), which at 192 kHz is
    0.17 dB for 12 kHz, 0.47 dB for 20 kHz. Before and after the stream there is silence. Same
    rates, channels and errors as LoudnessMeter.

    Segments that cannot hold a new maximum are skipped, which loses nothing: with interpolation
    written as the straight line between two samples plus a kernel on the second differences,
    |y| <= a max|x| + b max|x''| for any samples whatever.
    """

    def __init__(self, rate: int, channels: int) -> None:
        check_format(rate, channels)
        self._channels = channels
        self._phases = interpolator(4 if rate < 64_000 else 2 if rate < 128_000 else 1)
        self._bound = _interpolation_bound(self._phases)
        self._kernel = _segment_kernel(self._phases)
        self._pending = np.zeros((channels, SEGMENT))
        self._peak = 0.0

    def add(self, block: FloatArray) -> None:
        """Take the next block (n, channels); ValueError for another shape."""
        check_shape(block, self._channels)
        for start in range(0, len(block), SLICE):
            self._add_slice(block[start : start + SLICE])

    def _add_slice(self, block: FloatArray) -> None:
        self._peak = max(self._peak, _largest(block))
        self._pending = np.concatenate([self._pending, block.T], axis=1)
        used = (self._pending.shape[1] // SEGMENT - 1) * SEGMENT
        if used > 0:
            self._peak = self._scan(self._pending[:, : used + SEGMENT])
            self._pending = self._pending[:, used:].copy()

    def _scan(self, samples: FloatArray) -> float:
        """Peak so far or in the instants between `samples` (channels, whole segments)."""
        peak = self._peak
        if not len(self._phases):
            return peak
        flat, bend = self._bound
        second = np.zeros_like(samples)
        second[:, 1:-1] = samples[:, 2:] - 2 * samples[:, 1:-1] + samples[:, :-2]
        bound = flat * _segment_peaks(samples) + bend * _segment_peaks(second)
        windows = np.lib.stride_tricks.sliding_window_view(samples, 2 * SEGMENT, axis=1)
        windows = windows[:, ::SEGMENT]
        order = np.argsort(-bound, axis=None)[: np.count_nonzero(bound > peak)]
        for start in range(0, len(order), BATCH):
            batch = np.unravel_index(order[start : start + BATCH], bound.shape)
            if bound[batch][0] <= peak:
                break
            peak = max(peak, _largest(windows[batch] @ self._kernel))
        return peak

    @property
    def peak(self) -> float:
        """True peak so far, linear; 0 for silence. Never below the highest sample."""
        to_end = 3 * SEGMENT - self._pending.shape[1]
        return self._scan(np.pad(self._pending, ((0, 0), (0, to_end))))


def interpolator(oversampling: int) -> FloatArray:
    """Taps (oversampling - 1, 2 REACH) for the instants between the two middle samples."""
    instants = np.arange(1, oversampling) / oversampling
    distance = np.arange(-REACH + 1, REACH + 1) - instants[:, None]
    window = np.i0(KAISER_BETA * np.sqrt(1 - (distance / REACH) ** 2)) / np.i0(KAISER_BETA)
    return np.asarray(np.sinc(distance) * window)


def _interpolation_bound(phases: FloatArray) -> tuple[float, float]:
    """The a and b of |y| <= a max|x| + b max|second difference of x|, for the worst phase."""
    flat, bend = 1.0, 0.0
    for phase, taps in enumerate(phases, start=1):
        instant = phase / (len(phases) + 1)
        # Take off the straight line, which never exceeds the samples, and then what sum and slope
        # remain: the rest is a second difference, found by summing twice.
        rest = taps.copy()
        rest[REACH - 1 : REACH + 1] -= 1 - instant, instant
        total = rest.sum()
        slope = rest @ (np.arange(2 * REACH) - (REACH - 1))
        rest[REACH - 1 : REACH + 1] -= total - slope, slope
        flat = max(flat, 1 + abs(total) + 2 * abs(slope))
        bend = max(bend, float(np.abs(np.cumsum(np.cumsum(rest))).sum()))
    return flat, bend


def _segment_kernel(phases: FloatArray) -> FloatArray:
    """Matrix (2 SEGMENT, instants) that takes two segments of samples to one of instants."""
    kernel = np.zeros((2 * SEGMENT, SEGMENT, len(phases)))
    for position in range(SEGMENT):
        kernel[position : position + 2 * REACH, position] = phases.T
    return kernel.reshape(2 * SEGMENT, -1)


def _segment_peaks(samples: FloatArray) -> FloatArray:
    """Largest magnitude in each segment and its successor, (channels, segments - 1)."""
    each = np.abs(samples).reshape(len(samples), -1, SEGMENT).max(axis=2)
    return np.asarray(np.maximum(each[:, :-1], each[:, 1:]))


def _largest(values: FloatArray) -> float:
    return float(max(values.max(), -values.min()))
