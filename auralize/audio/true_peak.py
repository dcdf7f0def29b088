"""True peak, measured while samples stream past: ITU-R BS.1770, Annex 2 (oversampled).

A block of samples is (n, channels), finite, with full scale at 1.0. The result does not depend on how a
stream is cut into blocks.
"""

from __future__ import annotations

import math
from functools import cache
from typing import Any, Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from auralize.audio.loudness import FloatArray, check_format, check_shape

Single = NDArray[np.float32]

OVERSAMPLING: Final = 8
"""At any sample rate: a programme may reach up to half of it. Between two instants a sine of the
highest frequency falls by 0.17 dB at most."""

# The interpolator: a sinc that passes through the samples, cut by a Kaiser window. Its error is under
# 0.02 dB up to 0.48 of the sample rate.
REACH: Final = 48  # samples on either side
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
SEGMENTS: Final = 574  # looked at together, and two more: more would not stay in the cache
STRIDE: Final = 2 * SEGMENT  # samples that are told by their highest: shorter ones take longer
TURNED: Final = 96  # segments made columns at a time: more push each other out of the cache
PART: Final = 24  # in a product to the other instants: samples and what is half way between
COLUMNS: Final = 192  # and segments
TRIED: Final = 8  # the first of so many parts tells whether a test is worth its time ...
WORTH: Final = 0.75  # ... which it is where it leaves less than that
MODERATE: Final = 2.0**64  # levels on either side of 1 that single precision has ample room for


