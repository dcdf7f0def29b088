"""Where samples go: piece by piece into a file, finite or refused."""

from __future__ import annotations

import io
import math
from pathlib import Path
from typing import Any, Final

import soundfile as sf
from numpy.typing import NDArray

from auralize.audio.depth import Encoder, magnitude
from auralize.audio.reader import clock
from auralize.errors import AudioFileError

PIECE: Final = 1 << 15
"""Frames encoded at once: what is between float and file stays in the second cache. Measured: a quarter of
these take longer."""


class Sink:
    """Takes the samples of a file that will be ``path``, from frame ``first`` on, block by block."""

    _file: sf.SoundFile | io.FileIO

    def __init__(self, path: Path, rate: int, encoder: Encoder, first: int = 0) -> None:
        self._path, self._rate, self._encoder, self._first = path, rate, encoder, first
        self.written = 0
        """Frames so far."""
        self.highest = 0.0
        """Magnitude of any sample so far."""

    @property
    def clipped(self) -> int:
        """Samples over full scale so far."""
        return self._encoder.clipped

    @property
    def closed(self) -> bool:
        return self._file.closed

    def close(self) -> None:
        self._file.close()

    def write(self, block: NDArray[Any]) -> None:
        """Add (n, channels), any n. Raises AudioFileError, and what the file does."""
        for at in range(0, len(block), PIECE):
            piece = block[at : at + PIECE]
            highest = magnitude(piece)
            if not math.isfinite(highest):
                raise AudioFileError(
                    f"{self._path} would get samples that are not finite numbers after {self._place}; "
                    "check the gain and the rig"
                )
            self.highest = max(self.highest, highest)
            self._put(piece, highest)
            self.written += len(piece)

    def _put(self, piece: NDArray[Any], highest: float) -> None:
        raise NotImplementedError

    @property
    def _place(self) -> str:
        return clock(self._first + self.written, self._rate)
