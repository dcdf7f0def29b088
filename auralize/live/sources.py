"""What can be played: known by name and fingerprint, and opened at any sample rate by whoever reads it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Final, Protocol

import numpy as np
from numpy.typing import NDArray

from auralize.audio.metering import Samples
from auralize.audio.reader import probe
from auralize.audio.spectrum import third_octaves
from auralize.live.programme import Programme
from auralize.outputs import sha256_of

ENDLESS: Final = 1 << 38
"""Frames of what has no end: more than two weeks at any rate, and all arithmetic on them exact."""

Spectrum = tuple[NDArray[np.float64], NDArray[np.float64]]
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


def feed_of(source: Path | Feed) -> Feed:
    """A path stands for the sound file there."""
    return FileFeed(source) if isinstance(source, Path) else source
