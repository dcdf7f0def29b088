"""What is taken of a source: all of it, or an excerpt with short fades; as it is, or in mono."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from auralize.audio.metering import Samples
from auralize.audio.reader import AudioInfo, clock, probe, read_blocks
from auralize.errors import AudioFileError

FADE: Final = 0.01
"""s of raised cosine where an excerpt begins or ends in the midst of a source: short, and no click."""
BLOCK: Final = 1 << 15
"""Frames read at a time."""


@dataclass(frozen=True)
class Excerpt:
    """Which part of every source is taken, and of how many channels."""

    start: float = 0.0
    """s"""
    seconds: float | None = None
    """Its length, as far as the source goes; None: to the end."""
    mono: bool = False
    """Whether the mean of all channels is taken."""

    @property
    def tags(self) -> tuple[str, ...]:
        """What stands of it in the names of results."""
        return (
            f"from-{exact(self.start)}s" if self.start else "",
            "" if self.seconds is None else f"for-{exact(self.seconds)}s",
            "mono" if self.mono else "",
        )


WHOLE: Final = Excerpt()


def exact(value: float) -> str:
    """The shortest decimal number that is read back as this one."""
    return repr(float(value)).removesuffix(".0")


@dataclass(frozen=True)
class Take:
    """A source as it is taken: its frames from ``first`` on."""

    info: AudioInfo
    first: int
    frames: int
    excerpt: Excerpt

    @classmethod
    def of(cls, source: Path, excerpt: Excerpt) -> Take:
        """Raises AudioFileError for what cannot be read, and where an excerpt begins after the end."""
        info = probe(source)
        first = round(excerpt.start * info.rate)
        if first >= info.frames:
            raise AudioFileError(
                f"{source} ends at {clock(info.frames, info.rate)}; an excerpt must begin before that"
            )
        rest = info.frames - first
        most = rest if excerpt.seconds is None else max(1, round(excerpt.seconds * info.rate))
        return cls(info, first, min(rest, most), excerpt)

    @property
    def mono(self) -> bool:
        return self.excerpt.mono

    @property
    def tags(self) -> list[str]:
        """What was asked for, in short words."""
        return [tag for tag in self.excerpt.tags if tag]

    @property
    def channels(self) -> int:
        return 1 if self.mono else self.info.channels

    @property
    def mask(self) -> int:
        """Where the channels belong; a mean of all belongs nowhere."""
        return 0 if self.mono else self.info.mask

    @property
    def whole(self) -> bool:
        """Whether all that is said of the source is true of what is taken."""
        return self.frames == self.info.frames and not self.mono

    @property
    def data(self) -> dict[str, float] | None:
        """The excerpt, for JSON; None for all of the source."""
        if self.frames == self.info.frames:
            return None
        rate = self.info.rate
        return {"from_s": self.first / rate, "for_s": self.frames / rate, "fade_s": FADE}

    def blocks(
        self, single: bool = False, begin: int = 0, end: int | None = None
    ) -> Iterator[NDArray[Any]]:
        """The samples (n, channels), or those of frames ``begin`` to ``end``.

        Raises as `read_blocks` does, as far as it has to read: what does not lie plainly in a file is
        decoded from its first frame on.
        """
        end = self.frames if end is None else min(end, self.frames)
        first = 0 if self.info.start is None else self.first + begin
        done = first - self.first
        for block in read_blocks(self.info, BLOCK, single, first):
            skipped = max(0, begin - done)
            taken = block[skipped : max(0, end - done)]
            at, done = done + skipped, done + len(block)
            if len(taken):
                out = taken.mean(axis=1, keepdims=True) if self.mono else taken
                gain = self._fades(at, at + len(out))
                yield out if gain is None else out * gain[:, None]
            if done >= end and self.first + end < self.info.frames:
                return

    def _fades(self, begin: int, end: int) -> Samples | None:
        """A gain for each of these frames; None for 1 throughout."""
        if self.frames == self.info.frames:
            return None
        length = min(round(FADE * self.info.rate), self.frames // 2)
        at = np.arange(begin, end)
        since, left = at, self.frames - 1 - at
        fades = [
            side
            for side, cut in (
                (since, self.first > 0),
                (left, self.first + self.frames < self.info.frames),
            )
            if cut and len(side) and side.min() < length
        ]
        if not fades:
            return None
        gain = np.ones(end - begin)
        for side in fades:
            inside = side < length
            gain[inside] = 0.5 - 0.5 * np.cos(np.pi * (side[inside] + 0.5) / length)
        return gain
