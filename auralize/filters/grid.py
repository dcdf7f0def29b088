"""The frequencies on which filters are made and measured, and what a design is held against."""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Callable, Sequence
from functools import lru_cache
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from auralize.audio.bands import HIGHEST_RATE, LOWEST_RATE
from auralize.circuit.conductor import Complex, Real
from auralize.errors import DesignError

Response = Callable[[Real], Complex]
"""Complex response at frequencies in Hz."""

AUDIBLE: Final = (20.0, 20_000.0)
"""Hz; the errors of all designs are measured between these, or up to the `edge` if that is lower."""

LONGEST_IMPULSE: Final = 2.56
"""s; the longest impulse response. Only a sharp resonance (Q of 10) near 20 Hz reaches it."""
HALVINGS: Final = 7
"""The first length that is tried is 0.02 s, each next one longer by the square root of two."""
GRID_LENGTHS: Final = (1.35, 5.4)
"""s; designs are made on a time grid at least so long, so that what wraps round has decayed. The short
one does for most loads; what has not decayed on it is seen as error, and the long one is taken."""

FADED: Final = 0.5
"""Of an impulse response, the later part, led to nothing.

What an abrupt end takes from a slow tail is an error at all frequencies; what a slow fade takes stays
near the tail's own, below `AUDIBLE`.
"""
FADE_SHAPE: Final = 10.0
"""Kaiser's beta of the fade's slope: -100 dB beyond 3.3 over its length in s (5 Hz of 0.64 s)."""

KNOTS_PER_DECADE: Final = 1024


def edge(rate: int) -> float:
    """Hz up to which a filter at ``rate`` is exact: 5/6 of Nyquist, and 20 kHz at 44.1 kHz."""
    nyquist = rate / 2.0
    return nyquist * min(max(AUDIBLE[1] / nyquist, 5.0 / 6.0), 20.0 / 22.05)


def predelay(rate: int) -> int:
    """Samples before the impulse: 256 for a change over a sixth of the band, 512 over a tenth."""
    return 256 if edge(rate) < 0.87 * rate / 2.0 else 512


def shortest(lengths: Sequence[int], good: Callable[[int], bool]) -> int:
    """The first length that is good, as all after it are; the last one if none is."""
    return lengths[bisect_left(lengths[:-1], True, key=good)]


class Goal:
    """A response where it is measured, and the most in dB by which a filter should differ from it."""

    def __init__(self, response: Complex, most: float) -> None:
        self.most = most
        self._response = response
        self._power = response.real**2 + response.imag**2
        self._silent = not response.any()

    def error(self, got: Complex) -> float:
        """Largest |F - H| / |H| in dB."""
        if self._silent:
            return math.inf if got.any() else -math.inf
        off = got - self._response
        with np.errstate(divide="ignore"):
            return float(10.0 * np.log10(np.max((off.real**2 + off.imag**2) / self._power)))


