"""True peak, measured while samples stream past: ITU-R BS.1770, Annex 2 (oversampled).

A block of samples is (n, channels), finite, with full scale at 1.0. The result does not depend on how a
stream is cut into blocks.
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from auralize.audio.loudness import FloatArray, check_format, check_shape
from auralize.audio.recursion import MOST

OVERSAMPLING: Final = 8
"""At any sample rate: a programme may reach up to half of it. Between two instants a sine of the
highest frequency falls by 0.17 dB at most."""

# The interpolator: a sinc that passes through the samples, cut by a Kaiser window. Its error is under
# 0.02 dB up to 0.48 of the sample rate.
REACH: Final = 48  # samples on either side
AROUND: Final = 2 * REACH - 1  # samples that the taps need besides those of a segment
KAISER_BETA: Final = 6.0

SHARE_AT_HALVES: Final = 0.65
"""Of its true peak, what a signal has at a sample or half way between two, next to it. Where one
without anything above f has its highest magnitude M, it stays above M cos(2 pi f t) for a time t on
either side (Duffin and Schaeffer; from memory). What the interpolator lets through ends at 0.52 of the
sample rate, but for a thousandth, and t is a quarter of a sample: 0.68, less an allowance for that."""

CHUNK: Final = 1 << 14  # frames looked at together
SEGMENT: Final = 32  # samples whose instants are interpolated together
PARTS: Final = 4  # segments that a segment with what is around it touches
BATCH: Final = 256  # segments likewise
ALONE: Final = 1 << 18
"""Multiplications up to which OpenBLAS forms a product in the thread that asks for it (value from memory).
Its own threads take the processor from others, at a priority that is not ours to set: on a busy machine
of two processors six times as much time as all the products (measured)."""


class TruePeakMeter:
    """Highest true peak of a stream, over all channels; keeps a few thousand samples only.

    8x oversampled: a sine that peaks between two instants reads low by at most 0.17 dB, which one at
    half the sample rate does. Before and after the stream there is silence. Same rates, channels and
    errors as LoudnessMeter.

    Only where the stream comes near its highest are all instants looked at, which loses nothing: see
    `SHARE_AT_HALVES`. Where ``goes_on``, this is a part of a stream, and other samples came before.
    """

    def __init__(self, rate: int, channels: int, *, goes_on: bool = False) -> None:
        check_format(rate, channels)
        self._channels = channels
        phases = interpolator(OVERSAMPLING)
        half = OVERSAMPLING // 2 - 1
        self._most = float(np.abs(phases).sum(axis=1).max())  # of the highest sample, between two
        self._halves = _segment_kernel(phases[half : half + 1]).astype(np.float32)
        self._instants = _segment_kernel(phases)
        self._pending = np.zeros((channels, 0 if goes_on else AROUND))
        self._peak = 0.0

    def add(self, block: FloatArray) -> None:
        """Take the next block (n, channels); ValueError for another shape."""
        check_shape(block, self._channels)
        for start in range(0, len(block), MOST):
            self._add_slice(block[start : start + MOST])

    def _add_slice(self, block: FloatArray) -> None:
        self._peak = max(self._peak, _largest(block))
        self._pending = np.concatenate([self._pending, block.T], axis=1)
        if self._pending.shape[1] >= CHUNK:
            segments = (self._pending.shape[1] - AROUND) // SEGMENT
            self._peak = self._scan(self._pending[:, : AROUND + segments * SEGMENT])
            self._pending = self._pending[:, segments * SEGMENT :].copy()

    def _scan(self, samples: FloatArray) -> float:
        """Peak so far, or in the instants between `samples` (channels, whole segments and what is around)."""
        top = _largest(samples)
        if not top or self._most * top < self._peak:
            return self._peak
        parts = np.pad(samples, ((0, 0), (0, 1))).reshape(len(samples), -1, SEGMENT)
        level = top * self._levels((parts / top).astype(np.float32))
        peak, nearly = self._peak, max(self._peak, float(level.max()))
        places = np.flatnonzero(level >= SHARE_AT_HALVES * nearly)
        places = places[np.argsort(-level[places])]
        for start in range(0, len(places), BATCH):
            batch = places[start : start + BATCH]
            if level[batch[0]] < SHARE_AT_HALVES * peak:
                break
            channel, segment = np.divmod(batch, parts.shape[1] - PARTS + 1)
            windows = [parts[channel, segment + part] for part in range(PARTS)]
            found = _highest(self._instants, np.concatenate(windows, axis=1).T)
            peak = max(peak, float(found.max()))
        return peak

    def _levels(self, parts: NDArray[np.float32]) -> NDArray[np.float32]:
        """Highest magnitude of each segment at its samples and half way, one channel after the other.

        In single precision: its rounding is a thousandth of the allowance in `SHARE_AT_HALVES`.
        """
        # Samples of equal place in their segment stand together: no maximum is over a short row.
        placed = np.ascontiguousarray(parts.reshape(-1, SEGMENT).T).reshape(SEGMENT, len(parts), -1)
        segments = parts.shape[1] - PARTS + 1
        windows = np.concatenate([placed[:, :, n : n + segments] for n in range(PARTS)])
        windows = windows.reshape(PARTS * SEGMENT, -1)
        halves = _highest(self._halves, windows)
        return np.maximum(halves, np.abs(windows[REACH - 1 : REACH + SEGMENT]).max(axis=0))

    @property
    def peak(self) -> float:
        """True peak so far, linear; 0 for silence. Never below the highest sample."""
        end = AROUND + -self._pending.shape[1] % SEGMENT
        return self._scan(np.pad(self._pending, ((0, 0), (0, end + SEGMENT))))

    def append(self, part: TruePeakMeter, last: bool) -> None:
        """Take the next part of the stream: the parts overlap by `AROUND` and a `SEGMENT` or more."""
        if not last:
            segments = (part._pending.shape[1] - AROUND) // SEGMENT
            if segments > 0:
                part._peak = part._scan(part._pending[:, : AROUND + segments * SEGMENT])
        self._peak = max(self._peak, part.peak if last else part._peak)


def interpolator(oversampling: int) -> FloatArray:
    """Taps (oversampling - 1, 2 REACH) for the instants between the two middle samples."""
    instants = np.arange(1, oversampling) / oversampling
    distance = np.arange(-REACH + 1, REACH + 1) - instants[:, None]
    window = np.i0(KAISER_BETA * np.sqrt(1 - (distance / REACH) ** 2)) / np.i0(KAISER_BETA)
    return np.asarray(np.sinc(distance) * window)


def _highest(kernel: NDArray[Any], windows: NDArray[Any]) -> NDArray[Any]:
    """Highest magnitude of each column of the product, which is formed in this thread alone."""
    columns = ALONE // kernel.size
    stacked = windows.shape[1] // columns * columns
    stack = windows[:, :stacked].reshape(len(windows), -1, columns).transpose(1, 0, 2)
    first = np.abs(kernel @ stack).max(axis=1).reshape(stacked)
    return np.append(first, np.abs(kernel @ windows[:, stacked:]).max(axis=0))


def _segment_kernel(phases: FloatArray) -> FloatArray:
    """Matrix (instants, PARTS SEGMENT) that takes a segment and what is around to its instants."""
    kernel = np.zeros((PARTS * SEGMENT, SEGMENT, len(phases)))
    for position in range(SEGMENT):
        kernel[position : position + 2 * REACH, position] = phases.T
    return np.ascontiguousarray(kernel.reshape(PARTS * SEGMENT, -1).T)


def _largest(values: FloatArray) -> float:
    return float(max(values.max(initial=0.0), -values.min(initial=0.0)))