class TruePeakMeter:
    """Highest true peak of a stream, over all channels; keeps some 55 000 samples of each.

    8x oversampled: a sine that peaks between two instants reads low by at most 0.17 dB, which one at
    half the sample rate does. The arithmetic adds 0.001 dB, but never reads below the highest sample.
    Before and after the stream there is silence. Same rates, channels and errors as LoudnessMeter.

    What lies half way between samples is found wherever anything could pass the highest so far: see
    `Overshoot`. Only where that comes near the highest are all instants looked at, which loses nothing:
    see `SHARE_AT_HALVES`. Where ``goes_on``, this is a part of a stream, and other samples came before.
    """

    def __init__(self, rate: int, channels: int, *, goes_on: bool = False) -> None:
        check_format(rate, channels)
        self._channels = channels
        self._pending = np.zeros(((SEGMENTS + 2) * SEGMENT, channels), np.float32)  # in `_unit`
        self._unit = 1.0  # a power of two: nothing else depends on it
        most = (SEGMENTS + 4) * SEGMENT * channels  # what is pending, and silence
        self._work = np.zeros((3, most), np.float32)
        self._held = 0 if goes_on else SEGMENT + NEAR
        self._peak = 0.0

    def add(self, block: NDArray[Any]) -> None:
        """Take the next block (n, channels); ValueError for another shape."""
        check_shape(block, self._channels)
        taken = 0
        while taken < len(block):
            samples = block[taken : taken + len(self._pending) - self._held]
            self._hold(samples)
            taken += len(samples)
            if self._held == len(self._pending):
                self._scan(self._pending)
                done = SEGMENTS * SEGMENT
                self._pending[:-done] = self._pending[done:]
                self._held -= done

    def _hold(self, samples: NDArray[Any]) -> None:
        if samples.dtype != np.float32 or self._unit != 1.0:
            self._peak = max(self._peak, _largest(samples))
            self._rescale()
        room = self._pending[self._held : self._held + len(samples)]
        room[:] = samples if self._unit == 1.0 else np.divide(samples, self._unit, dtype=float)
        self._held += len(samples)

    def _rescale(self) -> None:
        """Double precision holds levels that single precision has no room for."""
        if self._peak and not 1 / MODERATE < self._peak / self._unit < MODERATE:
            unit = 2.0 ** (math.frexp(self._peak)[1] - 1)
            self._pending[:] = np.multiply(self._pending, self._unit, dtype=float) / unit
            self._unit = unit

    def _scan(self, samples: Single, segments: int = SEGMENTS) -> None:
        """Find the peak so far, or in the first so many segments of `samples` (as many as are pending)."""
        tops = self._tops(samples.reshape(-1), self._work[1])
        self._peak = max(self._peak, float(tops.max()) * self._unit)
        peak = self._peak / self._unit
        begins = self._could_pass(samples, tops, peak)
        begins = begins[begins < segments]
        if not len(begins):
            return
        needed = np.zeros(len(samples) // SEGMENT, bool)
        needed[begins] = needed[begins + 1] = needed[begins + 2] = True
        kept = np.flatnonzero(needed)
        placed, halves, rest = self._found(samples, kept)
        level = np.abs(halves, out=rest).max(axis=0)
        level = np.maximum(level, np.abs(placed, out=rest).max(axis=0))
        first = np.searchsorted(kept, begins)
        columns = (len(kept) * np.arange(self._channels)[:, None] + first).reshape(-1)
        level = np.maximum(level[columns], level[columns + 1])
        peak = max(peak, float(level.max()))
        order = np.argsort(-level)[: np.count_nonzero(level >= SHARE_AT_HALVES * peak)]
        for start in range(0, len(order), COLUMNS):
            batch = order[start : start + COLUMNS]
            if level[batch[0]] < SHARE_AT_HALVES * peak:
                break
            peak = max(peak, _highest(placed, halves, columns[batch]))
        self._peak = max(self._peak, peak * self._unit)

    def _could_pass(self, samples: Single, tops: Single, peak: float) -> NDArray[np.int_]:
        """Segments where anything could, seen from how high samples are and how they follow."""
        most, curved, level = _overshoot()
        step, tops = self._channels, _with_next(tops)
        flat, work = samples.reshape(-1), self._work[1:]
        high = np.flatnonzero(most * tops > peak)
        for tried in (high[: len(high) // TRIED], high):
            if len(tried):
                first, end = tried[0], tried[-1] + 2
                part = flat[first * STRIDE * step : end * STRIDE * step]
                whole = work[-1][: len(part)]
                for into in work:
                    part = np.subtract(part[step:], part[:-step], out=into[: len(part) - step])
                whole[len(part) :] = 0.0
                curves = _with_next(self._tops(whole, whole))[tried - first]
                passing = (1.0 + level) * tops[tried] + curved * curves > peak
                if passing.mean() > WORTH:
                    break
                high = high if len(tried) < len(high) else high[passing]
        return (STRIDE // SEGMENT * high[:, None] + np.arange(STRIDE // SEGMENT)).reshape(-1)

    def _tops(self, flat: Single, work: Single) -> Single:
        """The highest magnitude in each `STRIDE` of all channels."""
        rows = np.abs(flat, out=work[: len(flat)]).reshape(-1, STRIDE * self._channels)
        return rows[np.arange(len(rows)), rows.argmax(axis=1)]  # half the time that a maximum takes

    def _found(self, samples: Single, kept: NDArray[np.int_]) -> tuple[Single, Single, Single]:
        """Some segments, what lies half way between from their middle on, and room to work in.

        All by place, and by channel and segment. Where the next column is no next segment, or one of
        another channel, what is half way is not to be asked for.
        """
        parts = samples.reshape(-1, SEGMENT, self._channels)
        parts = (parts if len(kept) == len(parts) else parts[kept]).transpose(1, 2, 0)
        placed, halves, rest = (each[: parts.size].reshape(SEGMENT, -1) for each in self._work)
        by_channel = placed.reshape(parts.shape)
        for at in range(0, len(kept), TURNED):
            by_channel[:, :, at : at + TURNED] = parts[:, :, at : at + TURNED]
        here, there = _to_half_way()
        np.matmul(here, placed[:, :-1], out=halves[:, :-1])
        np.matmul(there, placed[:, 1:], out=rest[:, :-1])
        halves += rest
        return placed, halves, rest

    @property
    def peak(self) -> float:
        """True peak so far, linear; 0 for silence. Never below the highest sample."""
        strides = -(-self._held // STRIDE)
        samples = np.zeros(((strides + 1) * STRIDE, self._channels), np.float32)
        samples[: self._held] = self._pending[: self._held]
        self._scan(samples, len(samples) // SEGMENT)
        return self._peak

    def close(self, last: bool) -> None:
        """Have the peak found, to the end, or (not ``last``) as far as a part that follows begins before.

        Nothing can be added any more, and what was needed for that is let go.
        """
        if last:
            self._peak = self.peak
        else:
            self._scan(self._pending, max(self._held // SEGMENT - 2, 0))
        del self._pending, self._work

    def append(self, part: TruePeakMeter) -> None:
        """Take the next part, which is closed: they overlap by four times `SEGMENT` or more."""
        self._peak = max(self._peak, part._peak)


class Overshoot(NamedTuple):
    """How high anything between two samples can be, from what is known of those around.

    It is off the line between the two by a sum over the samples around: at most `curved` times their
    highest second difference, and `level` times the highest.
    """

    most: float
    """Times the highest sample around: half way between two, where all have the sign that is worst."""
    curved: float
    level: float


@cache
def _overshoot() -> Overshoot:
    taps = _all_taps()
    most = np.abs(taps).sum(axis=1).max()
    reach = taps.shape[1] // 2
    times = np.arange(1, OVERSAMPLING) / OVERSAMPLING
    taps[:, reach - 1] -= 1.0 - times
    taps[:, reach] -= times
    # Without their sum and first moment, taps are second differences of others.
    total, moment = taps.sum(axis=1), taps @ np.arange(1 - reach, 1 + reach)
    taps[:, reach - 1] -= total - moment
    taps[:, reach] -= moment
    curved = np.abs(taps.cumsum(axis=1).cumsum(axis=1)).sum(axis=1).max()
    return Overshoot(float(most), float(curved), float((abs(total - moment) + abs(moment)).max()))


def _all_taps() -> FloatArray:
    """From samples to all instants between the two middle ones, by way of those half way."""
    half, near = interpolator(2)[0], interpolator(OVERSAMPLING // 2, NEAR, NEAR_BETA)
    reach = REACH + NEAR // 2
    grid = np.zeros((2 * NEAR + 1, 2 * reach))  # samples, and half way between, around the middle
    for row in range(len(grid)):
        place = reach - 1 + (row - NEAR + 1) // 2
        if (row - NEAR) % 2:
            grid[row, place] = 1.0
        else:
            grid[row, place - REACH + 1 : place + REACH + 1] = half
    return np.concatenate((near @ grid[:-1], grid[NEAR][None], near @ grid[1:]))


@cache
def _to_half_way() -> tuple[Single, Single]:
    matrix = np.pad(_banded(interpolator(2), SEGMENT), ((0, 1), (0, 0))).T
    return matrix[:, :SEGMENT].copy(), matrix[:, SEGMENT:].copy()


@cache
def _to_instants() -> Single:
    return _banded(interpolator(OVERSAMPLING // 2, NEAR, NEAR_BETA), PART).T.copy()


def _highest(placed: Single, halves: Single, columns: NDArray[np.int_]) -> float:
    """Highest magnitude at the other instants of some segments."""
    grid = np.empty((2 * (SEGMENT + NEAR), len(columns)), np.float32)
    middle = REACH - 1
    grid[: 2 * (SEGMENT - middle) : 2] = placed[middle:].take(columns, axis=1)
    grid[2 * (SEGMENT - middle) :: 2] = placed[: middle + NEAR].take(columns + 1, axis=1)
    grid[1 : 2 * SEGMENT : 2] = halves.take(columns, axis=1)
    grid[2 * SEGMENT + 1 :: 2] = halves[:NEAR].take(columns + 1, axis=1)
    instants = _to_instants()
    found = np.empty((2 * SEGMENT // PART, len(instants), len(columns)), np.float32)
    for part, out in enumerate(found):
        np.matmul(instants, grid[part * PART :][: instants.shape[1]], out=out)
    return _largest(found)


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


def _with_next(tops: Single) -> Single:
    """Of each and the next, which are all that the instants of the segments in it depend on."""
    return np.asarray(np.maximum(tops[:-1], tops[1:]))


def _largest(values: NDArray[Any]) -> float:
    return float(max(values.max(initial=0.0), -values.min(initial=0.0)))
