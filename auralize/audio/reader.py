"""Sound files in: what a file is, and its samples block by block, exact or refused.

libsndfile decodes what does not lie plainly in the file. Damage that it would play over is refused,
here and in `header`.
"""

import os
import stat
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Final

import numpy as np
import soundfile as sf
from numpy.typing import NDArray

from auralize.audio.bands import HIGHEST_RATE, LOWEST_RATE
from auralize.audio.denormals import without_denormals
from auralize.audio.header import (
    channel_mask,
    check_mp3_length,
    check_whole,
    left_open,
    plain_start,
    told_of,
)
from auralize.audio.samples import FORMS, PlainFile
from auralize.errors import AudioFileError

StrPath = str | os.PathLike[str]

MOST_CHANNELS: Final = 8

LARGEST_SAMPLE: Final = 1e15
"""300 dB over full scale: no sound, and far from where squares of samples overflow."""

LENGTH_UNKNOWN: Final = 2**63 - 1
"""What libsndfile says of the frames of a FLAC file whose header leaves them open."""


CHECKED_FORMATS: Final = ("WAV", "WAVEX", "RF64", "W64", "AIFF", "FLAC", "OGG", "MP3")
"""libsndfile's names of the containers in which a missing end comes to light; it takes others, and
plays what it finds of them."""


@dataclass(frozen=True)
class AudioInfo:
    """A sound file that can be rendered, as its header tells it."""

    path: Path
    rate: int
    """Hz"""
    channels: int
    frames: int
    format: str
    """libsndfile's name of the container: WAV, FLAC, AIFF, OGG ..."""
    subtype: str
    """libsndfile's name of the encoding: PCM_24, FLOAT, VORBIS ..."""
    bits: int | None
    """Bits of a sample; None where the coding is lossy or has no such number."""
    version: tuple[int, ...] = field(default=(), compare=False)
    """Which file it was, and when last changed; `read_blocks` reads no other."""
    mask: int = field(default=0, compare=False)
    """Loudspeakers that the channels are for, as WAVE_FORMAT_EXTENSIBLE counts them; 0: not told."""
    start: int | None = field(default=None, compare=False)
    """Byte where the samples begin; None where libsndfile has to decode them."""


def probe(path: StrPath) -> AudioInfo:
    """What the file is, from its header and its size: no sample is decoded.

    Raises AudioFileError for whatever cannot be rendered; samples that are not finite numbers and
    damage inside compressed data come to light only in `read_blocks`.
    """
    path = Path(path)
    version = _version(_check_readable(path))
    with told_of(path):
        return _probed(path, version)


def _probed(path: Path, version: tuple[int, ...]) -> AudioInfo:
    check_whole(path)
    with opened(path) as file:
        info = AudioInfo(
            path,
            file.samplerate,
            file.channels,
            file.frames,
            file.format,
            file.subtype,
            _bits(file.subtype),
            version,
            channel_mask(path),
        )
    _check_limits(info)
    if info.format == "MP3":
        check_mp3_length(path)
    if info.subtype not in FORMS:
        return info
    frame_bytes = FORMS[info.subtype].width * info.channels
    return replace(info, start=plain_start(path, info.frames, frame_bytes))


class FrameReader:
    """The frames of a sound file, from any place, for threads at once."""

    def __init__(self, info: AudioInfo, file: PlainFile | sf.SoundFile) -> None:
        self._info, self._file = info, file
        self._turn = threading.Lock()

    def read(self, first: int, count: int, single: bool = False) -> NDArray[Any]:
        """(count, channels) from frame ``first`` on, or fewer where the file ends; full scale 1.0.

        Raises AudioFileError for what is no sound; OSError and LibsndfileError as they come.
        """
        block = self._fetched(first, count, "float32" if single else "float64")
        if not self._info.subtype.startswith("PCM"):  # integers are finite, and never nearly 0
            _check_samples(self._info, block, first)
            without_denormals(block)
        return block

    def _fetched(self, first: int, count: int, dtype: str) -> NDArray[Any]:
        if isinstance(self._file, PlainFile):
            count = max(0, min(count, self._info.frames - first))  # behind them is other than sound
            out = np.empty((count, self._info.channels), dtype)
            return out[: self._file.read(first, out)]
        with self._turn:
            if self._file.tell() != first:
                self._file.seek(first)
            return self._file.read(count, dtype, always_2d=True)


@contextmanager
def frames_of(info: AudioInfo) -> Iterator[FrameReader]:
    """What was probed, open for reading; it is not told whether that is still the same file."""
    if info.start is None:
        with opened(info.path) as file:
            yield FrameReader(info, file)
    else:
        with PlainFile(info.path, info.start, info.subtype, info.channels) as plain:
            yield FrameReader(info, plain)


def read_blocks(
    source: StrPath | AudioInfo, frames_per_block: int, single: bool = False, first: int = 0
) -> Iterator[NDArray[Any]]:
    """The samples from frame ``first`` on, full scale 1.0, in blocks (n, channels); all but the last n
    are the one asked.

    Integer samples are decoded exactly, those of 32 bit in double precision. Memory holds one block.
    Raises AudioFileError at once for what `probe` refuses; while running for damage, a file cut short,
    NaN and infinity, and for a file that is no longer the one that was probed.
    """
    if frames_per_block < 1:
        raise ValueError(f"Blocks of {frames_per_block} frames were asked for; 1 or more is right")
    info = source if isinstance(source, AudioInfo) else probe(source)
    return _blocks(info, frames_per_block, single, first)


