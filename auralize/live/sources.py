"""What can be played: known by name and fingerprint, and opened at any sample rate by whoever reads it."""

from __future__ import annotations

import hashlib
import math
from dataclasses import dataclass
from pathlib import Path
from typing import Final, Protocol

from auralize.audio.metering import Samples
from auralize.audio.reader import probe
from auralize.audio.spectrum import WINDOW, BandLevels, band_levels, third_octaves
from auralize.audio.stimulus import Stimulus
from auralize.errors import RequestError
from auralize.live.programme import Programme
from auralize.outputs import sha256_of
from auralize.units import show_frequency

ENDLESS: Final = 1 << 38
"""Frames of what has no end: more than two weeks at any rate, and all arithmetic on them exact."""

SIGNAL_RATE: Final = 48_000
"""Hz that test signals are best played at; they can be at any rate."""
SIGNALS: Final = "auralize test signals 1"
"""Which generators made them: another number where the same words would sound otherwise."""

Spectrum = BandLevels
"""Centre frequencies in Hz, and levels of third octaves in dB of any reference."""


class Readable(Protocol):
    """Samples at one rate, the same at any place however they are read. Not for two threads at once."""

    @property
    def rate(self) -> int:
        """Hz"""

    @property
    def channels(self) -> int:
        """One or two."""

    @property
    def frames(self) -> int:
        """How many there are; `ENDLESS` where there is no end."""

    @property
    def stretch(self) -> int:
        """Frames from the start whose level is that of the whole."""

    def read(self, start: int, count: int) -> Samples:
        """(count, channels) from frame ``start`` (0 or more) on; silence after the end."""

    def close(self) -> None:
        """Let go of what is held."""


class Feed(Protocol):
    """What can be played. It may be opened several times over, once for each thread that reads it."""

    @property
    def name(self) -> str:
        """What it is, in words short enough for a line."""

    @property
    def rate(self) -> int:
        """Hz that it is best played at."""

    @property
    def channels(self) -> int:
        """One or two."""

    @property
    def caution(self) -> str:
        """What to mind before it is played loud; empty for nothing."""

    def opened(self, rate: int) -> Readable:
        """To be read as if sampled at ``rate`` Hz; raises AudioFileError."""

    def fingerprint(self) -> str:
        """64 hexadecimal digits, the same as long as it sounds the same; raises FileError."""

    def spectrum(self) -> Spectrum:
        """Of the whole; raises AudioFileError."""


@dataclass(frozen=True)
class FileFeed:
    """A sound file. Raises AudioFileError where it is opened and cannot be read."""

    path: Path

    @property
    def name(self) -> str:
        """That of the file."""
        return self.path.name

    @property
    def rate(self) -> int:
        """Hz, as on disk."""
        return probe(self.path).rate

    @property
    def channels(self) -> int:
        """As on disk."""
        return probe(self.path).channels

    @property
    def caution(self) -> str:
        """Nothing is known of what it holds."""
        return ""

    def opened(self, rate: int) -> Programme:
        """The file at that rate; raises AudioFileError for more than two channels, too."""
        return Programme(self.path, rate)

    def fingerprint(self) -> str:
        """SHA-256 of the file as it is now."""
        return sha256_of(self.path)

    def spectrum(self) -> Spectrum:
        """The mean over the file and its channels."""
        return third_octaves(self.path)


def seconds(frames: int, rate: int) -> float:
    """How long these last; infinite for what has no end."""
    return math.inf if frames >= ENDLESS else frames / rate


def feed_of(source: Path | Feed) -> Feed:
    """A path stands for the sound file there."""
    return FileFeed(source) if isinstance(source, Path) else source


@dataclass(frozen=True)
class SignalFeed:
    """A test signal."""

    stimulus: Stimulus
    rate: int = SIGNAL_RATE
    channels: int = 1

    @property
    def name(self) -> str:
        """All that it is."""
        return self.stimulus.words

    @property
    def caution(self) -> str:
        """Of the signal."""
        return self.stimulus.caution

    def opened(self, rate: int) -> SignalRead:
        """The signal at that rate; raises RequestError for a tone that the rate does not carry."""
        if 2.0 * self.stimulus.highest >= rate:
            raise RequestError(
                f"{self.name}: a sample rate of {rate} Hz carries tones below "
                f"{show_frequency(rate / 2)}; choose a lower one, or another device"
            )
        return SignalRead(self.stimulus, rate)

    def fingerprint(self) -> str:
        """SHA-256 of all that it is: kind, frequencies, length, level, and the generator."""
        return hashlib.sha256(f"{SIGNALS}: {self.stimulus!r}".encode()).hexdigest()

    def spectrum(self) -> Spectrum:
        """Of the stretch that has the level of the whole."""
        readable = self.opened(self.rate)
        starts = range(0, readable.stretch, WINDOW)
        return band_levels((readable.read(start, WINDOW) for start in starts), self.rate)


class SignalRead:
    """A test signal at one rate: nothing is held, and nothing can be missing."""

    channels = 1

    def __init__(self, stimulus: Stimulus, rate: int) -> None:
        self._stimulus, self.rate = stimulus, rate
        frames = stimulus.frames(rate)
        self.frames = ENDLESS if frames is None else frames
        self.stretch = stimulus.stretch(rate)

    def read(self, start: int, count: int) -> Samples:
        """(count, 1) from frame ``start`` on."""
        return self._stimulus.read(self.rate, start, count)

    def close(self) -> None:
        """Nothing to let go of."""
