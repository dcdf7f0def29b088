"""Programme loudness and true peak, measured while samples stream past.

Loudness in LUFS (the same as LKFS) after ITU-R BS.1770: K-weighted, gated. True peak after its
Annex 2: oversampled. Numbers of equations and tables, and those values that no test checks, are from
memory. A block of samples is (n, channels), finite, with full scale at 1.0. No result
depends on how a stream is cut into blocks, except by rounding.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from auralize.errors import AudioFileError

FloatArray = NDArray[np.float64]

LOWEST_RATE, HIGHEST_RATE = 8_000, 192_000  # Hz
MOST_CHANNELS = 8

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

SLICE = 1 << 16  # frames worked on at once: keeps memory flat and stays in the cache


def channel_weights(channels: int) -> FloatArray:
    """Weight of each channel's power, BS.1770 Table 3.

    5 channels are L R C Ls Rs, 6 are L R C LFE Ls Rs (the LFE does not count). Any other count says
    nothing about where the loudspeakers stand: every channel weighs 1.
    """
    if channels == 5:
        return np.array([1, 1, 1, SURROUND_WEIGHT, SURROUND_WEIGHT])
    if channels == 6:
        return np.array([1, 1, 1, 0, SURROUND_WEIGHT, SURROUND_WEIGHT])
    return np.ones(channels)


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

    8 to 192 kHz, 1 to 8 channels weighted by `channel_weights`. AudioFileError for others.
    """

    def __init__(self, rate: int, channels: int) -> None:
        _check_format(rate, channels)
        weights = channel_weights(channels)
        self._rate, self._channels = rate, channels
        self._heard = np.flatnonzero(weights)
        self._weights = weights[self._heard]
        self._sections = k_weighting(rate)
        self._state = np.zeros((len(self._sections), len(self._heard), 2))
        self._frames = 0
        self._steps: list[float] = []  # weighted sum of squares in each whole step
        self._open_step = 0.0  # the same for the step under way

    def add(self, block: FloatArray) -> None:
        """Take the next block (n, channels); ValueError for another shape."""
        _check_shape(block, self._channels)
        for start in range(0, len(block), SLICE):
            self._add_slice(block[start : start + SLICE])

    def _add_slice(self, block: FloatArray) -> None:
        from scipy.signal import sosfilt

        heard = np.ascontiguousarray(block.T[self._heard], dtype=np.float64)
        weighted, self._state = sosfilt(self._sections, heard, axis=1, zi=self._state)
        start = 0
        while (end := self._next_step_end() - self._frames) <= len(block):
            self._open_step += self._energy(weighted[:, start:end])
            self._steps.append(self._open_step)
            self._open_step = 0.0
            start = end
        self._open_step += self._energy(weighted[:, start:])
        self._frames += len(block)

    def _energy(self, weighted: FloatArray) -> float:
        return float(self._weights @ np.einsum("cn,cn->c", weighted, weighted))

    def _next_step_end(self) -> int:
        return int(_step_ends(np.array(len(self._steps) + 1), self._rate))

    def _block_means(self, steps: FloatArray) -> FloatArray:
        """Mean over each whole gating block of sums over its steps, (steps, ...)."""
        ends = _step_ends(np.arange(len(self._steps) + 1), self._rate)
        count = len(steps) - STEPS_PER_BLOCK + 1
        sums = np.add.reduce([steps[first : first + count] for first in range(STEPS_PER_BLOCK)])
        return np.asarray((sums.T / (ends[STEPS_PER_BLOCK:] - ends[:-STEPS_PER_BLOCK])).T)

    @property
    def integrated(self) -> float:
        """Integrated loudness so far, in LUFS; -inf if nothing passes the absolute gate.

        What is shorter than one gating block (400 ms) has no gated loudness after the norm; its
        whole length is measured, ungated. Nothing at all, or digital silence, is -inf.
        """
        if len(self._steps) >= STEPS_PER_BLOCK:
            return _lufs(_gated(self._block_means(np.array(self._steps))))
        return _lufs((sum(self._steps) + self._open_step) / max(self._frames, 1))

    @property
    def momentary_max(self) -> float:
        """Loudest 400 ms, in LUFS, looked at every 100 ms; -inf before the first 400 ms are full.

        A shorter burst off that grid reads up to 0.6 LU low (350 of 400 ms).
        """
        if len(self._steps) < STEPS_PER_BLOCK:
            return -math.inf
        return _lufs(float(self._block_means(np.array(self._steps)).max()))