class Grid:
    """Frequencies from 0 Hz to Nyquist on which filters at ``rate`` are made and measured."""

    def __init__(self, rate: int, seconds: float = GRID_LENGTHS[-1]) -> None:
        if not LOWEST_RATE <= rate <= HIGHEST_RATE:
            raise DesignError(
                f"a sample rate of {rate} Hz was asked for; filters are made from {LOWEST_RATE} to "
                f"{HIGHEST_RATE} Hz"
            )
        self.rate = rate
        self.size = 1 << math.ceil(math.log2(seconds * rate))
        self.frequency = np.fft.rfftfreq(self.size, 1.0 / rate)
        self.delay = predelay(rate)
        first = math.ceil(AUDIBLE[0] * self.size / rate)
        last = math.floor(min(edge(rate), AUDIBLE[1]) * self.size / rate)
        self._measured = slice(first, last + 1)

    def lengths(self) -> list[int]:
        """Numbers of taps to try, the shortest first; none over half of the grid."""
        every = (
            round(LONGEST_IMPULSE * self.rate / 2 ** (step / 2)) + self.delay
            for step in reversed(range(2 * HALVINGS + 1))
        )
        return [taps for taps in every if taps <= self.size // 2]

    def tapered(self, response: Complex) -> Complex:
        """The response, led smoothly from its `edge` to a real constant at Nyquist."""
        if not response.any():  # no cable, no drop
            return np.zeros_like(response)
        start, nyquist = edge(self.rate), self.rate / 2.0
        above = int(np.searchsorted(self.frequency, start, side="right"))
        # Below, the response itself: it may be zero at 0 Hz.
        share = _smooth_step((self.frequency[above:] - start) / (nyquist - start))
        level, angle = np.log(np.abs(response[above:])), np.unwrap(np.angle(response[above:]))
        end = np.pi * np.round(angle[-1] / np.pi)
        led = np.exp(level + share * (level[-1] - level) + 1j * (angle + share * (end - angle)))
        return np.concatenate([response[:above], led])

    def exact(self, response: Complex) -> NDArray[np.float64]:
        """Impulse response over the whole grid, delayed."""
        return np.roll(np.fft.irfft(self.tapered(response), self.size), self.delay)

    def fade(self, taps: int) -> NDArray[np.float64]:
        """What the first ``taps`` of a delayed impulse response are multiplied by (see `FADED`)."""
        return _fade(taps, self.delay)

    def measured(self, response: NDArray[Any]) -> NDArray[Any]:
        """The part of what is over the whole grid in which errors are measured."""
        return response[self._measured]

    def response(self, impulse: Real) -> Complex:
        """Of a delayed impulse response, where it is measured."""
        late = np.zeros(self.size)
        late[: len(impulse) - self.delay] = impulse[self.delay :]
        late[self.size - self.delay :] = impulse[: self.delay]
        return self.measured(np.fft.rfft(late))

    def magnitude_error(self, got: Complex, response: Complex) -> float:
        """Largest difference of levels in dB; of ``response`` over the whole grid, ``got`` where measured."""
        ratio = np.abs(got) / np.abs(self.measured(response))
        return float(np.max(np.abs(20.0 * np.log10(ratio))))

    def knots(self) -> NDArray[np.intp]:
        """Indices from 0 Hz to Nyquist: every one at first, then even in log f."""
        top = len(self.frequency) - 1
        count = round(KNOTS_PER_DECADE * math.log10(top))
        return np.concatenate([[0], np.unique(np.geomspace(1, top, count).round()).astype(np.intp)])

    def spread(self) -> np.ndarray[tuple[int], np.dtype[np.intp]]:
        """Indices of about 600 frequencies: even in log f, and even in f near the top."""
        top = len(self.frequency) - 1
        low = np.geomspace(max(1.0, AUDIBLE[0] / 4.0 / self.rate * self.size), top, 500)
        return np.unique(np.concatenate([low, np.linspace(1, top, 120)]).round().astype(np.intp))


@lru_cache(maxsize=8)
def _fade(taps: int, delay: int) -> NDArray[np.float64]:
    """Kept, since all choices of a rig try the same lengths."""
    slope = np.kaiser(round(FADED * (taps - delay)), FADE_SHAPE)
    left = (np.cumsum(slope[::-1])[::-1] - 0.5 * slope) / slope.sum()
    made = np.concatenate([np.ones(taps - len(slope)), left])
    made.flags.writeable = False
    return made


def _smooth_step(x: Real) -> Real:
    """0 below 0, 1 above 1, and all derivatives continuous between (and at both ends zero)."""
    inside = np.clip(x, 1e-3, 1.0 - 1e-3)  # beyond, exp(-1/x) is zero in double precision anyhow
    rise, fall = np.exp(-1.0 / inside), np.exp(-1.0 / (1.0 - inside))
    return np.where(x <= 1e-3, 0.0, np.where(x >= 1.0 - 1e-3, 1.0, rise / (rise + fall)))


def minimum_phase(magnitude: Real) -> Complex:
    """Minimum-phase response of a magnitude on a whole grid, by folding its cepstrum.

    Oppenheim and Schafer, 'Discrete-Time Signal Processing', Hilbert transform relations (from memory).
    """
    if magnitude[0] == 0.0:  # 0 Hz does not come through: the next bin stands for it
        magnitude = np.concatenate([magnitude[1:2], magnitude[1:]])
    cepstrum = np.fft.irfft(np.log(magnitude))
    half = len(cepstrum) // 2
    cepstrum[1:half] *= 2.0
    cepstrum[half + 1 :] = 0.0
    return np.asarray(np.exp(np.fft.rfft(cepstrum)), dtype=np.complex128)
