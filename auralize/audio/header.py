"""What the header of a sound file announces, held against what the file has.

libsndfile reads a file that was cut short as if it were whole, and takes a size left at 0 for no
sound. So chunks (WAV, RF64, W64, AIFF), Ogg pages and MP3 tags are looked at here beforehand.
"""

import io
import string
import struct
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Final, NamedTuple

from auralize.errors import AudioFileError

RIFF_LIMIT: Final = 0xFFFF_FFFF
"""Bytes that the 32-bit sizes of a WAV file can count; beyond it EBU Tech 3306 has RF64."""


@contextmanager
def told_of(path: Path) -> Iterator[None]:
    """Where reading fails (a stick pulled out, a server gone), raise AudioFileError with one sentence."""
    try:
        yield
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise AudioFileError(
            f"{path} cannot be read: {reason}; copy it to a disk that can be read, and take that"
        ) from error


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
practice, values from memory. A size left at 0 is seen to by `left_open`."""


class Chunk(NamedTuple):
    name: bytes
    start: int
    """Byte where its content begins."""
    length: int
    """As announced, which may be more than there is."""
    big_endian: bool


def chunks(path: Path) -> Iterator[Chunk]:
    """Those of a WAV, RF64, W64 or AIFF file, in order; none if it is no such."""
    size = path.stat().st_size
    long_size: int | None = None
    with path.open("rb") as file:
        container = CONTAINERS.get(file.read(4))
        if container is None:
            return
        big_endian = container.header.format.startswith(">")
        at = container.first
        while at + container.header.size <= size:
            file.seek(at)
            header = file.read(container.header.size)
            if len(header) < container.header.size:  # it has become shorter meanwhile
                return
            name, length = container.header.unpack(header)
            start = file.tell()
            if container.size_counts_header:
                length -= container.header.size
            if length < 0:
                return
            if name == b"ds64" and len(sizes := file.read(16)) == 16:
                long_size = struct.unpack("<QQ", sizes)[1]
            if name == container.sound and length == RIFF_LIMIT and long_size is not None:
                length = long_size
            yield Chunk(name, start, length, big_endian)
            at = start + length + -length % container.align


class _SoundChunk(NamedTuple):
    start: int
    """Byte where the samples begin."""
    announced: int
    present: int


def _sound_chunk(path: Path) -> _SoundChunk | None:
    """The chunk of samples; None for a file that has none."""
    sound = {container.sound for container in CONTAINERS.values()}
    for chunk in chunks(path):
        if chunk.name in sound:
            return _SoundChunk(chunk.start, chunk.length, path.stat().st_size - chunk.start)
    return None


ALIGN_AT: Final = 12
"""Byte of a format chunk where the bytes of a frame are told."""


def plain_start(path: Path, frames: int, frame_bytes: int) -> int | None:
    """Where so many frames of so many bytes begin in a little-endian WAV or RF64 file.

    None for any other file, and for one that says or holds something else.
    """
    with path.open("rb") as file:
        if file.read(4) not in (b"RIFF", b"RF64"):
            return None
        found = list(chunks(path))
        formats = [chunk.start for chunk in found if chunk.name == b"fmt "]
        sounds = [chunk for chunk in found if chunk.name == RIFF.sound]
        if len(formats) != 1 or len(sounds) != 1:
            return None
        file.seek(formats[0] + ALIGN_AT)
        align = int.from_bytes(file.read(2), "little")
        start = sounds[0].start
        held = min(sounds[0].length, file.seek(0, 2) - start) // frame_bytes
    return start if align == frame_bytes and held == frames else None


EXTENSIBLE: Final = 0xFFFE
MASK_AT: Final = 20
"""Format tag of WAVE_FORMAT_EXTENSIBLE, and the byte of its format chunk where the mask is."""


def channel_mask(path: Path) -> int:
    """Which loudspeakers the channels of a WAV, RF64 or W64 file are for, a bit each; 0: it does not say."""
    for chunk in chunks(path):
        if chunk.name[:4].lower() == b"fmt ":
            with path.open("rb") as file:
                file.seek(chunk.start)
                content = file.read(MASK_AT + 4)
            order = ">" if chunk.big_endian else "<"
            if (
                len(content) < MASK_AT + 4
                or struct.unpack_from(order + "H", content)[0] != EXTENSIBLE
            ):
                return 0
            return int(struct.unpack_from(order + "I", content, MASK_AT)[0])
    return 0


def check_whole(path: Path) -> None:
    """Refuse a file that lacks its end; libsndfile would play what there is and not mention it."""
    chunk = _sound_chunk(path)
    if chunk and chunk.announced > chunk.present and chunk.announced not in OPEN_SIZES:
        raise AudioFileError(
            f"{path} is cut short: it announces {chunk.announced} bytes of sound and holds "
            f"{chunk.present}; fetch it again from where it came"
        )
    if _ogg_lacks_its_end(path):
        raise AudioFileError(
            f"{path} is cut short: the last page of an Ogg stream must be marked as its end and "
            "this one's is not there; fetch it again from where it came"
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


def check_mp3_length(path: Path) -> None:
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
            "might be lost; convert it to WAV or FLAC"
        )


class _LeftOpen(io.FileIO):
    """A WAV file whose size of sound was left at 0, read as if it said 'until the end'."""

    def __init__(self, path: Path, size_at: int) -> None:
        super().__init__(path)
        self._size_at = size_at

    def readinto(self, buffer: Any, /) -> int:
        before = self.tell()
        try:
            count = super().readinto(buffer) or 0
        except OSError:
            return 0  # libsndfile asks, through which nothing can be raised; what is short is told
        view = memoryview(buffer).cast("B")
        for at in range(self._size_at - before, self._size_at - before + 4):
            if 0 <= at < count:
                view[at] = 0xFF
        return count


def left_open(path: Path) -> _LeftOpen | None:
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
