"""The spectrum of a programme, to be seen beside what a run does to it."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from auralize.audio.bands import THIRD_OCTAVES
from auralize.audio.metering import Samples
from auralize.audio.reader import probe, read_blocks

BandLevels = tuple[NDArray[np.float64], NDArray[np.float64]]

WINDOW: Final = 8192
"""Frames of one transform: 6 Hz apart at 48 kHz."""
_HALF_BAND: Final = 10.0**0.05
"""A third octave (a tenth of a decade, IEC 61260-1) reaches this factor to either side."""


def third_octaves(source: Path) -> BandLevels:
    """Third octaves of a file, see `band_levels`; memory flat. Raises AudioFileError."""
    return band_levels(read_blocks(source, WINDOW), probe(source).rate)


def band_levels(blocks: Iterable[Samples], rate: int) -> BandLevels:
    """Centre frequencies in Hz and power in dB (of any reference) of third octaves.

    ``blocks`` are `WINDOW` frames long, but for the last. Mean over all and over channels, Hann windows
    side by side. Bands without a transform bin take their neighbour's.
    """
    frequency = np.fft.rfftfreq(WINDOW, 1.0 / rate)
    power = np.zeros(len(frequency))
    window = np.hanning(WINDOW)[:, None]
    for block in blocks:
        if len(block) < WINDOW:
            block = np.pad(block, ((0, WINDOW - len(block)), (0, 0)))
        power += np.sum(np.abs(np.fft.rfft(block * window, axis=0)) ** 2, axis=1)
    centres = np.array([c for c in THIRD_OCTAVES if c * _HALF_BAND < rate / 2.0])
    bands = []
    for centre in centres:
        inside = (frequency >= centre / _HALF_BAND) & (frequency < centre * _HALF_BAND)
        nearest = int(np.argmin(np.abs(frequency - centre)))
        bands.append(power[inside].sum() if inside.any() else power[nearest])
    with np.errstate(divide="ignore"):  # a band of silence has no level: minus infinity
        return centres, 10.0 * np.log10(np.array(bands))
