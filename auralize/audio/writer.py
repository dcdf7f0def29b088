"""Sound files out: where they may go, and an atomic finish.

libsndfile encodes FLAC and floats, and makes the headers. It truncates when it turns floats into
integers, and may lose the error of a full disk: integers are made before, and the file is read back
before it gets its name.
"""

import os
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from types import TracebackType
from typing import Any, Final, Self

import soundfile as sf
from numpy.typing import NDArray

from auralize.audio.carried import HEADER_ALLOWANCE, complete
from auralize.audio.depth import (
    DITHER_SEED,
    FLAC_DEPTHS,
    WORDS,
    Depth,
    sound_bytes,
)
from auralize.audio.encoded import Encoded
from auralize.audio.header import RIFF_LIMIT
from auralize.audio.portion import Laid, Portion, unwritten
from auralize.audio.reader import StrPath, clock, native_name, plain_reason
from auralize.audio.room import check_disk
from auralize.audio.samples import laid_out
from auralize.audio.sink import Sink
from auralize.errors import AudioFileError
from auralize.files import StagedFile
from auralize.outputs import GrowingSum

LONGEST_COMMENT: Final = 2000
"""Bytes; libsndfile 1.2.2 reads none beyond 2045 back from a WAV file (measured)."""

UNWRITTEN: Final = (sf.LibsndfileError, AssertionError, OSError)
"""What a write raises that fails; soundfile asserts on a short one."""


# --- where the result goes ------------------------------------------------------------------------


def same_file(a: StrPath, b: StrPath) -> bool:
    """Whether both names lead to one file, also by links; names of files yet to come compare."""
    if os.path.exists(a) and os.path.exists(b):
        return os.path.samefile(a, b)
    return os.path.realpath(a) == os.path.realpath(b)


def check_output(path: StrPath, depth: Depth, inputs: Sequence[StrPath] = ()) -> None:
    """Raise AudioFileError if no file of that name and depth can be written; touch nothing."""
    path = Path(path)
    suffix = path.suffix.lower()
    if suffix not in (".wav", ".flac"):
        raise AudioFileError(f"{path} cannot be written; its name must end in .wav or .flac")
    if suffix == ".flac" and depth not in FLAC_DEPTHS:
        raise AudioFileError(
            f"{path} cannot hold {WORDS[depth]}; FLAC takes {' or '.join(WORDS[d] for d in FLAC_DEPTHS)}, "
            "and a .wav file takes it"
        )
    for source in inputs:
        if same_file(path, source):
            raise AudioFileError(
                f"{path} is the file that is read ({source}); give the result another name"
            )
    _check_place(path)


def _check_place(path: Path) -> None:
    folder = path.parent
    if not folder.exists():
        raise AudioFileError(f"{path} cannot be written: the folder {folder} does not exist")
    if not folder.is_dir():
        raise AudioFileError(f"{path} cannot be written: {folder} is not a folder")
    try:
        path.lstat()
    except FileNotFoundError:
        pass
    except OSError as error:
        raise AudioFileError(f"{path} cannot be written: {error.strerror}") from error
    if path.is_dir():
        raise AudioFileError(f"{path} is a folder; give the name of a file in it")
    if path.exists() and not path.is_file():
        raise AudioFileError(f"{path} is a pipe or a device; give the name of a file on disk")
    if path.exists() and not os.access(path, os.W_OK):
        raise AudioFileError(f"{path} is there and write-protected; give the result another name")
    target = Path(os.path.realpath(path)).parent
    if not os.access(target, os.W_OK | os.X_OK):
        raise AudioFileError(
            f"{path} cannot be written: the folder {target} is read-only, or you have no right to write "
            "in it"
        )


# --- writing --------------------------------------------------------------------------------------


