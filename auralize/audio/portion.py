"""Samples put where they belong in a file that is as long as it will be: a portion each, in any process."""

from __future__ import annotations

import io
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from numpy.typing import NDArray

from auralize.audio.depth import SAMPLE_BYTES, Depth, Encoder
from auralize.audio.samples import pack, put
from auralize.audio.sink import Sink
from auralize.errors import AudioFileError


@dataclass(frozen=True)
class Laid:
    """A file of integers whose header is written, and its samples are still to come."""

    path: Path
    """Under which it will appear."""
    temporary: Path
    start: int
    """Byte where the samples begin."""
    rate: int
    channels: int
    depth: Depth
    dither_seed: int


class Portion(Sink):
    """Frames of a laid file from ``first`` on; a context manager. Raises AudioFileError.

    The bytes are those that one writer alone would put there.
    """

    _file: io.FileIO

    def __init__(self, laid: Laid, first: int = 0) -> None:
        encoder = Encoder(laid.depth, laid.dither_seed, first * laid.channels)
        super().__init__(laid.path, laid.rate, encoder, first)
        self._laid = laid

    def __enter__(self) -> Self:
        laid = self._laid
        try:
            self._file = io.FileIO(laid.temporary, "r+")
            self._file.seek(laid.start + self._first * laid.channels * SAMPLE_BYTES[laid.depth])
        except OSError as error:
            raise self._failure(error) from error
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        try:
            self.close()
        except OSError as failed:
            if error is None:
                raise self._failure(failed) from failed

    def _put(self, piece: NDArray[Any], highest: float) -> None:
        try:
            put(self._file, pack(self._encoder.steps(piece, highest), self._laid.depth))
        except OSError as error:
            raise self._failure(error) from error

    def _failure(self, error: OSError) -> AudioFileError:
        return unwritten(self._path, self._place, error.strerror or str(error))


def unwritten(path: Path, place: str, reason: str) -> AudioFileError:
    """That a file takes no more than up to a place, told as a `clock` does."""
    return AudioFileError(
        f"{path} could not be written beyond {place}: {reason or 'the system gave no reason'}; make room or "
        "choose another disk (nothing partial is left behind)"
    )
