"""Noise that goes round: one period of known spectrum and level, the same on every machine.

A period is made in the frequency domain: every line has exactly the power that the spectrum asks for,
and a phase by chance. So level and third octaves over a period have no spread at all, the amplitudes
are Gaussian (a sum of some hundred thousand sines), and what lies a period on is the same again.
"""

from __future__ import annotations

import math
from functools import lru_cache
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from auralize.audio.metering import Samples

Shape = Literal["white", "pink", "programme"]

SHORTEST_PERIOD: Final = 20.0
"""s; a period is the next power of two frames above it: 21.8 s at 48 kHz."""
LOWEST: Final = 10.0 ** (1.0 + 0.3 - 0.05)
"""Hz, 17.8: lower edge of the third octave of 20 Hz (IEC 61260-1, exact base-ten frequencies)."""
HIGHEST: Final = 10.0 ** (4.0 + 0.3 + 0.05)
"""Hz, 22 390: upper edge of that of 20 kHz; under twice this rate noise ends at half the rate."""

# Hz -> dB: power of third octaves of programme, IEC 60268-1:1985, clause 7, table II, by exact centres
# from 20 Hz to 20 kHz. Not read in the standard itself but as the open-source library phonometry has
# copied it out; held against the filter of the same clause's figure 2 in tests/audio/test_noise.py.
PROGRAMME: Final = (
    -13.5, -10.2, -7.4, -5.2, -3.5, -2.3, -1.4, -0.9, -0.5, -0.2, -0.1, 0.0, 0.0, 0.0, 0.0, 0.0,
    0.0, -0.1, -0.3, -0.6, -1.0, -1.6, -2.5, -3.7, -5.1, -7.0, -9.4, -11.9, -14.8, -18.2, -21.6,
)  # fmt: skip
CENTRES: Final[NDArray[np.float64]] = 10.0 ** (3.0 + np.arange(-17, 14) / 10.0)
"""Hz of the 31 third octaves from 20 Hz to 20 kHz, exact (IEC 61260-1)."""
_DRAWN: Final = 1 << 15
"""Phases drawn at once: so long, under a millisecond, the interpreter is held."""


def power_density(shape: Shape, frequency: NDArray[np.float64]) -> NDArray[np.float64]:
    """Power in each Hz, to any reference, at ``frequency`` in Hz above 0; nothing outside of the band.

    Pink is 1/f exactly. Programme is straight between the centres (dB over log f), and on beyond
    them: each third octave within 0.15 dB of the table.
    """
    inside = (frequency >= LOWEST) & (frequency < HIGHEST)
    if shape == "white":
        return np.where(inside, 1.0, 0.0)
    pink = np.where(inside, 1.0 / frequency, 0.0)
    if shape == "pink":
        return pink
    return pink * 10.0 ** (_straight(frequency) / 10.0)


def _straight(frequency: NDArray[np.float64]) -> NDArray[np.float64]:
    """dB of programme; beyond the first and the last centre on as the band before."""
    first, last = PROGRAMME[0] - PROGRAMME[1], PROGRAMME[-1] - PROGRAMME[-2]
    levels = [PROGRAMME[0] + first, *PROGRAMME, PROGRAMME[-1] + last]
    places = np.arange(-18, 15) / 10.0 + 3.0
    return np.asarray(np.interp(np.log10(frequency), places, levels))


def period_frames(rate: int) -> int:
    """After so many frames noise at ``rate`` Hz is the same again."""
    return 1 << math.ceil(math.log2(SHORTEST_PERIOD * rate))


@lru_cache(maxsize=2)
def period(shape: Shape, rate: int, seed: int) -> Samples:
    """One period at ``rate`` Hz, (frames, 1), of rms 1; read only, 8 MB at 48 kHz.

    Takes 0.1 s at 48 kHz. The phases are what the bit generator Philox gives, whose stream NumPy
    keeps the same in all versions; sums and sines may differ in the last bits between machines.
    """
    from scipy.fft import irfft

    frames = period_frames(rate)
    lines = frames // 2
    frequency = np.arange(1.0, lines) * (rate / frames)  # neither 0 Hz nor half the rate
    size = np.sqrt(power_density(shape, frequency))
    spectrum = np.zeros(lines + 1, np.complex128)
    np.multiply(size, np.exp(1j * _phases(seed, lines - 1)), out=spectrum[1:-1])
    samples = irfft(spectrum, frames)
    samples *= 1.0 / math.sqrt(float(np.mean(samples**2)))
    samples.flags.writeable = False
    return np.asarray(samples)[:, None]


def _phases(seed: int, count: int) -> NDArray[np.float64]:
    drawn = np.random.Philox(key=seed)
    phases = np.empty(count)
    for start in range(0, count, _DRAWN):
        part = phases[start : start + _DRAWN]
        part[:] = drawn.random_raw(len(part))
    phases *= 2.0 * math.pi / 2.0**64
    return phases


def around(table: Samples, start: int, count: int) -> Samples:
    """``count`` frames of what repeats ``table`` for ever, from frame ``start`` on."""
    return table[(start + np.arange(count)) % len(table)]
