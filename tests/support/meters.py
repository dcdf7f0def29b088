"""Signals for the meters, and a second way to read their loudness and peak."""

import math
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from auralize.audio.band_loudness import BandMeter
from auralize.audio.loudness import LoudnessMeter
from auralize.audio.true_peak import TruePeakMeter
from auralize.units import decibels

Samples = NDArray[np.float64]
RATE = 48_000
Meter = TypeVar("Meter", LoudnessMeter, BandMeter, TruePeakMeter)


def fed(meter: Meter, samples: Samples, size: int | None = None) -> Meter:
    size = size or len(samples) or 1
    for start in range(0, len(samples), size):
        meter.add(samples[start : start + size])
    return meter


def loudness(samples: Samples, rate: int = RATE) -> float:
    return fed(LoudnessMeter(rate, samples.shape[1]), samples).integrated


def true_peak(samples: Samples, rate: int = RATE) -> float:
    return decibels(fed(TruePeakMeter(rate, samples.shape[1]), samples).peak)


def pink(seconds: float, rate: int) -> Samples:
    """Stereo noise falling by 3 dB per octave above 10 Hz, peak 0.7."""
    rng = np.random.default_rng(1770)
    count = round(seconds * rate)
    frequencies = np.fft.rfftfreq(count, 1 / rate)
    shape = (len(frequencies), 2)
    spectrum = rng.standard_normal(shape) + 1j * rng.standard_normal(shape)
    spectrum /= np.sqrt(np.maximum(frequencies, 10))[:, None]
    samples = np.fft.irfft(spectrum, count, axis=0)
    return np.asarray(0.7 * samples / np.abs(samples).max())


def white(seconds: float, rate: int, seed: int = 1770) -> Samples:
    return 0.1 * np.random.default_rng(seed).standard_normal((round(seconds * rate), 2))


def uneven(seconds: float, rate: int) -> Samples:
    """Pink noise whose level jumps by up to 30 dB every quarter of a second: gates at work."""
    samples = pink(seconds, rate)
    jumps = np.random.default_rng(2).uniform(-30, 0, math.ceil(4 * seconds))
    levels = 10 ** (np.repeat(jumps, rate // 4 + 1)[: len(samples)] / 20)
    return samples * levels[:, None]


def faded(wave: Samples, seconds: float = 0.01, rate: int = RATE) -> Samples:
    from_end = np.minimum(np.arange(len(wave)), np.arange(len(wave))[::-1])
    return np.asarray(wave * np.minimum(1, from_end / (seconds * rate)))
