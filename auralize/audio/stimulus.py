"""Test signals: what each is, how long and how loud; any stretch of it at any sample rate.

Levels are rms in dB relative to a constant 1, full scale: a sine that just reaches full scale has
-3.01 dBFS here (AES17 counts rms 3.01 dB higher, so that this sine has 0 dBFS; value from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import ClassVar, Final, Protocol

from auralize.audio.metering import Samples
from auralize.audio.noise import CENTRES, HIGHEST, LOWEST, Shape, around, period, period_frames
from auralize.audio.tones import sine, steps, sweep, sweep_frames
from auralize.errors import RequestError
from auralize.units import amplitude, decibels, rounded, show_frequency

USUAL_LEVEL: Final = -20.0
"""dBFS rms of a signal for which none is asked."""
SEED: Final = 1
"""Of all noise: the same whenever and wherever it is played."""
LEAST_LEVEL: Final = -100.0
"""dBFS rms"""
SINE_CREST: Final = decibels(math.sqrt(2.0))
NOISE_CREST: Final = 16.0
"""dB, peak over rms, that no noise here reaches: 14 to 15 over a period (measured)."""
HIGH: Final = 2000.0
"""Hz above which a steady tone heats the small voice coil of a tweeter (common practice, no source)."""
SINE_STRETCH: Final = 5.0
"""s of a sine whose level is that of the whole."""
SHORTEST, LONGEST = 0.1, 3600.0
"""s of a step or a sweep."""
ABOUT_TWEETERS: Final = (
    "a steady high tone heats tweeters and tires ears before it seems loud: keep it soft and short"
)


class Stimulus(Protocol):
    """A test signal of one channel. Raises RequestError when made of what cannot be."""

    @property
    def words(self) -> str:
        """All that it is, level included."""

    @property
    def caution(self) -> str:
        """What to mind; empty for nothing."""

    @property
    def highest(self) -> float:
        """Hz of the highest tone that half the sample rate must be above; 0 for none."""

    def frames(self, rate: int) -> int | None:
        """How long it is; None: it goes on for ever."""

    def stretch(self, rate: int) -> int:
        """Frames from the start that have the level of the whole."""

    def read(self, rate: int, start: int, count: int) -> Samples:
        """(count, 1) from frame ``start`` on, at ``rate`` Hz."""


@dataclass(frozen=True)
class Noise:
    """Gaussian noise over the 31 third octaves from 20 Hz to 20 kHz, 18 Hz to 22 kHz."""

    shape: Shape
    level: float = USUAL_LEVEL
    NAMES: ClassVar = {
        "white": "white noise",
        "pink": "pink noise",
        "programme": "programme noise (IEC 60268-1)",
    }

    def __post_init__(self) -> None:
        check_level(self.level, NOISE_CREST)

    @property
    def words(self) -> str:
        """``pink noise, -20 dBFS rms``."""
        return f"{self.NAMES[self.shape]}, {level_words(self.level)}"

    @property
    def caution(self) -> str:
        """White noise is for tweeters what a high tone is."""
        return "most of white noise is treble: keep it soft" if self.shape == "white" else ""

    @property
    def highest(self) -> float:
        """Noise ends at half the rate by itself."""
        return 0.0

    def frames(self, rate: int) -> None:
        """No end."""

    def stretch(self, rate: int) -> int:
        """A period."""
        return period_frames(rate)

    def read(self, rate: int, start: int, count: int) -> Samples:
        """See `Stimulus`; takes 0.1 to 0.5 s when first asked."""
        return around(period(self.shape, rate, SEED), start, count) * amplitude(self.level)


@dataclass(frozen=True)
class Sine:
    """A steady tone."""

    hertz: float
    level: float = USUAL_LEVEL

    def __post_init__(self) -> None:
        check_frequency(self.hertz)
        check_level(self.level, SINE_CREST)

    @property
    def words(self) -> str:
        """``sine 1 kHz, -20 dBFS rms``."""
        return f"sine {show_frequency(self.hertz)}, {level_words(self.level)}"

    @property
    def caution(self) -> str:
        """Of a high one."""
        return ABOUT_TWEETERS if self.hertz > HIGH else ""

    @property
    def highest(self) -> float:
        """The tone itself."""
        return self.hertz

    def frames(self, rate: int) -> None:
        """No end."""

    def stretch(self, rate: int) -> int:
        """Some seconds: it is the same all along."""
        return round(SINE_STRETCH * rate)

    def read(self, rate: int, start: int, count: int) -> Samples:
        """See `Stimulus`."""
        return sine(self.hertz, rate, start, count) * amplitude(self.level)


@dataclass(frozen=True)
class Sweep:
    """A sine that rises or falls by as many octaves each second."""

    first: float = 20.0
    last: float = 20e3
    seconds: float = 10.0
    level: float = USUAL_LEVEL

    def __post_init__(self) -> None:
        check_frequency(self.first)
        check_frequency(self.last)
        check_time(self.seconds)
        check_level(self.level, SINE_CREST)
        if self.first == self.last:
            raise RequestError("a sweep goes from one frequency to another; give two")

    @property
    def words(self) -> str:
        """``sweep 20 Hz to 20 kHz in 10 s, -20 dBFS rms``."""
        ends = f"{show_frequency(self.first)} to {show_frequency(self.last)}"
        return f"sweep {ends} in {self.seconds:g} s, {level_words(self.level)}"

    @property
    def caution(self) -> str:
        """Of what gets high."""
        return ABOUT_TWEETERS if self.highest > HIGH else ""

    @property
    def highest(self) -> float:
        """One of its ends."""
        return max(self.first, self.last)

    def frames(self, rate: int) -> int:
        """From end to end."""
        return sweep_frames(self.seconds, rate)

    def stretch(self, rate: int) -> int:
        """All of it."""
        return self.frames(rate)

    def read(self, rate: int, start: int, count: int) -> Samples:
        """See `Stimulus`."""
        played = sweep(self.first, self.last, self.seconds, rate, start, count)
        return played * amplitude(self.level)


@dataclass(frozen=True)
class Steps:
    """A sine at each third octave from 20 Hz to 20 kHz, one after another."""

    seconds: float = 1.0
    level: float = USUAL_LEVEL

    def __post_init__(self) -> None:
        check_time(self.seconds)
        check_level(self.level, SINE_CREST)

    @property
    def words(self) -> str:
        """``steps of third octaves, 20 Hz to 20 kHz, 1 s each, -20 dBFS rms``."""
        each = f"{self.seconds:g} s each"
        return f"steps of third octaves, 20 Hz to 20 kHz, {each}, {level_words(self.level)}"

    @property
    def caution(self) -> str:
        """They get high."""
        return ABOUT_TWEETERS

    @property
    def highest(self) -> float:
        """Steps that a rate does not carry are left out."""
        return 0.0

    def frames(self, rate: int) -> int:
        """All steps that the rate carries."""
        return len(_steps(rate)) * round(self.seconds * rate)

    def stretch(self, rate: int) -> int:
        """All of them."""
        return self.frames(rate)

    def read(self, rate: int, start: int, count: int) -> Samples:
        """See `Stimulus`."""
        return steps(_steps(rate), self.seconds, rate, start, count) * amplitude(self.level)


def _steps(rate: int) -> tuple[float, ...]:
    return tuple(float(hertz) for hertz in CENTRES if hertz < rate / 2)


def level_words(level: float) -> str:
    """``-20 dBFS rms``."""
    return f"{rounded(level, '.4g')} dBFS rms"


def check_level(level: float, crest: float) -> None:
    """Raise RequestError for a level at which peaks pass full scale, or nothing is left."""
    if not LEAST_LEVEL <= level <= -crest:
        raise RequestError(
            f"a level of {level:g} dBFS rms was asked for; right is {LEAST_LEVEL:g} to "
            f"{math.floor(-crest * 10.0) / 10.0:g}, so that peaks stay below full scale"
        )


def check_frequency(hertz: float) -> None:
    """Raise RequestError for what is outside the audio band."""
    if not LOWEST <= hertz <= HIGHEST:
        raise RequestError(
            f"a tone of {show_frequency(hertz)} was asked for; right is 20 Hz to 20 kHz"
        )


def check_time(seconds: float) -> None:
    """Raise RequestError for a step or sweep that is too short or too long."""
    if not SHORTEST <= seconds <= LONGEST:
        raise RequestError(
            f"{seconds:g} s were asked for; right is {SHORTEST:g} s to {LONGEST:g} s"
        )
