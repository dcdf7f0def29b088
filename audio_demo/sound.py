"""What every instrument is made of: time, pitch, envelopes, decaying partials, noise.

Every sound is a sum of partials or of noise bins that stops below the Nyquist frequency, and every
entry falls on a grid of 10 ms: the music is the same at any sample rate.
"""

from math import isqrt, pi
from typing import Final

import numpy as np
from numpy.typing import NDArray

Samples = NDArray[np.float64]

BEAT: Final = 0.5
"""Seconds; three beats to the bar, 120 to the minute."""
BAR: Final = 3 * BEAT
USABLE: Final = 0.45
"""Share of the sample rate above which nothing is synthesised."""
TOP: Final = 20_000.0
"""Hz; no partial or noise above it at any rate, so that rates differ as little as they can."""
SEED: Final = 1709
"""Any number would do: it fixes the noise."""
SEMITONES_FROM_A: Final = {"C#": -8, "D": -7, "E": -5, "F#": -3, "G": -2, "A": 0, "B": 2}
"""Of the notes that are played: E dorian."""
CONCERT_A: Final = 440.0
"""Hz, A4 (ISO 16)."""


def hertz(note: str) -> float:
    """Pitch in Hz, equal temperament, of a note such as "C#4"."""
    semitones = SEMITONES_FROM_A[note[:-1]] + 12 * (int(note[-1]) - 4)
    return CONCERT_A * float(2.0 ** (semitones / 12))


def frames(seconds: float, rate: int) -> int:
    """Number of samples in a time that lies on the grid of 10 ms."""
    return round(seconds * rate)


def ceiling(rate: int) -> float:
    """Hz above which nothing may be synthesised at this rate."""
    return min(TOP, USABLE * rate)


def envelope(seconds: float, attack: float, release: float, rate: int) -> Samples:
    """Gain (frames,) that rises from 0 and falls back to 0 by half a raised cosine each."""
    t = np.arange(frames(seconds, rate)) / rate
    rise = np.clip(t / attack, 0, 1)
    fall = np.clip((seconds - 1 / rate - t) / release, 0, 1)
    return np.asarray(0.25 * (1 - np.cos(pi * rise)) * (1 - np.cos(pi * fall)))


def pan(sound: Samples, place: float) -> Samples:
    """Mono (frames,) to stereo (frames, 2) at equal power; place from -1 (left) to 1 (right)."""
    angle = (place + 1) * pi / 4
    return np.outer(sound, (np.cos(angle), np.sin(angle)))


def ring(
    frequency: Samples,
    tau: Samples,
    amplitude: Samples | NDArray[np.complex128],
    seconds: float,
    rate: int,
) -> Samples:
    """Sum (frames,) of decaying sines: Hz, time constant in s, and amplitude (complex: phase too).

    exp(s t) with t = coarse + fine factorises, so that the sum over partials is a matrix product;
    by einsum, since the last bits that BLAS gives depend on its number of threads.
    """
    keep = frequency <= ceiling(rate)
    s = -1 / tau[keep] + 2j * pi * frequency[keep]
    count = frames(seconds, rate)
    block = isqrt(count - 1) + 1
    coarse = -1j * amplitude[keep] * np.exp(np.outer(np.arange(block) * block / rate, s))
    fine = np.exp(np.outer(s, np.arange(block) / rate))
    left = np.concatenate([coarse.real, -coarse.imag], axis=1)
    right = np.concatenate([fine.real, fine.imag])
    return np.asarray(np.einsum("ck,kf->cf", left, right)).ravel()[:count]


def noise(centre: float, octaves: float, seconds: float, seed: int, rate: int) -> Samples:
    """Noise (frames,) of unit rms round a centre in Hz, log-normal in frequency, periodic.

    Drawn as a spectrum up to TOP, so that it is the same sound at every rate.
    """
    real, imag = np.random.default_rng((SEED, seed)).normal(size=(2, round(TOP * seconds)))
    frequency = np.arange(1, len(real) + 1) / seconds
    weight = np.exp(-0.5 * (np.log2(frequency / centre) / octaves) ** 2)
    # mean square of a bin: 2 weight^2 as drawn, and its sine in time has twice that
    weight /= 2 * np.sqrt(np.sum(weight**2))
    carried = (real + 1j * imag) * weight * (frequency <= ceiling(rate))
    return np.asarray(np.fft.irfft(np.append(0, carried), frames(seconds, rate), norm="forward"))


SWEEP_BANDS: Final = 1000.0 * 2.0 ** (np.arange(9) / 2)
"""Hz, half-octave centres, 1 to 16 kHz."""


def swept_noise(
    first: float, last: float, octaves: float, seconds: float, seed: int, rate: int
) -> Samples:
    """Noise (frames,) of unit rms whose centre glides from first to last (Hz) evenly in octaves."""
    glide = np.linspace(np.log2(first), np.log2(last), frames(seconds, rate))
    gains = np.exp(-0.5 * ((glide - np.log2(SWEEP_BANDS)[:, None]) / octaves) ** 2)
    bands = [
        noise(band, 0.25, seconds, seed * len(SWEEP_BANDS) + i, rate)
        for i, band in enumerate(SWEEP_BANDS)
    ]
    return np.asarray((gains * bands).sum(axis=0) / np.linalg.norm(gains, axis=0))
