"""Brushed noise: a drum head under wire brushes, and a shaker."""

from typing import Final

import numpy as np

from .sound import Samples, envelope, frames, ring, swept_noise

DRUM_MODES: Final = np.array([182.0, 290.0, 388.0, 417.0])
"""Hz; a membrane's modes, 1 : 1.59 : 2.14 : 2.30 (zeros of Bessel functions)."""


def brush_sweep(first: float, last: float, seconds: float, seed: int, rate: int) -> Samples:
    """Wire brush drawn across a drum head (frames,); centre glides from first to last (Hz)."""
    shape = envelope(seconds, 0.6 * seconds, 0.4 * seconds, rate)
    return swept_noise(first, last, 0.55, seconds, seed, rate) * shape


def brush_tap(seed: int, rate: int) -> Samples:
    """Wire brush tapped on a drum head (frames,)."""
    seconds = 0.4
    t = np.arange(frames(seconds, rate)) / rate
    wires = swept_noise(7000, 3500, 1.0, seconds, seed, rate) * np.exp(-t / 0.06)
    skin = ring(DRUM_MODES, np.full(4, 0.07), np.array([0.5, 0.35, 0.2, 0.2]), seconds, rate)
    return (wires + skin) * envelope(seconds, 0.002, 0.1, rate)


def shaker(seed: int, rate: int) -> Samples:
    """One stroke of a shaker (frames,)."""
    seconds = 0.2
    grains = swept_noise(8000, 12_500, 0.5, seconds, seed, rate)
    return grains * envelope(seconds, 0.05, 0.15, rate)
