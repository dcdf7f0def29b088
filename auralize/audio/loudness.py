"""Programme loudness, measured while samples stream past.

In LUFS (the same as LKFS) after ITU-R BS.1770: K-weighted, gated. Numbers of equations and tables, and
those values that no test checks, are from memory. A block of samples is (n, channels), finite, with
full scale at 1.0. No result depends on how a stream is cut into blocks, except by rounding.
"""

from __future__ import annotations

import math
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from auralize.audio.bands import HIGHEST_RATE, LOWEST_RATE
from auralize.audio.recursion import MOST, Recursion
from auralize.errors import AudioFileError

FloatArray = NDArray[np.float64]
Steps = TypeVar("Steps", int, NDArray[np.int_])

MOST_CHANNELS = 8
MOST_IN_SUM = 9_600
"""Samples whose squares are added up at once: of over 10 000, the products' own threads would do it
(measured with OpenBLAS 0.3.31). In single precision, such a sum is off by 3e-6 at most."""

# ITU-R BS.1770, Tables 1 and 2: the pre-filter and the RLB high-pass at 48 kHz, as rows
# b0 b1 b2 a0 a1 a2. The numerator 1 -2 1 puts 0.043 dB into the pass band; it belongs to the norm.
TABLE_RATE = 48_000  # Hz
PRE_FILTER = (
    1.53512485958697,
    -2.69169618940638,
    1.19839281085285,
    1,
    -1.69065929318241,
    0.73248077421585,
)
HIGH_PASS = (1, -2, 1, 1, -1.99004745483398, 0.99007225036621)
LOUDNESS_OFFSET = -0.691  # BS.1770 eq. (2); cancels the K-weighting at 997 Hz
ABSOLUTE_GATE = -70.0  # LUFS, BS.1770 eq. (5)
RELATIVE_GATE = -10.0  # LU, BS.1770 eq. (6)
SURROUND_WEIGHT = 1.41  # BS.1770 Table 3
STEPS_PER_SECOND = 10  # gating blocks of 400 ms overlap by 75 %: one every 100 ms
STEPS_PER_BLOCK = 4
WARM_STEPS = 3
"""After which a part of a stream is weighted as if it had been there from the start: the poles of the
high-pass let less than 1e-20 of what was before through."""

# Bits of a WAVE_FORMAT_EXTENSIBLE mask, from memory: the channels stand in the order of these.
LOW_FREQUENCY = 0x8
SURROUNDS = 0x10 | 0x20 | 0x100 | 0x200 | 0x400  # back left, right, centre; side left, right


def channel_weights(channels: int, mask: int = 0) -> FloatArray:
    """Weight of each channel's power, BS.1770 Table 3.

    A mask says where each stands: surrounds beside or behind weigh 1.41, the LFE 0, all others 1.
    (BS.1770-4 gives those right behind 1, but a mask tells no angle: common practice is 1.41.)
    Without one, 5 channels are L R C Ls Rs, 6 are L R C LFE Ls Rs. Any other count says nothing about
    where the loudspeakers stand: every channel weighs 1.
    """
    weights = np.ones(channels)
    if mask == 0:
        mask = {5: 0x37, 6: 0x3F}.get(channels, 0)
    places = [1 << bit for bit in range(mask.bit_length()) if mask >> bit & 1]
    for channel, place in enumerate(places[:channels]):
        if place == LOW_FREQUENCY:
            weights[channel] = 0.0
        elif place & SURROUNDS:
            weights[channel] = SURROUND_WEIGHT
    return weights


def k_weighting(rate: int) -> FloatArray:
    """K-weighting at a sample rate in Hz, as second-order sections (2, 6).

    The 48 kHz tables are taken back to the analogue prototype by the inverse bilinear transform and
    realised at `rate`, pre-warped to keep each section's corner. Departs from the 48 kHz curve
    (20 Hz to 20 kHz or Nyquist) by at most 0.01 dB from 32 kHz up, 0.03 dB at 22.05 kHz, 0.07 dB at
    16 kHz, 0.29 dB at 8 kHz, where the shelf is warped.
    """
    # With s = (1 - 1/z) / (1 + 1/z), [1, 1/z, 1/z^2] and [1, s, s^2] map onto each other alike.
    bilinear = np.array([[1, 1, 1], [2, 0, -2], [1, -1, 1]])
    sections = []
    for table in (PRE_FILTER, HIGH_PASS):
        numerator, denominator = bilinear @ table[:3], bilinear @ table[3:]
        corner = math.sqrt(denominator[0] / denominator[2])  # tan(pi f / rate)
        stretch = corner / math.tan(math.atan(corner) * TABLE_RATE / rate)
        powers = np.array([1, stretch, stretch**2])
        section = np.concatenate(
            [bilinear @ (numerator * powers), bilinear @ (denominator * powers)]
        )
        sections.append(section / section[3])
    return np.array(sections)


