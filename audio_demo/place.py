"""Where it is played: the mill's yard, and the desk's high-pass."""

from typing import Final

import numpy as np
from numpy.typing import NDArray

from .sound import Samples, frames, noise

YARD_LEVEL: Final = 0.12
"""Sound that comes back from the mill's walls, relative to the direct sound."""
YARD_DELAY: Final = 0.02
YARD_TAU: Final = 0.12
YARD_LENGTH: Final = 1.0
"""Seconds: first return, time constant (60 dB in 0.8 s), and where it is cut."""
SUBSONIC: Final = 18.0
"""Hz; second-order high-pass as on any mixing desk: takes out the DC of decaying sines."""


def bins(count: int, rate: int) -> Samples:
    """Hz (count // 2 + 1,) of the bins of a real transform of count samples."""
    return np.arange(count // 2 + 1, dtype=np.float64) * (rate / count)


def high_pass(frequency: Samples) -> NDArray[np.complex128]:
    """Response of the subsonic filter, Butterworth, second order."""
    s = 1j * frequency / SUBSONIC
    return np.asarray(s**2 / (s**2 + np.sqrt(2) * s + 1))


def yard(seed: int, count: int, rate: int) -> NDArray[np.complex128]:
    """Spectrum (count // 2 + 1,) of the diffuse return, mean square YARD_LEVEL^2 round 1 kHz."""
    t = np.arange(frames(YARD_LENGTH, rate)) / rate
    tail = noise(1000, 1.4, YARD_LENGTH, seed, rate) * np.exp(-t / YARD_TAU)
    late = np.concatenate([np.zeros(frames(YARD_DELAY, rate)), tail])
    spectrum = np.fft.rfft(late, count)
    frequency = bins(count, rate)
    middle = spectrum[(frequency > 500) & (frequency < 2000)]
    return np.asarray(spectrum * (YARD_LEVEL / np.sqrt(np.mean(np.abs(middle) ** 2))))


def placed(dry: Samples, rate: int) -> Samples:
    """The dry mix (frames, 2) without DC, standing in the mill's yard."""
    count = len(dry) + frames(YARD_LENGTH, rate)  # room for the return, so that it wraps nowhere
    spectra = np.fft.rfft(dry, count, axis=0)
    spectra *= high_pass(bins(count, rate))[:, None]
    sent = spectra.mean(axis=1)
    for side in (0, 1):
        spectra[:, side] += sent * yard(400 + side, count, rate)
    return np.asarray(np.fft.irfft(spectra, count, axis=0))[: len(dry)]