@dataclass(frozen=True)
class BandEnergies:
    """A programme's K-weighted power by gating block and band: its loudness through any response.

    The bands overlap as triangles between neighbouring centres, so |H|^2 is taken as straight
    between them (over log f) and the error is of second order. The worst programme is a tone half
    way between two centres: predicted 0.11 dB too loud where |H| goes by 6 dB per octave, 0.45 dB
    at 12 dB per octave. Steady noise through shelves and slopes up to 12 dB per octave stays within
    0.05 LU. The relative gate is a threshold: a block that lies on it may fall to the other side,
    which weighs by its share of the programme (0.07 LU of 8 s). With all gains 1 the prediction is
    what the meter reads.
    """

    centres: FloatArray
    """Hz, (bands,): see `band_centres`."""
    blocks: FloatArray
    """Weighted mean square, (gating blocks, bands); 1.5 MB for 10 minutes."""
    gated: bool
    """False for a programme under 400 ms, which is one ungated row."""

    def predict(self, gains: ArrayLike) -> float:
        """Loudness in LUFS through a response, the same on all channels.

        `gains`: linear or complex at `centres`; ValueError for another shape.
        """
        squared = np.abs(np.asarray(gains)) ** 2
        if squared.shape != self.centres.shape:
            raise ValueError(
                f"gains have shape {squared.shape}, but there are {len(self.centres)} band centres"
            )
        powers = self.blocks @ squared
        return _lufs(_gated(powers) if self.gated else float(powers.sum()))


