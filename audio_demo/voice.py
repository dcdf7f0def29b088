"""A voice: phrases of syllables, sung through steered formants, and the s that leads some of them."""

from dataclasses import dataclass
from math import pi
from typing import Final

import numpy as np
from numpy.typing import NDArray

from .sound import BEAT, Samples, envelope, frames, hertz, noise

VOWELS: Final = {
    "i": (270.0, 2290.0, 3010.0),
    "e": (530.0, 1840.0, 2480.0),
    "a": (730.0, 1090.0, 2440.0),
    "o": (570.0, 840.0, 2410.0),
    "u": (300.0, 870.0, 2240.0),
}
"""Hz, first three formants, men: Peterson and Barney, J. Acoust. Soc. Am. 24 (1952), table II."""
UPPER_FORMANTS: Final = (3500.0, 4500.0, 5500.0, 6500.0, 7500.0)
"""Hz; odd multiples of 500 Hz, the resonances of a tube of 17.5 cm closed at one end."""
FORMANT_WIDTHS: Final = np.array([70.0, 90.0, 130.0, 180.0, 240.0, 300.0, 360.0, 420.0])
"""Hz, of all eight: common practice in formant synthesis, no source."""
VOICE_TOP: Final = 8000.0
"""Hz; above it is only breath and s."""
VOICE_SLOPE: Final = -0.6
"""Power of the harmonic's number: a firm glottal pulse, -10 dB, and radiation, +6 dB an octave."""
VIBRATO_HZ: Final = 5.4
VIBRATO_SEMITONES: Final = 0.3
HOP: Final = 0.01
"""Seconds between the points at which the voice is steered."""
BREATH: Final = 0.02
"""Relative to the tone; it comes and goes with each pulse."""
HISS: Final = 0.15
"""Seconds of s before a vowel, and before the beat: the vowel falls on it."""


@dataclass(frozen=True)
class Syllable:
    """One sung note: how many beats, which vowel (a key of VOWELS), and whether an s leads it."""

    beats: float
    note: str
    vowel: str
    hissed: bool = False


Phrase = tuple[Syllable, ...]


def beats_of(phrase: Phrase) -> Samples:
    """Seconds (syllables + 1,) at which the syllables start, and the last one ends."""
    return np.cumsum([0.0, *(syllable.beats for syllable in phrase)]) * BEAT


def smoothed(steps: Samples, seconds: float) -> Samples:
    """Steps at every HOP made into glides that last this many seconds."""
    half = round(seconds / HOP / 2)
    window = np.hanning(2 * half + 3)[1:-1]
    return np.convolve(np.pad(steps, half, mode="edge"), window / window.sum(), mode="valid")


def steer(phrase: Phrase, points: int) -> tuple[Samples, Samples, Samples]:
    """Pitch (points,) and formants (8, points) in Hz, and loudness (points,), at every HOP.

    The first point is HISS before the first beat.
    """
    beats = beats_of(phrase)
    lead = np.array([HISS * syllable.hissed for syllable in phrase])
    t = np.arange(points) * HOP - HISS
    now = np.clip(np.searchsorted(beats[:-1] - lead, t, side="right") - 1, 0, len(phrase) - 1)
    since = t - beats[now]
    steps = np.log2([hertz(syllable.note) for syllable in phrase])[now]
    depth = VIBRATO_SEMITONES / 12 * smoothed(np.clip((since - 0.2) / 0.4, 0, 1), 0.09)
    pitch = 2 ** (smoothed(steps, 0.09) + depth * np.sin(2 * pi * VIBRATO_HZ * t))
    targets = np.array([(*VOWELS[syllable.vowel], *UPPER_FORMANTS) for syllable in phrase])
    formants = np.array([smoothed(track, 0.12) for track in targets[now].T])
    joined = np.where(since < 0.04, 0.5, 1.0)  # a new vowel is leant upon, not struck
    voiced = np.where(since < 0, 0.0, joined) * (t < beats[-1] - 0.1)
    return pitch, formants, smoothed(voiced, 0.09)


def harmonics(pitch: Samples, formants: Samples) -> NDArray[np.complex128]:
    """Complex gains (harmonics, points) of a voice; their power is 1 at every point.

    The slope of the source times the cascade of the formants; a singer evens out the power of the
    vowels, which differ by 5 dB in speech.
    """
    h = np.arange(1.0, VOICE_TOP // pitch.min() + 1)[:, None]
    gains = (h * pitch < VOICE_TOP) * h**VOICE_SLOPE + 0j
    for centre, width in zip(formants, FORMANT_WIDTHS, strict=True):
        gains *= centre**2 / (centre**2 - (h * pitch) ** 2 + 1j * h * pitch * width)
    return np.asarray(gains / np.linalg.norm(gains, axis=0))


def sung(phrase: Phrase, rate: int) -> Samples:
    """A phrase sung (frames,), from HISS before its first beat: glottal pulses, and their breath.

    Harmonics are summed by Horner's rule with the gains at either end of each hop; between the
    ends the sum goes linearly.
    """
    hop = frames(HOP, rate)
    hops = round((beats_of(phrase)[-1] + HISS) / HOP)
    pitch, formants, loudness = steer(phrase, hops + 1)
    within = np.arange(hop) / hop
    steered = (pitch[:-1, None] + np.diff(pitch)[:, None] * within).ravel()
    turns = (np.cumsum(steered) - (steered + steered[0]) / 2) / rate  # trapezoids: no rate's bias
    pulse = np.exp(2j * pi * turns).reshape(hops, hop)
    first, last = np.zeros_like(pulse), np.zeros_like(pulse)
    for gain in (loudness * harmonics(pitch, formants))[::-1, :, None]:
        first = (first + gain[:-1]) * pulse
        last = (last + gain[1:]) * pulse
    tone = (first + (last - first) * within).imag.ravel()
    breath = BREATH * (1 - np.cos(2 * pi * turns)) * noise(4000, 0.8, hops * HOP, 900, rate)
    return np.asarray(
        tone + breath * np.interp(np.arange(hops * hop) / hop, np.arange(hops + 1), loudness)
    )


def hiss(seed: int, rate: int) -> Samples:
    """An s (frames,), that dies as the vowel sets in."""
    seconds = HISS + 0.05
    return noise(6800, 0.45, seconds, seed, rate) * envelope(seconds, 0.07, 0.08, rate)