class LoudnessMeter:
    """Loudness of a stream; keeps one number for each 100 ms.

    8 to 192 kHz, 1 to 8 channels weighted by `channel_weights`. AudioFileError for others. Samples in
    single precision are weighted in it: within 1e-4 LU, whatever the offset. A part of a stream may be
    measured by itself, from step ``first`` on (see `append`).
    """

    def __init__(self, rate: int, channels: int, mask: int = 0, first: int = 0) -> None:
        check_format(rate, channels)
        weights = channel_weights(channels, mask)
        self._rate, self._channels = rate, channels
        self._heard = np.flatnonzero(weights)
        self._weights = weights[self._heard]
        self._weighting = Recursion(k_weighting(rate), len(self._heard))
        self._first = first
        self._frames = step_ends(first, rate)
        self._steps: list[float] = []  # weighted sum of squares in each whole step
        self._open_step = 0.0  # the same for the step under way

    def add(self, block: NDArray[Any]) -> None:
        """Take the next block (n, channels); ValueError for another shape."""
        check_shape(block, self._channels)
        for start in range(0, len(block), MOST):
            self._add_slice(block[start : start + MOST])

    def _add_slice(self, block: NDArray[Any]) -> None:
        self._collect(self._weighting.run(self._of_heard(block)))

    def _of_heard(self, block: NDArray[Any]) -> NDArray[Any]:
        """(channels that count, n)."""
        return block.T if len(self._heard) == self._channels else block.T[self._heard]

    def _collect(self, weighted: NDArray[Any]) -> None:
        start, frames = 0, weighted.shape[1]
        while start < frames:
            end = self._next_step_end() - self._frames
            stop = min(end, frames, start + MOST_IN_SUM)
            part = weighted[:, start:stop]
            self._open_step += float(self._weights @ np.vecdot(part, part))
            if stop == end:
                self._steps.append(self._open_step)
                self._open_step = 0.0
            start = stop
        self._frames += frames

    def _next_step_end(self) -> int:
        return step_ends(self._first + len(self._steps) + 1, self._rate)

    def close(self) -> None:
        """Let go of what was needed to add to it."""
        del self._weighting

    def append(self, part: LoudnessMeter, first: int, stop: int | None) -> None:
        """Take the steps ``first`` (the next) to ``stop`` of the stream, where a part has them.

        None: all, to the end of the stream. The part began `WARM_STEPS` earlier, or with the stream.
        """
        self._steps += part._steps[first - part._first : stop and stop - part._first]
        self._open_step = 0.0 if stop else part._open_step
        self._frames = step_ends(stop, self._rate) if stop else part._frames

    def _block_means(self, steps: FloatArray) -> FloatArray:
        """Mean over each whole gating block of sums over its steps, (steps, ...)."""
        ends = step_ends(self._first + np.arange(len(self._steps) + 1), self._rate)
        count = len(steps) - STEPS_PER_BLOCK + 1
        sums = np.add.reduce([steps[first : first + count] for first in range(STEPS_PER_BLOCK)])
        return np.asarray((sums.T / (ends[STEPS_PER_BLOCK:] - ends[:-STEPS_PER_BLOCK])).T)

    @property
    def integrated(self) -> float:
        """Integrated loudness so far, in LUFS; -inf if nothing passes the absolute gate.

        What is shorter than one gating block (400 ms) has no gated loudness after the norm; its
        whole length is measured, ungated. Nothing at all, or digital silence, is -inf.
        """
        return self.integrated_before(0.0)

    def integrated_before(self, gain: float) -> float:
        """The same less ``gain``, in dB, of what this will be once that gain is applied.

        Not what `integrated` is where blocks are under the absolute gate now that will not be then.
        """
        if len(self._steps) >= STEPS_PER_BLOCK:
            return lufs(gated_power(self._block_means(np.array(self._steps)), gain))
        return lufs((sum(self._steps) + self._open_step) / max(self._frames, 1))

    @property
    def momentary_max(self) -> float:
        """Loudest 400 ms, in LUFS, looked at every 100 ms; -inf before the first 400 ms are full.

        A shorter burst off that grid reads up to 0.6 LU low (350 of 400 ms).
        """
        if len(self._steps) < STEPS_PER_BLOCK:
            return -math.inf
        return lufs(float(self._block_means(np.array(self._steps)).max()))


def step_ends(index: Steps, rate: int) -> Steps:
    """Frames in the first `index` steps; no drift where 100 ms is no whole number of frames."""
    return index * rate // STEPS_PER_SECOND


def gated_power(powers: FloatArray, gain: float = 0.0) -> float:
    """Mean power of the blocks above both gates, BS.1770 eqs. (5) to (7); 0 if there are none.

    Of those blocks that are above them once ``gain`` in dB is applied.
    """
    kept = powers[powers > _power(ABSOLUTE_GATE - gain)]
    if not len(kept):
        return 0.0
    return float(kept[kept > kept.mean() * 10 ** (RELATIVE_GATE / 10)].mean())


def lufs(power: float) -> float:
    """Loudness of a weighted mean square; -inf for silence."""
    return LOUDNESS_OFFSET + 10 * math.log10(power) if power else -math.inf


def _power(lufs: float) -> float:
    return float(10 ** ((lufs - LOUDNESS_OFFSET) / 10))


def power_response(sections: FloatArray, frequencies: FloatArray) -> FloatArray:
    """|H|^2 of second-order sections at frequencies in cycles per sample."""
    delays = np.exp(-2j * np.pi * np.multiply.outer(np.arange(3), frequencies))
    ratio = (sections[:, :3] @ delays) / (sections[:, 3:] @ delays)
    return np.asarray(np.abs(ratio.prod(axis=0)) ** 2)


def check_format(rate: int, channels: int) -> None:
    """Raise AudioFileError for a sample rate or a number of channels that no meter takes."""
    if not LOWEST_RATE <= rate <= HIGHEST_RATE:
        raise AudioFileError(
            f"loudness cannot be measured at {rate} Hz; sample rates from {LOWEST_RATE} to "
            f"{HIGHEST_RATE} Hz can"
        )
    if not 1 <= channels <= MOST_CHANNELS:
        raise AudioFileError(
            f"loudness cannot be measured over {channels} channels; 1 to {MOST_CHANNELS} can"
        )


def check_shape(block: NDArray[Any], channels: int) -> None:
    """Raise ValueError for a block that is not (n, channels)."""
    if block.ndim != 2 or block.shape[1] != channels:
        raise ValueError(f"block has shape {block.shape}, but (n, {channels}) is expected")