class BandMeter(LoudnessMeter):
    """A LoudnessMeter that also collects BandEnergies: one row of bands for each 100 ms.

    How a step's power divides among the bands is seen through a Hann window of 200 ms, centred on
    the step; how much there is comes from the meter.
    """

    def __init__(self, rate: int, channels: int) -> None:
        super().__init__(rate, channels)
        self._hop = rate // STEPS_PER_SECOND
        self._window = np.sin(np.pi * (np.arange(2 * self._hop) + 0.5) / (2 * self._hop)) ** 2
        self._centres = band_centres(rate)
        frequencies = np.arange(self._hop + 1) * (rate / 2) / self._hop  # Nyquist comes out exact
        # Where each bin lies between the centres. Bins are 5 Hz apart: no interval is without one.
        place = np.interp(
            np.log(np.maximum(frequencies, self._centres[0])),
            np.log(self._centres),
            np.arange(len(self._centres)),
        )
        lower = np.floor(place)
        self._first_bins = np.searchsorted(lower, np.arange(len(self._centres)))
        weight = _power_response(self._sections, frequencies / rate)
        weight[-1] /= 2  # Nyquist has no mirror image
        self._to_upper = weight * (place - lower)
        self._to_lower = weight - self._to_upper
        # Starts where the frame of the next row starts: half a step before that step.
        self._pending = np.zeros((len(self._heard), self._hop // 2))
        self._rows: list[FloatArray] = []
        self._row_count = 0

    def _add_slice(self, block: FloatArray) -> None:
        super()._add_slice(block)
        self._pending = np.concatenate([self._pending, block.T[self._heard]], axis=1)
        starts = self._frame_starts(len(self._steps) + 1)
        ready = int(np.count_nonzero(starts + 2 * self._hop <= self._pending.shape[1]))
        if ready:
            self._rows.append(self._bands(self._pending, starts[:ready]))
            self._row_count += ready
            self._pending = self._pending[:, starts[ready] :].copy()

    def _frame_starts(self, steps: int) -> NDArray[np.int_]:
        """Where in the pending samples the frames of those of the first `steps` steps start."""
        ends = _step_ends(np.arange(self._row_count, steps), self._rate)
        return ends - _step_ends(np.array(self._row_count), self._rate)

    def _bands(self, samples: FloatArray, starts: NDArray[np.int_]) -> FloatArray:
        """K-weighted power in each band (frames, bands), in no particular unit."""
        from scipy.fft import rfft

        frames = np.lib.stride_tricks.sliding_window_view(samples, 2 * self._hop, axis=1)
        spectra = rfft(frames[:, starts] * self._window, axis=2)
        power = np.tensordot(self._weights, spectra.real**2 + spectra.imag**2, axes=1)
        bands = np.add.reduceat(power * self._to_lower, self._first_bins, axis=1)
        to_upper = np.add.reduceat(power * self._to_upper, self._first_bins, axis=1)
        bands[:, 1:] += to_upper[:, :-1]
        return np.asarray(bands)

    @property
    def energies(self) -> BandEnergies:
        """What was collected so far."""
        gated = len(self._steps) >= STEPS_PER_BLOCK
        steps = np.array(self._steps if gated else [*self._steps, self._open_step])
        rows = self._rows
        if self._row_count < len(steps):
            padded = np.pad(self._pending, ((0, 0), (0, 2 * self._hop)))
            rows = [*rows, self._bands(padded, self._frame_starts(len(steps)))]
        shapes = np.concatenate(rows)
        totals = shapes.sum(axis=1)
        # A frame of digital silence has no shape; nor then the step, but for the filter's decay
        # 50 ms on, under 1e-8 of the power before.
        scales = np.divide(steps, totals, out=np.zeros_like(steps), where=totals > 0)
        powers = shapes * scales[:, None]
        if gated:
            return BandEnergies(self._centres, self._block_means(powers), gated)
        mean = powers.sum(axis=0, keepdims=True) / max(self._frames, 1)
        return BandEnergies(self._centres, mean, gated)


def band_centres(rate: int) -> FloatArray:
    """Exact base-ten third-octave centres (IEC 61260-1) from 20 Hz, then Nyquist itself, in Hz.

    None lies closer under Nyquist than a quarter of a band; the first band takes all below it.
    """
    nyquist = rate / 2
    centres = 1000 * 10 ** (np.arange(-17, 20) / 10)
    return np.append(centres[centres < nyquist * 10 ** (-1 / 40)], nyquist)


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
        _check_format(rate, channels)
        self._channels = channels
        self._phases = interpolator(4 if rate < 64_000 else 2 if rate < 128_000 else 1)
        self._bound = _interpolation_bound(self._phases)
        self._kernel = _segment_kernel(self._phases)
        self._pending = np.zeros((channels, SEGMENT))
        self._peak = 0.0

    def add(self, block: FloatArray) -> None:
        """Take the next block (n, channels); ValueError for another shape."""
        _check_shape(block, self._channels)
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


def _step_ends(index: NDArray[np.int_], rate: int) -> NDArray[np.int_]:
    """Frames in the first `index` steps; no drift where 100 ms is no whole number of frames."""
    return index * rate // STEPS_PER_SECOND


def _gated(powers: FloatArray) -> float:
    """Mean power of the blocks above both gates, BS.1770 eqs. (5) to (7); 0 if there are none."""
    kept = powers[powers > _power(ABSOLUTE_GATE)]
    if not len(kept):
        return 0.0
    return float(kept[kept > kept.mean() * 10 ** (RELATIVE_GATE / 10)].mean())


def _lufs(power: float) -> float:
    return LOUDNESS_OFFSET + 10 * math.log10(power) if power else -math.inf


def _power(lufs: float) -> float:
    return float(10 ** ((lufs - LOUDNESS_OFFSET) / 10))


def _power_response(sections: FloatArray, frequencies: FloatArray) -> FloatArray:
    """|H|^2 of second-order sections at frequencies in cycles per sample."""
    delays = np.exp(-2j * np.pi * np.multiply.outer(np.arange(3), frequencies))
    ratio = (sections[:, :3] @ delays) / (sections[:, 3:] @ delays)
    return np.asarray(np.abs(ratio.prod(axis=0)) ** 2)


def _check_format(rate: int, channels: int) -> None:
    if not LOWEST_RATE <= rate <= HIGHEST_RATE:
        raise AudioFileError(
            f"loudness cannot be measured at {rate} Hz; sample rates from {LOWEST_RATE} to "
            f"{HIGHEST_RATE} Hz can"
        )
    if not 1 <= channels <= MOST_CHANNELS:
        raise AudioFileError(
            f"loudness cannot be measured over {channels} channels; 1 to {MOST_CHANNELS} can"
        )


def _check_shape(block: FloatArray, channels: int) -> None:
    if block.ndim != 2 or block.shape[1] != channels:
        raise ValueError(f"block has shape {block.shape}, but (n, {channels}) is expected")
