"""Sound files in and out, block by block: exact integers, honest refusals, an atomic finish.

libsndfile decodes and encodes. What it does quietly is made loud here: it reads a file that was cut
short as if it were whole, truncates when it turns floats into integers, and may lose the error of
a full disk.
"""

import io
import os
import secrets
import shutil
import stat
import string
import struct
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Any, BinaryIO, Final, Literal, NamedTuple, Self, cast

import numpy as np
import soundfile as sf
from numpy.typing import NDArray

from auralize.errors import AudioFileError

StrPath = str | os.PathLike[str]
Depth = Literal["PCM_16", "PCM_24", "PCM_32", "FLOAT", "DOUBLE"]

MOST_CHANNELS: Final = 8
LOWEST_RATE: Final = 8_000
HIGHEST_RATE: Final = 192_000
"""Hz, as are all rates here."""

SAMPLE_BYTES: Final[dict[Depth, int]] = {
    "PCM_16": 2,
    "PCM_24": 3,
    "PCM_32": 4,
    "FLOAT": 4,
    "DOUBLE": 8,
}
FLAC_DEPTHS: Final = ("PCM_16", "PCM_24")

RIFF_LIMIT: Final = 0xFFFF_FFFF
"""Bytes that the 32-bit sizes of a WAV file can count; beyond it EBU Tech 3306 has RF64."""
HEADER_ALLOWANCE: Final = 4096
"""Bytes set aside for the header of a WAV file with its comment."""

LONGEST_COMMENT: Final = 2000
"""Bytes; libsndfile 1.2.2 reads none beyond 2045 back from a WAV file (measured)."""

PIECE: Final = 8192
"""Frames encoded at once: what is between float and file stays in the cache. Measured for 16 bit:
three times as fast as 65536."""

DITHER_SEED: Final = 1
LENGTH_UNKNOWN: Final = 2**63 - 1
"""What libsndfile says of the frames of a FLAC file whose header leaves them open."""


# --- what a file is -------------------------------------------------------------------------------


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


def probe(path: StrPath) -> AudioInfo:
    """What the file is, from its header and its size: no sample is decoded.

    Raises AudioFileError for whatever cannot be rendered; samples that are not finite numbers and
    damage inside compressed data come to light only in `read_blocks`.
    """
    path = Path(path)
    _check_readable(path)
    _check_whole(path)
    with _opened(path) as file:
        info = AudioInfo(
            path,
            file.samplerate,
            file.channels,
            file.frames,
            file.format,
            file.subtype,
            _bits(file.subtype),
        )
    _check_limits(info)
    if info.format == "MP3":
        _check_mp3_length(path)
    return info


def read_blocks(path: StrPath, frames_per_block: int) -> Iterator[NDArray[np.float64]]:
    """The samples, full scale 1.0, in blocks (n, channels); all but the last n are the one asked.

    Integer samples are decoded exactly. Memory holds one block. Raises AudioFileError at once for
    what `probe` refuses; while running for damage, a file cut short, NaN and infinity.
    """
    if frames_per_block < 1:
        raise ValueError(f"Blocks of {frames_per_block} frames were asked for; 1 or more is right.")
    return _blocks(probe(path), frames_per_block)


def _blocks(info: AudioInfo, frames_per_block: int) -> Iterator[NDArray[np.float64]]:
    done = 0
    reason = ""
    with _opened(info.path) as file:
        while done < info.frames:
            wanted = min(frames_per_block, info.frames - done)
            try:
                block = file.read(wanted, dtype="float64", always_2d=True)
            except sf.LibsndfileError as error:
                reason = f" ({_plain(error)})"
                break
            if len(block) == 0:
                break
            _check_finite(info, block, done)
            yield block
            done += len(block)
    if done < info.frames:
        raise AudioFileError(
            f"{info.path} is damaged or cut short: it announces {info.frames} frames and cannot be "
            f"decoded beyond {_clock(done, info.rate)}{reason}; fetch it again from where it came."
        )


