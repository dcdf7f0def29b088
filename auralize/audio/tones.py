"""Tones of rms 1 in their steady part: any stretch of them by itself, sample by sample the same."""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from numpy.typing import NDArray

from auralize.audio.metering import Samples

EDGE: Final = 0.010
"""s in which a tone comes and goes, as a raised cosine."""
_PEAK: Final = math.sqrt(2.0)
"""Of a sine of rms 1."""
_MILLI: Final = 1000
"""Steady tones are kept in whole millihertz, so that their phase is exact however long they last."""

Frames = NDArray[np.int64]


def sine(hertz: float, rate: int, start: int, count: int) -> Samples:
    """(count, 1) of a sine that begins at frame 0; its frequency is rounded to 1 mHz."""
    at = np.arange(start, start + count, dtype=np.int64)
    return _column(_steady(hertz, rate, at) * _coming(at, rate))


def sweep_frames(seconds: float, rate: int) -> int:
    """Frames of a sweep."""
    return round(seconds * rate)


def sweep(first: float, last: float, seconds: float, rate: int, start: int, count: int) -> Samples:
    """(count, 1) of a sine that goes from ``first`` to ``last`` Hz, by as many octaves each second.

    f(t) = f1 (f2/f1)^(t/T), so its phase is T f1 / ln(f2/f1) ((f2/f1)^(t/T) - 1) turns, the integral
    of f(t) from 0 on. Silence after its end.
    """
    frames = sweep_frames(seconds, rate)
    at = np.arange(start, start + count, dtype=np.int64)
    growth = math.log(last / first)
    place = np.minimum(at, frames) / frames
    turns = seconds * first / growth * np.expm1(growth * place)
    return _column(_turned(turns) * _within(at, frames, rate))


def steps(
    frequencies: tuple[float, ...], seconds: float, rate: int, start: int, count: int
) -> Samples:
    """(count, 1) of sines one after another, each ``seconds`` long and coming and going by itself."""
    each = round(seconds * rate)
    at = np.arange(start, start + count, dtype=np.int64)
    out = np.zeros(count)
    for number in range(start // each, min((start + count - 1) // each + 1, len(frequencies))):
        mine = at // each == number
        inside = at[mine] - number * each
        tone = _steady(frequencies[number], rate, inside)
        out[mine] = tone * _within(inside, each, rate)
    return _column(out)


def _steady(hertz: float, rate: int, at: Frames) -> NDArray[np.float64]:
    whole = _MILLI * rate
    return _turned(round(hertz * _MILLI) * at % whole / whole)


def _turned(turns: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.asarray(_PEAK * np.sin(2.0 * math.pi * (turns % 1.0)))


def _coming(at: Frames, rate: int) -> NDArray[np.float64]:
    """From 0 at frame 0 to 1 after `EDGE`."""
    share = np.clip(at / round(EDGE * rate), 0.0, 1.0)
    return np.asarray(np.sin(0.5 * math.pi * share) ** 2)


def _within(at: Frames, frames: int, rate: int) -> NDArray[np.float64]:
    """From 0 at frame 0 over 1 to 0 at the last one, and after it."""
    return _coming(at, rate) * _coming(np.maximum(frames - 1 - at, 0), rate)


def _column(samples: NDArray[np.float64]) -> Samples:
    return samples[:, None]