def _blocks(
    info: AudioInfo, frames_per_block: int, single: bool, first: int
) -> Iterator[NDArray[Any]]:
    done = first
    reason = ""
    with told_of(info.path), frames_of(info) as file:
        check_unchanged(info)
        while done < info.frames:
            wanted = min(frames_per_block, info.frames - done)
            try:
                block = file.read(done, wanted, single)
            except sf.LibsndfileError as error:
                reason = f" ({plain_reason(error)})"
                break
            if len(block) == 0:
                break
            yield block
            done += len(block)
    check_unchanged(info)
    if done < info.frames:
        raise AudioFileError(
            f"{info.path} is damaged or cut short: it announces {info.frames} frames and cannot be "
            f"decoded beyond {clock(done, info.rate)}{reason}; fetch it again from where it came"
        )


def _version(status: os.stat_result) -> tuple[int, ...]:
    """The times to the nanosecond: of the content, and of any change, which no program can set back."""
    return status.st_dev, status.st_ino, status.st_size, status.st_mtime_ns, status.st_ctime_ns


def check_unchanged(info: AudioInfo) -> None:
    """Raise AudioFileError for a file that is no longer the one that this was read of."""
    if _version(_check_readable(info.path)) != info.version:
        raise AudioFileError(
            f"{info.path} was changed or replaced while it was read; start again when it stays as it is"
        )


def _check_readable(path: Path) -> os.stat_result:
    try:
        status = path.stat()
    except FileNotFoundError:
        raise AudioFileError(f"{path} does not exist; give the name of a sound file") from None
    except OSError as error:
        raise AudioFileError(
            f"{path} cannot be reached ({error.strerror}); give the name of a sound file"
        ) from error
    if stat.S_ISDIR(status.st_mode):
        raise AudioFileError(f"{path} is a folder; give the name of a sound file in it")
    if not stat.S_ISREG(status.st_mode):
        raise AudioFileError(f"{path} is a pipe or a device; a sound file on disk is needed")
    if status.st_size == 0:
        raise AudioFileError(f"{path} is empty (0 bytes); a sound file is needed")
    try:
        path.open("rb").close()
    except OSError as error:
        raise AudioFileError(
            f"{path} cannot be opened ({error.strerror}); you need the right to read it"
        ) from error
    return status


def _check_limits(info: AudioInfo) -> None:
    if info.frames == 0:
        raise AudioFileError(f"{info.path} holds no sound (0 frames); at least 1 frame is needed")
    if info.frames >= LENGTH_UNKNOWN:
        raise AudioFileError(
            f"{info.path} does not say how long it is, as an encoder that wrote into a pipe leaves "
            "it; encode it again into a file"
        )
    if info.channels > MOST_CHANNELS:
        raise AudioFileError(
            f"{info.path} has {info.channels} channels; 1 to {MOST_CHANNELS} can be rendered"
        )
    if not LOWEST_RATE <= info.rate <= HIGHEST_RATE:
        raise AudioFileError(
            f"{info.path} has a sample rate of {info.rate} Hz; {LOWEST_RATE} to {HIGHEST_RATE} Hz "
            "can be rendered"
        )


def _check_samples(info: AudioInfo, block: NDArray[Any], before: int) -> None:
    usable = np.abs(block) <= LARGEST_SAMPLE  # false for NaN, too
    if usable.all():
        return
    frame, channel = np.argwhere(~usable)[0]
    value = block[frame, channel]
    found = "NaN" if np.isnan(value) else "an infinite value"
    right = "every sample must be a finite number"
    if np.isfinite(value):
        found, right = f"a sample of {value:.3g}", f"full scale is 1, the most {LARGEST_SAMPLE:g}"
    raise AudioFileError(
        f"{info.path} holds {found} at {clock(before + int(frame), info.rate)} (frame "
        f"{before + int(frame)}, channel {int(channel) + 1}); {right}"
    )


def _bits(subtype: str) -> int | None:
    if subtype == "FLOAT":
        return 32
    if subtype == "DOUBLE":
        return 64
    family, _, ending = subtype.partition("_")
    digits = ending.lstrip("US")
    return int(digits) if family in ("PCM", "ALAC") and digits.isdigit() else None


@contextmanager
def opened(path: Path) -> Iterator[sf.SoundFile]:
    """The file, open for reading; a size of sound that was left at 0 is mended."""
    if path.suffix.lower() == ".raw":
        raise AudioFileError(
            f"{path} holds bare samples, without their rate and channels; WAV or FLAC is needed"
        )
    mended = left_open(path)
    try:
        try:
            file = sf.SoundFile(mended if mended is not None else native_name(path))
        except sf.LibsndfileError as error:
            raise AudioFileError(
                f"{path} is not a sound file that can be read ({plain_reason(error)}); WAV, AIFF, "
                "FLAC, W64, RF64, Ogg or MP3 is needed"
            ) from error
        with file:
            if file.format not in CHECKED_FORMATS:
                raise AudioFileError(
                    f"{path} is a sound file of kind {file.format}, of which nobody could tell if it "
                    "were cut short; convert it to WAV or FLAC"
                )
            yield file
    finally:
        if mended is not None:
            mended.close()


# --- shared with the writer -----------------------------------------------------------------------


def native_name(path: Path) -> str | bytes:
    """The name as the system has it: on POSIX it may be no text at all."""
    return os.fsencode(path) if os.name == "posix" else str(path)


def clock(frame: int, rate: int) -> str:
    """The time of a frame, as minutes and seconds."""
    minutes, seconds = divmod(frame / rate, 60)
    return f"{int(minutes)}:{seconds:06.3f}"


def plain_reason(error: sf.LibsndfileError) -> str:
    """libsndfile's reason, fit to stand in the middle of a sentence."""
    reason = str(error.error_string).removeprefix("Error : ")
    return reason.strip().rstrip(".").replace(". ", ": ")