def _check_readable(path: Path) -> None:
    try:
        status = path.stat()
    except FileNotFoundError:
        raise AudioFileError(f"{path} does not exist; give the name of a sound file.") from None
    except OSError as error:
        raise AudioFileError(
            f"{path} cannot be reached ({error.strerror}); give the name of a sound file."
        ) from error
    if stat.S_ISDIR(status.st_mode):
        raise AudioFileError(f"{path} is a folder; give the name of a sound file in it.")
    if not stat.S_ISREG(status.st_mode):
        raise AudioFileError(f"{path} is a pipe or a device; a sound file on disk is needed.")
    if status.st_size == 0:
        raise AudioFileError(f"{path} is empty (0 bytes); a sound file is needed.")
    try:
        path.open("rb").close()
    except OSError as error:
        raise AudioFileError(
            f"{path} cannot be opened ({error.strerror}); you need the right to read it."
        ) from error


def _check_limits(info: AudioInfo) -> None:
    if info.frames == 0:
        raise AudioFileError(f"{info.path} holds no sound (0 frames); at least 1 frame is needed.")
    if info.frames >= LENGTH_UNKNOWN:
        raise AudioFileError(
            f"{info.path} does not say how long it is, as an encoder that wrote into a pipe leaves "
            "it; encode it again into a file."
        )
    if info.channels > MOST_CHANNELS:
        raise AudioFileError(
            f"{info.path} has {info.channels} channels; 1 to {MOST_CHANNELS} can be rendered."
        )
    if not LOWEST_RATE <= info.rate <= HIGHEST_RATE:
        raise AudioFileError(
            f"{info.path} has a sample rate of {info.rate} Hz; {LOWEST_RATE} to {HIGHEST_RATE} Hz "
            "can be rendered."
        )


def _check_finite(info: AudioInfo, block: NDArray[np.float64], before: int) -> None:
    finite = np.isfinite(block)
    if finite.all():
        return
    frame, channel = np.argwhere(~finite)[0]
    found = "NaN" if np.isnan(block[frame, channel]) else "an infinite value"
    raise AudioFileError(
        f"{info.path} holds {found} at {_clock(before + int(frame), info.rate)} (frame "
        f"{before + int(frame)}, channel {int(channel) + 1}); every sample must be a finite number."
    )


def _bits(subtype: str) -> int | None:
    if subtype == "FLOAT":
        return 32
    if subtype == "DOUBLE":
        return 64
    family, _, ending = subtype.partition("_")
    digits = ending.lstrip("US")
    return int(digits) if family in ("PCM", "ALAC") and digits.isdigit() else None


def _clock(frame: int, rate: int) -> str:
    minutes, seconds = divmod(frame / rate, 60)
    return f"{int(minutes)}:{seconds:06.3f}"


def _plain(error: sf.LibsndfileError) -> str:
    """libsndfile's reason, fit to stand in the middle of a sentence."""
    reason = str(error.error_string).removeprefix("Error : ")
    return reason.strip().rstrip(".").replace(". ", ": ")


# --- is it whole ----------------------------------------------------------------------------------


class _Container(NamedTuple):
    """How a family of files strings its chunks together."""

    first: int
    """Byte where the first chunk begins."""
    header: struct.Struct
    """Name and size of a chunk."""
    sound: bytes
    """Name of the chunk that holds the samples."""
    size_counts_header: bool
    align: int


W64_DATA: Final = b"data" + bytes.fromhex("f3acd3118cd100c04f8edb8a")
RIFF: Final = _Container(12, struct.Struct("<4sI"), b"data", size_counts_header=False, align=2)
CONTAINERS: Final = {
    b"RIFF": RIFF,
    b"RF64": RIFF,
    b"RIFX": RIFF._replace(header=struct.Struct(">4sI")),
    b"FORM": RIFF._replace(header=struct.Struct(">4sI"), sound=b"SSND"),
    b"riff": _Container(40, struct.Struct("<16sQ"), W64_DATA, size_counts_header=True, align=8),
}

OPEN_SIZES: Final = (0xFFFF_FFFF, 0x7FFF_F000, 0xFFFF_FFFF_FFFF_FFFF)
"""Sizes that mean 'until the end of the file': left by programs that write into a pipe. Common
practice, values from memory. A size left at 0 is seen to by `_left_open`."""


class _SoundChunk(NamedTuple):
    start: int
    """Byte where the samples begin."""
    announced: int
    present: int


