"""Struck metal: bars, bells, cymbals. Pure functions of pitch, length and sample rate."""

from math import pi
from typing import Final

import numpy as np

from .sound import SEED, Samples, envelope, ring

BAR_ROOTS: Final = np.array([4.730041, 7.853205, 10.995608, 14.137165, 17.278760, 20.420352])
"""Bending modes of a free bar (Euler and Bernoulli): the solutions of cosh x cos x = 1."""
BAR_RATIOS: Final = (BAR_ROOTS / BAR_ROOTS[0]) ** 2
BELL_RATIOS: Final = np.array([0.5, 1, 1.2, 1.5, 2, 2.5, 2.67, 3, 4, 5.33, 6.67, 8, 9.6, 11.2])
"""Hum, prime, tierce, quint, nominal and above, of a tuned bell; values from memory."""
BELL_SPLIT: Final = 1.0007
"""No bell is quite round: each mode is two, a little apart, and they beat."""
CYMBAL_MODES: Final = 420
CYMBAL_RANGE: Final = (280.0, 18_000.0)
"""Hz; a plate's modes lie about evenly in frequency."""


def bar(pitch: float, seconds: float, rate: int) -> Samples:
    """Metal bar struck by a hard mallet (frames,)."""
    frequency = pitch * BAR_RATIOS
    tau = 0.9 * (frequency / 1000) ** -0.6
    sound = ring(frequency, tau, BAR_RATIOS**-0.55, seconds, rate)
    return sound * envelope(seconds, 0.001, 0.2, rate)


def bell(pitch: float, seconds: float, rate: int) -> Samples:
    """Small cast bell (frames,) with its strike note at the pitch."""
    frequency = pitch * np.concatenate([BELL_RATIOS, BELL_RATIOS * BELL_SPLIT])
    tau = 1.6 * (frequency / 500) ** -0.7
    amplitude = np.tile(BELL_RATIOS**-0.4, 2) / 2
    return ring(frequency, tau, amplitude, seconds, rate) * envelope(seconds, 0.002, 0.4, rate)


def cymbal(attack: float, seconds: float, seed: int, rate: int) -> Samples:
    """Cymbal (frames, 2); a slow attack (s) is a roll that swells."""
    rng = np.random.default_rng((SEED, seed))
    low, high = CYMBAL_RANGE
    frequency = rng.uniform(low, high, CYMBAL_MODES)
    tau = 0.9 * (frequency / 1000) ** -0.35
    level = (frequency / 4000) ** -0.5 * (1 - np.exp(-((frequency / 1500) ** 2)))
    angle = rng.uniform(0, 2 * pi, (2, CYMBAL_MODES))
    amplitude = level / np.sqrt(CYMBAL_MODES) * np.exp(1j * angle)
    shape = envelope(seconds, attack, 0.6, rate)
    return np.stack([ring(frequency, tau, a, seconds, rate) * shape for a in amplitude], axis=1)
