"""A sound file as a programme: at any sample rate, from any place."""

from __future__ import annotations

from contextlib import ExitStack
from pathlib import Path
from typing import Final, Self

import numpy as np
import soundfile as sf

from auralize.audio.header import told_of
from auralize.audio.metering import Samples
from auralize.audio.reader import frames_of, probe
from auralize.audio.resampling import Resampler
from auralize.errors import AudioFileError

MOST_LIVE_CHANNELS: Final = 2
CHUNK: Final = 8192
"""Frames read from disk at once."""


class Programme:
    """A sound file of one or two channels as if it had been sampled at ``rate`` Hz, from any place.

    Raises AudioFileError for what cannot be read or has more channels. Not for two threads at once.
    """

    def __init__(self, path: Path, rate: int | None = None) -> None:
        self.info = probe(path)
        if self.info.channels > MOST_LIVE_CHANNELS:
            raise AudioFileError(
                f"{path} has {self.info.channels} channels; for listening live, one or two are right"
            )
        self.rate = rate or self.info.rate
        self.channels = self.info.channels
        self.frames = -(-self.info.frames * self.rate // self.info.rate)
        self.stretch = self.frames
        """Frames from the start whose level is that of the whole: all."""
        same = self.rate == self.info.rate
        self._resampler = None if same else Resampler(self.info.rate, self.rate)
        self._closing = ExitStack()
        self._file = self._closing.enter_context(frames_of(self.info))
        self._kept_from, self._kept = 0, np.zeros((0, self.channels))
        self._chunk_index, self._chunk = -1, self._kept

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the file."""
        self._closing.close()

    def read(self, start: int, count: int) -> Samples:
        """(count, channels) from frame ``start`` (0 or more) on; silence after the end."""
        out = np.zeros((count, self.channels))
        done = 0
        while done < count and start + done < self.frames:
            index, inside = divmod(start + done, CHUNK)
            piece = self._in_chunk(index)[inside : inside + count - done]
            out[done : done + len(piece)] = piece
            done += len(piece)
        return out

    def _in_chunk(self, index: int) -> Samples:
        if index != self._chunk_index:
            start = index * CHUNK
            stop = min(start + CHUNK, self.frames)
            if self._resampler is None:
                self._chunk = self._decoded(start, stop)
            else:
                first, last = self._resampler.needs(start, stop)
                self._chunk = self._resampler.run(self._around(first, last), first, start, stop)
            self._chunk_index = index
        return self._chunk

    def _around(self, first: int, last: int) -> Samples:
        """Frames first to last, with silence where the file has none."""
        inside = self._decoded(max(first, 0), min(last, self.info.frames))
        return np.pad(inside, ((max(-first, 0), max(last - self.info.frames, 0)), (0, 0)))

    def _decoded(self, start: int, stop: int) -> Samples:
        """Frames of the file; those of the last call are kept, so that going on needs no seek."""
        offset = start - self._kept_from
        kept = self._kept[offset:][: stop - start] if offset >= 0 else self._kept[:0]
        self._kept = np.concatenate([kept, self._fetched(start + len(kept), stop)])
        self._kept_from = start
        return self._kept

    def _fetched(self, start: int, stop: int) -> Samples:
        if start >= stop:
            return np.zeros((0, self.channels))
        at = f"{start / self.info.rate:.1f} s"
        try:
            with told_of(self.info.path):
                samples = self._file.read(start, stop - start)
        except sf.LibsndfileError as error:
            raise AudioFileError(
                f"{self.info.path} cannot be decoded after {at} ({error}); fetch it again from "
                "where it came"
            ) from error
        if len(samples) < stop - start:
            raise AudioFileError(
                f"{self.info.path} is damaged or cut short after {at}; fetch it again from where it "
                "came"
            )
        return samples