class AudioWriter:
    """A sound file that appears under its name when it is complete, or not at all.

    Use as a context manager and `write` exactly `frames` frames in blocks (n, channels), full scale
    1.0. Integers are rounded to nearest; 16 bit with triangular dither of +-1 step first, whose
    noise depends on `dither_seed` and not on how the blocks are cut. A `mask` tells where the channels of
    a WAV file belong, chunks in `more` (see `carried`) go to its end. One too long for 32-bit
    sizes becomes RF64. An existing file is replaced at the end, at one stroke.

    Raises AudioFileError where the file cannot be written, before anything is, and on a full disk;
    ValueError for a comment over `LONGEST_COMMENT`, and for other than the frames announced.
    """

    def __init__(
        self,
        path: StrPath,
        rate: int,
        channels: int,
        depth: Depth,
        frames: int,
        comment: str = "",
        *,
        inputs: Sequence[StrPath] = (),
        dither_seed: int = DITHER_SEED,
        mask: int = 0,
        more: bytes = b"",
    ) -> None:
        check_output(path, depth, inputs)
        if frames < 1:
            raise AudioFileError(f"{path} would hold {frames} frames; at least 1 is needed")
        if len(comment.encode()) > LONGEST_COMMENT:
            raise ValueError(f"A comment of {len(comment.encode())} bytes; {LONGEST_COMMENT} fit")
        self.path = Path(path)
        self.rate = rate
        self.channels = channels
        self.depth: Depth = depth
        self.frames = frames
        self.comment = comment
        self.mask = mask
        self.more = more
        self.written = 0
        self.clipped = 0
        """Samples over full scale so far; integers cannot hold them and got the nearest value."""
        self.laid: Laid | None = None
        """For portions of it, once this is open; None where libsndfile takes all in turn."""
        self._dither_seed = dither_seed
        self.staged = StagedFile(self.path)
        self._sum = GrowingSum(self.staged.temporary)
        if self.container != "FLAC":
            check_disk([self.path], self._sound_bytes)

    @property
    def highest(self) -> float:
        """Magnitude of any sample that was written here."""
        return self._sink.highest

    @property
    def replaced(self) -> bool:
        """Whether the name was that of an earlier file; known when this one has taken it."""
        return self.staged.replaced

    @property
    def container(self) -> str:
        """WAV, RF64 or FLAC; WAVEX for a WAV file whose channels have places."""
        if self.path.suffix.lower() == ".flac":
            return "FLAC"
        if self._sound_bytes + len(self.more) + HEADER_ALLOWANCE > RIFF_LIMIT:
            return "RF64"
        return "WAVEX" if self.mask else "WAV"

    @property
    def _sound_bytes(self) -> int:
        return sound_bytes(self.depth, self.channels, self.frames)

    def __enter__(self) -> Self:
        with self._told():
            self.staged.open()
        try:
            self._open()
        except BaseException:
            self._discard()
            raise
        return self

    def _open(self) -> None:
        name, form = native_name(self.staged.temporary), self.container
        try:
            file = sf.SoundFile(name, "w", self.rate, self.channels, self.depth, format=form)
            self._sink: Sink = Encoded(file, self.path, self.depth, self._dither_seed)
            if self.comment:
                file.comment = self.comment
            if form != "FLAC" and self.depth.startswith("PCM"):
                self._lay_out(file)
        except sf.LibsndfileError as error:
            raise self._failure(
                f"{self.path} cannot be written with {self.channels} channels of {WORDS[self.depth]} at "
                f"{self.rate} Hz ({plain_reason(error)})"
            ) from error
        except (AssertionError, OSError) as error:  # soundfile asserts on a short write
            raise self._failure() from error

    def _lay_out(self, file: sf.SoundFile) -> None:
        temporary = self.staged.temporary
        start, seed = laid_out(file, temporary, self.frames), self._dither_seed
        self.laid = Laid(self.path, temporary, start, self.rate, self.channels, self.depth, seed)
        self._sink = Portion(self.laid).__enter__()
        self._complete()

    def write(self, block: NDArray[Any]) -> None:
        """Add (n, channels), any n; the values must be finite."""
        if block.ndim != 2 or block.shape[1] != self.channels:
            raise ValueError(
                f"A block of shape {block.shape} was given; (frames, {self.channels}) is right"
            )
        if self.written + len(block) > self.frames:
            raise ValueError(f"More than the {self.frames} frames announced for {self.path}")
        clipped = self._sink.clipped
        try:
            self._sink.write(block)
        except UNWRITTEN as error:
            raise self._failure(frames=self._sink.written) from error
        self.count(len(block), self._sink.clipped - clipped)

    def count(self, frames: int, clipped: int) -> None:
        """So many were written."""
        self.written += frames
        self.clipped += clipped

    def take(self, frames: int, clipped: int) -> None:
        """The next frames were written as a portion elsewhere."""
        assert self.laid is not None
        self.count(frames, clipped)
        with self._told():
            self.staged.sync()
            self._sum.up_to(self.laid.start + sound_bytes(self.depth, self.channels, self.written))

    def sha256(self) -> str:
        """Of the finished file."""
        with self._told():
            return self._sum.whole()

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if kind is not None:
            self._discard()
            return
        try:
            self.finish()
            with self._told():
                self.staged.__exit__(None)
        except BaseException:
            self._discard()
            raise

    def finish(self) -> None:
        """Close the file and read it back; it has all but its name then, which `staged` gives it."""
        if self._sink.closed:
            return
        if self.written != self.frames:
            raise ValueError(
                f"{self.written} frames were written to {self.path}, {self.frames} were announced"
            )
        try:
            with self._told():
                self._sink.close()
                if self.laid is None:
                    self._complete()
        except sf.LibsndfileError as error:
            raise self._failure(frames=self.written) from error
        if not _is_complete(self.staged.temporary, self.frames):
            raise self._failure(frames=self.written)

    def _complete(self) -> None:
        placed = self.container in ("WAVEX", "RF64")
        more = b"" if self.container == "FLAC" else self.more
        complete(self.staged.temporary, self.channels, self.mask if placed else None, more)

    @contextmanager
    def _told(self) -> Iterator[None]:
        try:
            yield
        except OSError as error:
            raise AudioFileError(f"{self.path} cannot be written: {error.strerror}") from error

    def _failure(self, otherwise: str = "", frames: int = 0) -> AudioFileError:
        reason = _refusal(self.staged.temporary)
        if otherwise and not reason:
            return AudioFileError(otherwise)
        return unwritten(self.path, clock(frames, self.rate), reason)

    def _discard(self) -> None:
        if hasattr(self, "_sink"):
            with suppress(sf.LibsndfileError, OSError):
                self._sink.close()
        self.staged.discard()


def _refusal(path: Path) -> str:
    """The reason why writing fails; libsndfile forgets it, so the system is asked again."""
    try:
        with path.open("ab") as file:
            file.write(bytes(1 << 20))
            file.flush()
            os.fsync(file.fileno())
    except OSError as error:
        return error.strerror or str(error)
    return ""


def _is_complete(path: Path, frames: int) -> bool:
    """Whether the file on disk can be read to its last frame: closing may lose an error."""
    try:
        with sf.SoundFile(native_name(path)) as file:
            if file.frames != frames:
                return False
            file.seek(frames - 1)
            return len(file.read(1, dtype="float64", always_2d=True)) == 1
    except (sf.LibsndfileError, OSError):
        return False
