"""True peak, measured while samples stream past: ITU-R BS.1770, Annex 2 (oversampled).

A block of samples is (n, channels), finite, with full scale at 1.0. The result does not depend on how a
stream is cut into blocks.
"""

from __future__ import annotations

import math
from typing import Any, Final

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from auralize.audio.loudness import FloatArray, check_format, check_shape

OVERSAMPLING: Final = 8
"""At any sample rate: a programme may reach up to half of it. Between two instants a sine of the
highest frequency falls by 0.17 dB at most."""

# The interpolator: a sinc that passes through the samples, cut by a Kaiser window. Its error is under
# 0.02 dB up to 0.48 of the sample rate.
REACH: Final = 48  # samples on either side
AROUND: Final = 2 * REACH - 1  # samples that the taps need besides those of a segment
KAISER_BETA: Final = 6.0

# Likewise from samples and what lies half way between two, to the other instants. All of that is under
# 0.26 of their own rate, and few taps are enough: 0.001 dB.
NEAR: Final = 6  # of them on either side
NEAR_BETA: Final = 8.0

SHARE_AT_HALVES: Final = 0.65
"""Of its true peak, what a signal has at a sample or half way between two, next to it. Where one
without anything above f has its highest magnitude M, it stays above M cos(2 pi f t) for a time t on
either side (Duffin and Schaeffer; from memory). What the interpolator lets through ends at 0.52 of the
sample rate, but for a thousandth, and t is a quarter of a sample: 0.68, less an allowance for that."""

SEGMENT: Final = 2 * REACH  # samples: with those of the next, all that the taps between two need
SEGMENTS: Final = 287  # looked at together; with the next, a multiple of `BATCH`
BATCH: Final = 24  # segments in a product that leads half way
PART: Final = 24  # in a product to the other instants: samples and what is half way between
COLUMNS: Final = 96  # and segments
ALONE: Final = 1 << 18
"""Multiplications up to which OpenBLAS forms a product in the thread that asks for it (value from memory).
Its own threads take the processor from others, at a priority that is not ours to set: on a busy machine
of two processors six times as much time as all the products (measured)."""


