"""Samples as they lie in a WAV or RF64 file, little-endian and interleaved, unpacked and packed.

The same to the bit as libsndfile has them, and many times as fast: it takes 1 s for 10 min of stereo.
"""

from __future__ import annotations

import errno
import io
import os
import threading
from pathlib import Path
from typing import Any, Final, NamedTuple, Self

import numpy as np
import soundfile as sf
from numpy.typing import NDArray

from auralize.audio.header import plain_start

Bytes = NDArray[np.uint8]


class _Form(NamedTuple):
    """How samples of one kind lie in a file."""

    taken: np.dtype[Any]
    """As what each is taken: of 24 bits, with the byte before it as the lowest of 32."""
    width: int
    """Bytes from one to the next."""
    scale: float
    """Full scale 1.0 of what was taken, less the byte that is not its own."""


FORMS: Final = {
    "PCM_16": _Form(np.dtype("<i2"), 2, 2.0**-15),
    "PCM_24": _Form(np.dtype("<i4"), 3, 2.0**-23),
    "PCM_32": _Form(np.dtype("<i4"), 4, 2.0**-31),
    "FLOAT": _Form(np.dtype("<f4"), 4, 1.0),
    "DOUBLE": _Form(np.dtype("<f8"), 8, 1.0),
}
"""By libsndfile's names."""

LEAD: Final = 8
"""Bytes before the first sample of a buffer: 24-bit ones take one of them, the rest begin aligned."""
PIECE: Final = 1 << 15
"""Samples unpacked at once: what is between file and array stays in the cache."""


def unpack(raw: Bytes, subtype: str, out: NDArray[Any]) -> None:
    """The samples that follow `LEAD` bytes, as floats into ``out``, which is as long as they are."""
    form = FORMS[subtype]
    first = LEAD + form.width - form.taken.itemsize
    taken = np.ndarray(out.shape, form.taken, raw.data, first, (form.width,))
    if form.width < form.taken.itemsize:
        taken = taken >> 8 * (form.taken.itemsize - form.width)
    with np.errstate(invalid="ignore", over="ignore"):  # what is no number stays none
        np.copyto(out, taken, casting="same_kind")
    if form.scale != 1.0:
        out *= form.scale


def pack(steps: NDArray[Any], subtype: str) -> Bytes:
    """Whole numbers, which must be within the range of ``subtype``, as the bytes of a file."""
    flat, form = np.ascontiguousarray(steps).reshape(-1), FORMS[subtype]
    raw = np.empty(form.width * len(flat) + form.taken.itemsize - form.width, np.uint8)
    # Of 24 bits, each is put down as 32, over the highest byte of the one before.
    np.copyto(np.ndarray(flat.shape, form.taken, raw.data, 0, (form.width,)), flat, "unsafe")
    return raw[: form.width * len(flat)]


def laid_out(whole: sf.SoundFile, path: Path, frames: int) -> int:
    """Give a new file its length, and its header for all its frames; the byte where the first will be.

    libsndfile makes that, and ends what it writes with them; until they are put there is a hole.
    Raises OSError; LibsndfileError and AssertionError, as soundfile does.
    """
    whole.write(np.zeros((1, whole.channels), np.int32))
    whole.truncate(frames)
    whole.close()
    start = plain_start(path, frames, FORMS[whole.subtype].width * whole.channels)
    if start is None:
        raise OSError(errno.EIO, os.strerror(errno.EIO))
    return start


def put(file: io.FileIO, raw: Bytes) -> None:
    """Write all of it where the file is; raises OSError where it cannot take all."""
    rest = raw.data
    while rest:
        rest = rest[file.write(rest) :]


class PlainFile:
    """Samples that lie plainly in a file from byte ``start`` on, read from any place.

    For threads at once, which take turns at the file and not at unpacking.
    """

    def __init__(self, path: Path, start: int, subtype: str, channels: int) -> None:
        self._file = io.FileIO(path)
        self._turn = threading.Lock()
        self._start, self._subtype, self._channels = start, subtype, channels

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._file.close()

    def read(self, first: int, out: NDArray[Any]) -> int:
        """Frames from ``first`` on into ``out`` (n, channels, contiguous); how many whole ones there were."""
        width = FORMS[self._subtype].width
        flat = out.reshape(-1)
        raw = np.empty(LEAD + min(PIECE, len(flat)) * width, np.uint8)
        at = self._start + first * self._channels * width
        for begin in range(0, len(flat), PIECE):
            piece = flat[begin : begin + PIECE]
            wanted = raw.data[LEAD : LEAD + len(piece) * width]
            count = self._fill(at + begin * width, wanted) // width
            unpack(raw, self._subtype, piece[:count])
            if count < len(piece):
                return (begin + count) // self._channels
        return len(out)

    def _fill(self, at: int, buffer: memoryview) -> int:
        """Bytes of the file from ``at`` on, as many as there are."""
        done = 0
        with self._turn:
            self._file.seek(at)
            while done < len(buffer) and (count := self._file.readinto(buffer[done:])):
                done += count
        return done
