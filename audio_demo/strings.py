"""Plucked strings: a bass, and courses of two thin steel strings."""

from math import pi
from typing import Final

import numpy as np

from .sound import TOP, Samples, envelope, pan, ring

BASS_PLUCK: Final = 0.22
BASS_TOP: Final = 6000.0
"""Hz; a bass string played with the finger has nothing above."""
COURSE_CENTS: Final = 2.5
"""The two strings of a course are never quite in tune."""
STIFFNESS: Final = 6e-5
"""Inharmonicity B of a thin steel string: f_h = h f (1 + B h^2)^0.5; common practice, no source."""


def plucked_at(position: float, harmonic: Samples) -> Samples:
    """Amplitudes of the force on the bridge, ideal string plucked at a share of its length."""
    return np.asarray(np.sin(pi * harmonic * position) / harmonic)


def bass(pitch: float, seconds: float, rate: int) -> Samples:
    """Plucked bass (frames,), fingered, stopped at the end of the note."""
    harmonic = np.arange(1.0, BASS_TOP // pitch + 1)
    frequency = harmonic * pitch
    tau = 1.6 / (1 + frequency / 350)
    amplitude = plucked_at(BASS_PLUCK, harmonic) / (1 + (frequency / 900) ** 2)
    sound = ring(frequency, tau, amplitude, seconds, rate)
    return sound * envelope(seconds, 0.006, 0.06, rate)


def course(pitch: float, position: float, place: float, seconds: float, rate: int) -> Samples:
    """Pair of plucked steel strings (frames, 2), a little apart in pitch and place."""
    harmonic = np.arange(1.0, TOP // pitch + 1)
    tau = 1.3 / (1 + harmonic * pitch / 1800)
    amplitude = plucked_at(position, harmonic)
    shape = envelope(seconds, 0.0015, 0.25, rate)
    sound = np.zeros((len(shape), 2))
    for side in (-1, 1):
        tuned = pitch * 2 ** (side * COURSE_CENTS / 2 / 1200)
        frequency = harmonic * tuned * np.sqrt(1 + STIFFNESS * harmonic**2)
        sound += pan(ring(frequency, tau, amplitude, seconds, rate) * shape, place + 0.2 * side)
    return sound