class TruePeakMeter:
    """Highest true peak of a stream, over all channels; keeps some 30 000 samples of each.

    8x oversampled: a sine that peaks between two instants reads low by at most 0.17 dB, which one at
    half the sample rate does. The arithmetic adds 0.001 dB, but never reads below the highest sample.
    Before and after the stream there is silence. Same rates, channels and errors as LoudnessMeter.

    What lies half way between samples is found wherever it could pass the highest so far. Only where
    that comes near the highest are all instants looked at, which loses nothing: see `SHARE_AT_HALVES`.
    Where ``goes_on``, this is a part of a stream, and other samples came before.
    """

    def __init__(self, rate: int, channels: int, *, goes_on: bool = False) -> None:
        check_format(rate, channels)
        self._channels = channels
        # Of the highest sample, between two.
        self._most = float(np.abs(interpolator(OVERSAMPLING)).sum(axis=1).max())
        half_way = np.pad(_banded(interpolator(2), SEGMENT), ((0, 1), (0, 0)))
        self._to_half_way = half_way[:SEGMENT], half_way[SEGMENT:]
        near = interpolator(OVERSAMPLING // 2, NEAR, NEAR_BETA)
        self._to_instants = _banded(near, PART).T.copy()
        self._pending = np.zeros(((SEGMENTS + 2) * SEGMENT, channels))
        # The same by channel, segment and place; what lies half way between two samples, from the
        # middle of the first segment on, by channel, place and segment.
        self._placed = np.zeros((channels, SEGMENTS + 2, SEGMENT), np.float32)
        self._half_way = np.zeros((channels, SEGMENT, SEGMENTS + 1), np.float32)
        self._rest = np.zeros_like(self._half_way)
        self._held = 0 if goes_on else SEGMENT + NEAR
        self._peak = 0.0

    def add(self, block: NDArray[Any]) -> None:
        """Take the next block (n, channels); ValueError for another shape."""
        check_shape(block, self._channels)
        taken = 0
        while taken < len(block):
            room = self._pending[self._held :][: len(block) - taken]
            room[:] = block[taken : taken + len(room)]
            self._held += len(room)
            taken += len(room)
            if self._held == len(self._pending):
                self._peak = self._scan(self._pending)
                done = SEGMENTS * SEGMENT
                self._pending[:-done] = self._pending[done:]
                self._held -= done

    def _scan(self, samples: FloatArray, segments: int = SEGMENTS) -> float:
        """Peak so far, or in the first so many segments of `samples` (as many as are pending)."""
        top = _largest(samples)
        peak = max(self._peak, top)
        if not top or self._most * top < self._peak:
            return peak
        unit = 2.0 ** math.frexp(peak)[1]  # a power of two: nothing else depends on it
        peak /= unit
        parts = samples.reshape(-1, SEGMENT, self._channels).transpose(2, 0, 1)
        np.divide(parts, unit, out=self._placed, casting="same_kind")
        self._find_half_way()
        level = np.abs(self._half_way, out=self._rest).max(axis=1)
        magnitudes = np.abs(self._placed[:, :-1].swapaxes(1, 2), out=self._rest)
        level = np.maximum(level, magnitudes.max(axis=1))
        level = np.maximum(level[:, 1:], level[:, :-1])[:, :segments]
        peak = max(peak, float(level.max(initial=0.0)))
        channel, segment = np.nonzero(level >= SHARE_AT_HALVES * peak)
        level = level[channel, segment]
        order = np.argsort(-level)
        for start in range(0, len(order), COLUMNS):
            batch = order[start : start + COLUMNS]
            if level[batch[0]] < SHARE_AT_HALVES * peak:
                break
            peak = max(peak, self._highest(channel[batch], segment[batch]))
        return peak * unit

    def _find_half_way(self) -> None:
        """`_half_way` between the samples that are `_placed`; no maximum of it is over a short row."""
        stacks = self._channels, -1, BATCH, SEGMENT
        out = [
            into.reshape(self._channels, SEGMENT, -1, BATCH).transpose(0, 2, 3, 1)
            for into in (self._half_way, self._rest)
        ]
        np.matmul(self._placed[:, :-1].reshape(stacks), self._to_half_way[0], out=out[0])
        np.matmul(self._placed[:, 1:].reshape(stacks), self._to_half_way[1], out=out[1])
        self._half_way += self._rest

    def _highest(self, channel: NDArray[np.int_], segment: NDArray[np.int_]) -> float:
        """Highest magnitude at the other instants of some segments."""
        placed, halves = self._placed, self._half_way
        grid = np.empty((2 * (SEGMENT + NEAR), len(segment)), np.float32)
        middle = REACH - 1
        grid[: 2 * (SEGMENT - middle) : 2] = placed[channel, segment, middle:].T
        grid[2 * (SEGMENT - middle) :: 2] = placed[channel, segment + 1, : middle + NEAR].T
        grid[1 : 2 * SEGMENT : 2] = halves[channel, :, segment].T
        grid[2 * SEGMENT + 1 :: 2] = halves[channel, :NEAR, segment + 1].T
        windows = sliding_window_view(grid, PART + 2 * NEAR - 1, axis=0)[::PART]
        found = self._to_instants @ windows.swapaxes(1, 2)
        return _largest(found)

    @property
    def peak(self) -> float:
        """True peak so far, linear; 0 for silence. Never below the highest sample."""
        samples = self._pending.copy()
        samples[self._held :] = 0.0
        beyond = np.zeros_like(samples)
        beyond[: 2 * SEGMENT] = samples[-2 * SEGMENT :]
        return max(self._scan(samples), self._scan(beyond))

    def append(self, part: TruePeakMeter, last: bool) -> None:
        """Take the next part of the stream: the parts overlap by four times `SEGMENT` or more."""
        if not last:
            whole = part._held // SEGMENT - 2
            part._peak = part._scan(part._pending, max(whole, 0))
        self._peak = max(self._peak, part.peak if last else part._peak)


def interpolator(oversampling: int, reach: int = REACH, beta: float = KAISER_BETA) -> FloatArray:
    """Taps (oversampling - 1, 2 reach) for the instants between the two middle samples."""
    instants = np.arange(1, oversampling) / oversampling
    distance = np.arange(-reach + 1, reach + 1) - instants[:, None]
    window = np.i0(beta * np.sqrt(1 - (distance / reach) ** 2)) / np.i0(beta)
    return np.asarray(np.sinc(distance) * window)


def _banded(phases: FloatArray, places: int) -> NDArray[np.float32]:
    """Matrix (samples, instants) from the samples around so many places to the instants there."""
    taps = phases.shape[1]
    matrix = np.zeros((places + taps - 1, places, len(phases)))
    for place in range(places):
        matrix[place : place + taps, place] = phases.T
    return matrix.reshape(len(matrix), -1).astype(np.float32)


def _largest(values: NDArray[Any]) -> float:
    return float(max(values.max(initial=0.0), -values.min(initial=0.0)))
