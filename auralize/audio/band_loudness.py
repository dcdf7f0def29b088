"""Loudness by bands: what a programme's loudness will be through any response, without rendering it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from auralize.audio.loudness import (
    STEPS_PER_BLOCK,
    STEPS_PER_SECOND,
    FloatArray,
    LoudnessMeter,
    gated_power,
    k_weighting,
    lufs,
    power_response,
    step_ends,
)


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

    def predict(self, gains: ArrayLike, before: float = 0.0) -> float:
        """Loudness in LUFS through a response, the same on all channels.

        `gains`: linear or complex at `centres`; ValueError for another shape. Gated as it will be after
        a gain of ``before`` in dB, which is not in the result.
        """
        squared = np.abs(np.asarray(gains)) ** 2
        if squared.shape != self.centres.shape:
            raise ValueError(
                f"gains have shape {squared.shape}, but there are {len(self.centres)} band centres"
            )
        powers = self.blocks @ squared
        return lufs(gated_power(powers, before) if self.gated else float(powers.sum()))


class BandMeter(LoudnessMeter):
    """A LoudnessMeter that also collects BandEnergies: one row of bands for each 100 ms.

    How a step's power divides among the bands is seen through a Hann window of 200 ms, centred on
    the step; how much there is comes from the meter.
    """

    def __init__(self, rate: int, channels: int, first: int = 0) -> None:
        super().__init__(rate, channels, first=first)
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
        weight = power_response(k_weighting(rate), frequencies / rate)
        weight[-1] /= 2  # Nyquist has no mirror image
        self._to_upper = weight * (place - lower)
        self._to_lower = weight - self._to_upper
        # Starts where the frame of the next row starts: half a step before that step.
        self._pending = np.zeros((len(self._heard), self._hop // 2))
        self._rows: list[FloatArray] = []
        self._row_count = 0

    def _add_slice(self, block: FloatArray) -> None:
        super()._add_slice(block)
        self._pending = np.concatenate([self._pending, self._of_heard(block)], axis=1)
        starts = self._frame_starts(len(self._steps) + 1)
        ready = int(np.count_nonzero(starts + 2 * self._hop <= self._pending.shape[1]))
        if ready:
            self._rows.append(self._bands(self._pending, starts[:ready]))
            self._row_count += ready
            self._pending = self._pending[:, starts[ready] :].copy()

    def _frame_starts(self, steps: int) -> NDArray[np.int_]:
        """Where in the pending samples the frames of those of the first `steps` steps start."""
        ends = step_ends(self._first + np.arange(self._row_count, steps), self._rate)
        return ends - step_ends(np.array(self._first + self._row_count), self._rate)

    def append(self, part: LoudnessMeter, first: int, stop: int | None) -> None:
        """As of every LoudnessMeter; the part must reach a step beyond ``stop``."""
        assert isinstance(part, BandMeter)
        super().append(part, first, stop)
        if part._rows:
            rows = np.concatenate(part._rows)[first - part._first : stop and stop - part._first]
            self._rows.append(rows)
            self._row_count += len(rows)
        if not stop:
            self._pending = part._pending

    def _bands(self, samples: FloatArray, starts: NDArray[np.int_]) -> FloatArray:
        """K-weighted power in each band (frames, bands), in no particular unit."""
        from scipy.fft import rfft

        power = np.empty((len(starts), self._hop + 1))
        for row, start in zip(power, starts, strict=True):  # one by one: they stay in the cache
            spectra = rfft(samples[:, start : start + 2 * self._hop] * self._window, axis=1)
            row[:] = self._weights @ (spectra.real**2 + spectra.imag**2)
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