def _sound_chunk(path: Path) -> _SoundChunk | None:
    """The chunk of samples of a WAV, RF64, W64 or AIFF file; None if it has none, or is no such."""
    size = path.stat().st_size
    long_size: int | None = None
    with path.open("rb") as file:
        container = CONTAINERS.get(file.read(4))
        if container is None:
            return None
        at = container.first
        while at + container.header.size <= size:
            file.seek(at)
            name, length = container.header.unpack(file.read(container.header.size))
            start = file.tell()
            if container.size_counts_header:
                length -= container.header.size
            if length < 0:
                return None
            if name == b"ds64" and len(sizes := file.read(16)) == 16:
                long_size = struct.unpack("<QQ", sizes)[1]
            if name == container.sound:
                if length == RIFF_LIMIT and long_size is not None:
                    length = long_size
                return _SoundChunk(start, length, size - start)
            at = start + length + -length % container.align
    return None


def _check_whole(path: Path) -> None:
    """Refuse a file that lacks its end; libsndfile would play what there is and not mention it."""
    chunk = _sound_chunk(path)
    if chunk and chunk.announced > chunk.present and chunk.announced not in OPEN_SIZES:
        raise AudioFileError(
            f"{path} is cut short: it announces {chunk.announced} bytes of sound and holds "
            f"{chunk.present}; fetch it again from where it came."
        )
    if _ogg_lacks_its_end(path):
        raise AudioFileError(
            f"{path} is cut short: the last page of an Ogg stream must be marked as its end and "
            "this one's is not there; fetch it again from where it came."
        )


OGG_PAGE_HEADER: Final = 27
OGG_LARGEST_PAGE: Final = 65307
"""Bytes, a page whole (RFC 3533, section 6)."""
OGG_TYPE_AT: Final = 5
OGG_SEGMENTS_AT: Final = 26
OGG_LAST_PAGE: Final = 0x04
"""Bit of header_type_flag: end of stream."""


def _ogg_lacks_its_end(path: Path) -> bool:
    """True for an Ogg file whose last page is incomplete, or is not marked as the last."""
    with path.open("rb") as file:
        if file.read(4) != b"OggS":
            return False
        file.seek(max(0, path.stat().st_size - 2 * OGG_LARGEST_PAGE))
        tail = file.read()
    page = tail[max(tail.rfind(b"OggS"), 0) :]
    if len(page) < OGG_PAGE_HEADER:
        return True
    table = page[OGG_PAGE_HEADER : OGG_PAGE_HEADER + page[OGG_SEGMENTS_AT]]
    complete = len(page) >= OGG_PAGE_HEADER + page[OGG_SEGMENTS_AT] + sum(table)
    return not (complete and page[OGG_TYPE_AT] & OGG_LAST_PAGE)


MP3_LENGTH_TAGS: Final = (b"Xing", b"Info", b"VBRI")
"""Names of the entry in a first MPEG frame that counts the frames. Common practice, from memory."""
MP3_LARGEST_FRAME: Final = 2881
"""Bytes: 144 * 320000 / 16000 and one of padding."""
ID3_HEADER: Final = 10


def _check_mp3_length(path: Path) -> None:
    """Refuse an MP3 without a count of its frames: libsndfile then guesses its length from the
    first of them. Measured: a file of variable bit rate lost 78 % of itself that way."""
    with path.open("rb") as file:
        start = file.read(ID3_HEADER)
        file.seek(0)
        if start.startswith(b"ID3"):
            # Four bytes of seven bits each, the highest first.
            file.seek(
                ID3_HEADER
                + sum(byte << shift for byte, shift in zip(start[6:], (21, 14, 7, 0), strict=True))
            )
        first_frame = file.read(MP3_LARGEST_FRAME)
    if not any(tag in first_frame for tag in MP3_LENGTH_TAGS):
        raise AudioFileError(
            f"{path} does not say how long it is (no count of frames at its start), so its end "
            "might be lost; convert it to WAV or FLAC."
        )


class _LeftOpen(io.FileIO):
    """A WAV file whose size of sound was left at 0, read as if it said 'until the end'."""

    def __init__(self, path: Path, size_at: int) -> None:
        super().__init__(path)
        self._size_at = size_at

    def readinto(self, buffer: Any, /) -> int:
        before = self.tell()
        count = super().readinto(buffer) or 0
        view = memoryview(buffer).cast("B")
        for at in range(self._size_at - before, self._size_at - before + 4):
            if 0 <= at < count:
                view[at] = 0xFF
        return count


