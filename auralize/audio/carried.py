"""What else a WAV file says, carried into what is made of it: chunks copied as they are.

And the header of that put right.

Description and time code of broadcast (bext, EBU Tech 3285), iXML, markers and their names (cue, LIST
adtl), loops (smpl), tags (LIST INFO) but for the comment, which is the result's own.
"""

from __future__ import annotations

import struct
from pathlib import Path
from typing import BinaryIO, Final

from auralize.audio.header import MASK_AT, chunks, told_of
from auralize.errors import AudioFileError

CARRIED: Final = (b"bext", b"iXML", b"cue ", b"smpl", b"LIST")
MOST_CARRIED: Final = 1 << 24
"""Bytes; more than that is no description."""
CHUNK_HEADER: Final = 8
"""Bytes: name and size."""
HEADER_ALLOWANCE: Final = 4096
"""Bytes set aside for the header of a WAV file with its comment."""

# Version 2 of bext (values from memory): where it says so, where its loudness figures are, and what
# stands for 'not told'. They are the source's, and no longer true.
BEXT_VERSION_AT: Final = 346
BEXT_LOUDNESS: Final = slice(412, 422)
BEXT_UNTOLD: Final = b"\xff\x7f" * 5


def carried(path: Path) -> bytes:
    """The chunks of a WAV or RF64 file that its results carry, ready to be put behind theirs.

    Raises AudioFileError where they are too long to be descriptions, or cannot be read.
    """
    found: list[bytes] = []
    with told_of(path), path.open("rb") as file:
        if file.read(4) not in (b"RIFF", b"RF64"):
            return b""
        for chunk in chunks(path):
            if chunk.name == b"data" and chunk.length == 0:
                break  # it was left open: what follows is sound
            if chunk.name not in CARRIED:
                continue
            if chunk.length + sum(map(len, found)) > MOST_CARRIED:
                raise AudioFileError(
                    f"{path} has a {chunk.name.decode().strip()} chunk of {chunk.length} bytes; up to "
                    f"{MOST_CARRIED} can be carried into the results"
                )
            file.seek(chunk.start)
            content = file.read(chunk.length)
            if len(content) == chunk.length:  # what is cut short tells nothing
                found.append(_packed(chunk.name, _as_result(chunk.name, content)))
    return b"".join(found)


def complete(path: Path, channels: int, mask: int | None, more: bytes) -> None:
    """Let a sound file of our own say where its channels belong (None: it cannot), no time, and ``more``."""
    with path.open("rb+") as file:
        _forget_the_time(file, channels)
        if mask is not None:
            _set_mask(file, mask)
        if more:
            append(file, more)


def append(file: BinaryIO, more: bytes) -> None:
    """Put chunks behind the last one of a WAV or RF64 file, and count them in its size."""
    size = file.seek(0, 2)
    file.write(bytes(size % 2) + more)
    size = file.tell() - CHUNK_HEADER
    file.seek(0)
    if file.read(4) == b"RF64":
        # ds64 comes first, and begins with the size that is too long for its place.
        file.seek(12 + CHUNK_HEADER)
        file.write(struct.pack("<Q", size))
    else:
        file.write(struct.pack("<I", size))


def _forget_the_time(file: BinaryIO, channels: int) -> None:
    """Clear the time in the PEAK chunk, which libsndfile adds to floats: a render that is made
    twice is to be the same file."""
    header = file.read(HEADER_ALLOWANCE)
    version, peak_bytes = 1, 8
    peak = b"PEAK" + struct.pack("<II", 8 + peak_bytes * channels, version)
    if (at := header.find(peak)) >= 0:
        file.seek(at + len(peak))
        file.write(bytes(4))


def _set_mask(file: BinaryIO, mask: int) -> None:
    """Say where the channels belong, which libsndfile guesses from their number."""
    file.seek(0)
    file.seek(file.read(HEADER_ALLOWANCE).index(b"fmt ") + CHUNK_HEADER + MASK_AT)
    file.write(struct.pack("<I", mask))


def _as_result(name: bytes, content: bytes) -> bytes:
    """The same, less what is not true of a result."""
    if name == b"LIST" and content[:4] == b"INFO":
        return b"INFO" + _without_comment(content[4:])
    version = int.from_bytes(content[BEXT_VERSION_AT : BEXT_VERSION_AT + 2], "little")
    if name == b"bext" and version >= 2 and len(content) >= BEXT_LOUDNESS.stop:
        return content[: BEXT_LOUDNESS.start] + BEXT_UNTOLD + content[BEXT_LOUDNESS.stop :]
    return content


def _without_comment(entries: bytes) -> bytes:
    kept = []
    at = 0
    while at + CHUNK_HEADER <= len(entries):
        name, length = struct.unpack_from("<4sI", entries, at)
        entry = entries[at + CHUNK_HEADER : at + CHUNK_HEADER + length]
        if name != b"ICMT":
            kept.append(_packed(name, entry))
        at += CHUNK_HEADER + length + length % 2
    return b"".join(kept)


def _packed(name: bytes, content: bytes) -> bytes:
    return struct.pack("<4sI", name, len(content)) + content + bytes(len(content) % 2)