def _left_open(path: Path) -> _LeftOpen | None:
    """The file with its size mended, if it is a WAV with sound behind a size of 0.

    Another chunk behind it, instead of sound, means that it really is empty.
    """
    chunk = _sound_chunk(path)
    if chunk is None or chunk.announced != 0 or chunk.present == 0:
        return None
    with path.open("rb") as file:
        if file.read(4) != b"RIFF":
            return None
        file.seek(chunk.start)
        following = file.read(RIFF.header.size)
    if len(following) == RIFF.header.size:
        name, length = RIFF.header.unpack(following)
        readable = all(chr(byte) in string.printable for byte in name)
        if readable and length <= chunk.present - RIFF.header.size:
            return None
    return _LeftOpen(path, chunk.start - 4)


def _native(path: Path) -> str | bytes:
    """The name as the system has it: on POSIX it may be no text at all."""
    return os.fsencode(path) if os.name == "posix" else str(path)


@contextmanager
def _opened(path: Path) -> Iterator[sf.SoundFile]:
    if path.suffix.lower() == ".raw":
        raise AudioFileError(
            f"{path} holds bare samples, without their rate and channels; WAV or FLAC is needed."
        )
    left_open = _left_open(path)
    try:
        try:
            file = sf.SoundFile(left_open if left_open is not None else _native(path))
        except sf.LibsndfileError as error:
            raise AudioFileError(
                f"{path} is not a sound file that can be read ({_plain(error)}); WAV, AIFF, FLAC, "
                "W64, RF64, Ogg or MP3 is needed."
            ) from error
        with file:
            yield file
    finally:
        if left_open is not None:
            left_open.close()


# --- where the result goes ------------------------------------------------------------------------


def same_file(a: StrPath, b: StrPath) -> bool:
    """Whether both names lead to one file, also by links; names of files yet to come compare."""
    if os.path.exists(a) and os.path.exists(b):
        return os.path.samefile(a, b)
    return os.path.realpath(a) == os.path.realpath(b)


def output_depth(info: AudioInfo, suffix: str = ".wav") -> Depth:
    """The depth of a result that loses nothing of the source, as far as the output format has it.

    16, 24 and 32 bit and floats stay what they are. 8 bit becomes PCM_16, its noise floor being far
    above that of 16 bit. Lossy sources (MP3, Ogg ...) have no depth of their own and decode to more
    than 16 bit: PCM_24. FLAC holds 24 bit at most, so for it 32 bit and floats become PCM_24.
    """
    depth: Depth = "PCM_24"
    if info.subtype in ("FLOAT", "DOUBLE"):
        depth = cast(Depth, info.subtype)
    elif info.bits is not None:
        depth = "PCM_16" if info.bits <= 16 else "PCM_24" if info.bits <= 24 else "PCM_32"
    return "PCM_24" if suffix.lower() == ".flac" and depth not in FLAC_DEPTHS else depth


def check_output(path: StrPath, depth: Depth, inputs: Sequence[StrPath] = ()) -> None:
    """Raise AudioFileError if no file of that name and depth can be written; touch nothing."""
    path = Path(path)
    suffix = path.suffix.lower()
    if suffix not in (".wav", ".flac"):
        raise AudioFileError(f"{path} cannot be written; its name must end in .wav or .flac.")
    if suffix == ".flac" and depth not in FLAC_DEPTHS:
        raise AudioFileError(
            f"{path} cannot hold {depth}; FLAC takes PCM_16 or PCM_24, and a .wav file takes it."
        )
    for source in inputs:
        if same_file(path, source):
            raise AudioFileError(
                f"{path} is the file that is read ({source}); give the result another name."
            )
    _check_place(path)


def _check_place(path: Path) -> None:
    folder = path.parent
    if not folder.exists():
        raise AudioFileError(f"{path} cannot be written: the folder {folder} does not exist.")
    if not folder.is_dir():
        raise AudioFileError(f"{path} cannot be written: {folder} is not a folder.")
    try:
        path.lstat()
    except FileNotFoundError:
        pass
    except OSError as error:
        raise AudioFileError(f"{path} cannot be written: {error.strerror}.") from error
    if path.is_dir():
        raise AudioFileError(f"{path} is a folder; give the name of a file in it.")
    if path.exists() and not path.is_file():
        raise AudioFileError(f"{path} is a pipe or a device; give the name of a file on disk.")
    if path.exists() and not os.access(path, os.W_OK):
        raise AudioFileError(f"{path} is there and write-protected; give the result another name.")
    target = Path(os.path.realpath(path)).parent
    if not os.access(target, os.W_OK | os.X_OK):
        raise AudioFileError(
            f"{path} cannot be written: you need the right to write in the folder {target}."
        )


# --- writing --------------------------------------------------------------------------------------


class AudioWriter:
    """A sound file that appears under its name when it is complete, or not at all.

    Use as a context manager and `write` exactly `frames` frames in blocks (n, channels), full scale
    1.0. Integers are rounded to nearest; 16 bit with triangular dither of +-1 step first, whose
    noise depends on `dither_seed` and not on how the blocks are cut. A WAV file too long for 32-bit
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
    ) -> None:
        check_output(path, depth, inputs)
        if frames < 1:
            raise AudioFileError(f"{path} would hold {frames} frames; at least 1 is needed.")
        if len(comment.encode()) > LONGEST_COMMENT:
            raise ValueError(f"A comment of {len(comment.encode())} bytes; {LONGEST_COMMENT} fit.")
        self.path = Path(path)
        self.rate = rate
        self.channels = channels
        self.depth: Depth = depth
        self.frames = frames
        self.comment = comment
        self.written = 0
        self.clipped = 0
        """Samples over full scale so far; integers cannot hold them and got the nearest value."""
        # The link, if it is one, stays; the temporary file must be on the file system of its goal.
        self._target = Path(os.path.realpath(path))
        self._temporary = self._target.parent / f".auralize-{secrets.token_hex(6)}.part"
        self._random = np.random.default_rng(dither_seed)
        self._check_space()

    @property
    def container(self) -> str:
        """WAV, RF64 or FLAC."""
        if self.path.suffix.lower() == ".flac":
            return "FLAC"
        return "RF64" if self._sound_bytes + HEADER_ALLOWANCE > RIFF_LIMIT else "WAV"

    @property
    def _sound_bytes(self) -> int:
        return self.frames * self.channels * SAMPLE_BYTES[self.depth]

    def _check_space(self) -> None:
        free = shutil.disk_usage(self._target.parent).free
        if self.container != "FLAC" and self._sound_bytes > free:
            raise AudioFileError(
                f"{self.path} cannot be written: it needs {self._sound_bytes / 1e6:.1f} MB and the "
                f"disk has {free / 1e6:.1f} MB left."
            )

    def __enter__(self) -> Self:
        try:
            # Created by name, not by tempfile, so that the result has the user's usual permissions.
            os.close(os.open(self._temporary, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o666))
        except OSError as error:
            raise AudioFileError(f"{self.path} cannot be written: {error.strerror}.") from error
        try:
            self._file = sf.SoundFile(
                _native(self._temporary),
                "w",
                self.rate,
                self.channels,
                self.depth,
                format=self.container,
            )
            if self.comment:
                self._file.comment = self.comment
        except sf.LibsndfileError as error:
            self._discard()
            raise AudioFileError(
                f"{self.path} cannot be written with {self.channels} channels of {self.depth} at "
                f"{self.rate} Hz ({_plain(error)})."
            ) from error
        except BaseException:
            self._discard()
            raise
        return self

    def write(self, block: NDArray[np.float64]) -> None:
        """Add (n, channels), any n; the values must be finite."""
        if block.ndim != 2 or block.shape[1] != self.channels:
            raise ValueError(
                f"A block of shape {block.shape} was given; (frames, {self.channels}) is right."
            )
        if self.written + len(block) > self.frames:
            raise ValueError(f"More than the {self.frames} frames announced for {self.path}.")
        for at in range(0, len(block), PIECE):
            samples = self._encoded(block[at : at + PIECE])
            try:
                self._file.write(samples)
            except (sf.LibsndfileError, AssertionError) as error:  # it asserts on a short write
                raise self._failure() from error
            self.written += len(samples)

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
            self._finish()
        except BaseException:
            self._discard()
            raise

    def _finish(self) -> None:
        if self.written != self.frames:
            raise ValueError(
                f"{self.written} frames were written to {self.path}, {self.frames} were announced."
            )
        try:
            self._file.close()
            with self._temporary.open("rb+") as file:
                self._forget_the_time(file)
                os.fsync(file.fileno())
        except sf.LibsndfileError as error:
            raise self._failure() from error
        except OSError as error:
            raise AudioFileError(f"{self.path} cannot be written: {error.strerror}.") from error
        if not self._is_complete():
            raise self._failure()
        try:
            os.replace(self._temporary, self._target)
        except OSError as error:
            raise AudioFileError(f"{self.path} cannot be written: {error.strerror}.") from error

    def _forget_the_time(self, file: BinaryIO) -> None:
        """Clear the time in the PEAK chunk, which libsndfile adds to floats: a render that is made
        twice is to be the same file."""
        header = file.read(HEADER_ALLOWANCE)
        version, peak_bytes = 1, 8
        peak = b"PEAK" + struct.pack("<II", 8 + peak_bytes * self.channels, version)
        if (at := header.find(peak)) >= 0:
            file.seek(at + len(peak))
            file.write(bytes(4))

    def _is_complete(self) -> bool:
        """Whether the file on disk can be read to its last frame: closing may lose an error."""
        try:
            with sf.SoundFile(_native(self._temporary)) as file:
                if file.frames != self.frames:
                    return False
                file.seek(self.frames - 1)
                return len(file.read(1, dtype="float64", always_2d=True)) == 1
        except sf.LibsndfileError:
            return False

    def _failure(self) -> AudioFileError:
        """The reason why writing failed; libsndfile forgets it, so the system is asked again."""
        reason = "the system gave no reason"
        try:
            with self._temporary.open("ab") as file:
                file.write(bytes(1 << 20))
                file.flush()
                os.fsync(file.fileno())
        except OSError as error:
            reason = error.strerror or reason
        at = _clock(self.written, self.rate)
        return AudioFileError(
            f"{self.path} could not be written beyond {at}: {reason}; make room or choose another "
            "disk (nothing partial is left behind)."
        )

    def _discard(self) -> None:
        if hasattr(self, "_file"):
            with suppress(sf.LibsndfileError):
                self._file.close()
        self._temporary.unlink(missing_ok=True)

    def _encoded(self, block: NDArray[np.float64]) -> NDArray[Any]:
        """As the file will hold it; int32 carries its bits at the upper end, as libsndfile wants."""
        if not np.isfinite(block).all():
            raise AudioFileError(
                f"{self.path} would get samples that are not finite numbers after "
                f"{_clock(self.written, self.rate)}; check the gain and the rig."
            )
        if self.depth == "DOUBLE":
            return block
        if self.depth == "FLOAT":
            return _as_float32(block, self.path)
        bits = 8 * SAMPLE_BYTES[self.depth]
        dither = _triangular(self._random, block.shape) if bits == 16 else None
        steps, clipped = quantise(block, bits, dither)
        self.clipped += clipped
        if bits == 16:
            return steps.astype(np.int16)
        return steps << (32 - bits)


def quantise(
    block: NDArray[np.float64], bits: int, dither: NDArray[np.float64] | None = None
) -> tuple[NDArray[np.int32], int]:
    """Nearest integers of `bits` bits for full scale 1.0, and how many samples were over full scale.

    `dither` is in steps. What dither alone lifts over the top is held there and not counted. 16 to
    32 bits; the samples must be finite.
    """
    top = 2.0 ** (bits - 1)
    steps = block * top
    nearest = np.rint(steps)
    clipped = int(np.count_nonzero((nearest < -top) | (nearest > top - 1)))
    if dither is not None:
        nearest = np.rint(steps + dither)
    return np.clip(nearest, -top, top - 1).astype(np.int32), clipped


def _triangular(random: np.random.Generator, shape: tuple[int, ...]) -> NDArray[np.float64]:
    """Sum of two uniform values of one step each: +-1 step, mean 0, variance 1/6.

    Drawn sample by sample, so that the values do not depend on how the signal is cut.
    """
    draws = random.random((*shape, 2))
    return np.asarray(draws[..., 0] + draws[..., 1] - 1.0)


def _as_float32(block: NDArray[np.float64], path: Path) -> NDArray[np.float32]:
    if np.abs(block).max() > np.finfo(np.float32).max:
        raise AudioFileError(f"{path} would get samples beyond the range of FLOAT; use DOUBLE.")
    return block.astype(np.float32)
