"""Samples read from where they lie in a file, and put there: bit for bit as libsndfile has them."""

from __future__ import annotations

import io
import os
import struct
import threading
from pathlib import Path

import numpy as np
import pytest
import soundfile as sf
from hypothesis import given, settings
from hypothesis import strategies as st

from auralize.audio import writer
from auralize.audio.header import MASK_AT
from auralize.audio.reader import frames_of, probe, read_blocks
from auralize.audio.samples import FORMS, PIECE, laid_out, pack, put

RATE = 48_000
KINDS = ("WAV", "WAVEX", "RF64")


def noise(frames: int, channels: int, seed: int = 1) -> np.ndarray:
    """Integers of 32 bit, the outermost among them."""
    values = np.random.default_rng(seed).integers(-(2**31), 2**31, (frames, channels))
    values.flat[:2] = (-(2**31), 2**31 - 1)[: values.size]
    return values.astype(np.int32)


def with_chunks(path: Path, before: list[bytes], after: list[bytes]) -> None:
    """Further chunks before the samples and after them, padded where they are odd."""
    content = path.read_bytes()
    at = content.index(b"data")
    first, last = (b"".join(map(chunk, some)) for some in (before, after))
    odd = len(content) % 2
    content = content[:at] + first + content[at:] + bytes(odd) + last
    size = struct.pack("<I", len(content) - 8)
    if content.startswith(b"RIFF"):
        content = content[:4] + size + content[8:]
    path.write_bytes(content)


def chunk(content: bytes) -> bytes:
    return b"junk" + struct.pack("<I", len(content)) + content + bytes(len(content) % 2)


@given(
    subtype=st.sampled_from(list(FORMS)),
    kind=st.sampled_from(KINDS),
    channels=st.integers(1, 8),
    frames=st.sampled_from([1, 2, 3, 333, PIECE // 2 + 1]),
    before=st.lists(st.binary(max_size=9), max_size=2),
    after=st.lists(st.binary(max_size=9), max_size=2),
    single=st.booleans(),
    data=st.data(),
)
@settings(max_examples=60, deadline=None)
def test_what_lies_plainly_is_read_as_libsndfile_reads_it(
    tmp_path_factory: pytest.TempPathFactory,
    subtype: str,
    kind: str,
    channels: int,
    frames: int,
    before: list[bytes],
    after: list[bytes],
    single: bool,
    data: st.DataObject,
) -> None:
    path = tmp_path_factory.mktemp("samples") / "a.wav"
    sf.write(path, noise(frames, channels), RATE, subtype, format=kind)
    # libsndfile 1.2.2 refuses an RF64 file with an odd chunk before the samples (measured).
    with_chunks(path, [one * 2 for one in before] if kind == "RF64" else before, after)
    expected, _ = sf.read(path, dtype="float32" if single else "float64", always_2d=True)
    info = probe(path)
    assert info.start is not None
    first = data.draw(st.integers(0, frames))
    with frames_of(info) as file:
        part = file.read(first, frames - first + 5, single)  # more than there is
    assert part.dtype == expected.dtype
    assert np.array_equal(part, expected[first:])
    size = data.draw(st.integers(max(1, frames // 20), 9000))
    assert np.array_equal(np.concatenate(list(read_blocks(info, size, single))), expected)


@pytest.mark.parametrize(
    ("name", "kind", "subtype"),
    [
        ("a.wav", "WAV", "PCM_U8"),
        ("a.wav", "WAV", "ULAW"),
        ("a.w64", "W64", "PCM_24"),
        ("a.aiff", "AIFF", "PCM_24"),
        ("a.flac", "FLAC", "PCM_24"),
        ("a.ogg", "OGG", "VORBIS"),
    ],
)
def test_all_else_is_left_to_libsndfile(tmp_path: Path, name: str, kind: str, subtype: str) -> None:
    path = tmp_path / name
    sf.write(path, noise(5000, 2) // 4, RATE, subtype, format=kind)
    info = probe(path)
    assert info.start is None
    expected, _ = sf.read(path, dtype="float32", always_2d=True)
    with frames_of(info) as file:
        assert np.array_equal(file.read(4000, 500, single=True), expected[4000:4500])
        assert np.array_equal(file.read(0, 500, single=True), expected[:500])


@pytest.mark.parametrize("spoilt", ["alignment", "big-endian"])
def test_what_says_two_things_is_left_to_libsndfile(tmp_path: Path, spoilt: str) -> None:
    path = tmp_path / "a.wav"
    endian = "BIG" if spoilt == "big-endian" else "FILE"
    sf.write(path, noise(100, 2), RATE, "PCM_24", endian=endian)
    content = path.read_bytes()
    if spoilt == "alignment":
        content = content.replace(struct.pack("<HH", 6, 24), struct.pack("<HH", 8, 24))
    path.write_bytes(content)
    assert probe(path).start is None


@pytest.mark.parametrize("subtype", ["PCM_16", "PCM_24", "PCM_32"])
@given(channels=st.integers(1, 8), frames=st.integers(1, 70), seed=st.integers(0, 9))
@settings(max_examples=15, deadline=None)
def test_packed_as_libsndfile_packs(
    tmp_path_factory: pytest.TempPathFactory, subtype: str, channels: int, frames: int, seed: int
) -> None:
    path = tmp_path_factory.mktemp("packed") / "a.wav"
    bits = 8 * FORMS[subtype].width
    steps = noise(frames, channels, seed) >> (32 - bits)
    sf.write(path, steps << (32 - bits), RATE, subtype)
    start = probe(path).start
    assert path.read_bytes()[start:][: steps.size * bits // 8] == pack(steps, subtype).tobytes()


@pytest.mark.parametrize("single", [False, True])
@pytest.mark.parametrize("subtype", ["PCM_24", "PCM_32"])
@pytest.mark.parametrize(
    ("kind", "mask", "limit"), [("WAV", 0, 0), ("WAVEX", 7, 0), ("RF64", 0, 1)]
)
def test_a_result_is_the_file_that_libsndfile_would_write(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    kind: str,
    mask: int,
    limit: int,
    subtype: str,
    single: bool,
) -> None:
    """Byte by byte: three channels, an odd number of bytes, blocks of any length."""
    if limit:
        monkeypatch.setattr(writer, "RIFF_LIMIT", limit)
    steps = noise(20_001, 3) >> 8
    sound = (steps / 2.0**23).astype("f4" if single else "f8")
    path, theirs = tmp_path / "ours.wav", tmp_path / "theirs.wav"
    with writer.AudioWriter(path, RATE, 3, subtype, len(sound), "the run", mask=mask) as ours:
        for at in range(0, len(sound), 7777):
            ours.write(sound[at : at + 7777])
    with sf.SoundFile(theirs, "w", RATE, 3, subtype, format=kind) as file:
        file.comment = "the run"
        file.write(steps << 8)
    expected = bytearray(theirs.read_bytes())
    if mask:  # libsndfile knows no places for three channels
        expected[20 + MASK_AT] = mask
    assert path.read_bytes() == bytes(expected)


def test_beyond_4_gb_samples_are_where_they_belong(tmp_path: Path) -> None:
    """A file with a hole, which takes no room on the disk."""
    path, frames = tmp_path / "a.wav", 800_000_000
    values = noise(1000, 2)
    start = laid_out(sf.SoundFile(path, "w", RATE, 2, "PCM_24", format="RF64"), path, frames)
    with io.FileIO(path, "r+") as file:
        file.seek(start + (frames - 1000) * 6)
        put(file, pack(values >> 8, "PCM_24"))
    info = probe(path)
    assert (info.frames, info.format) == (frames, "RF64")
    assert info.start is not None
    with frames_of(info) as reader:
        assert np.array_equal(reader.read(frames - 1000, 2000), (values >> 8) / 2.0**23)


def test_threads_read_different_places_at_once(tmp_path: Path) -> None:
    path = tmp_path / "a.wav"
    values = noise(40_000, 2)
    sf.write(path, values, RATE, "PCM_24")
    expected = (values >> 8) / 2.0**23
    wrong: list[int] = []

    def reads(first: int) -> None:
        for at in range(first, 40_000 - 500, 997):
            if not np.array_equal(file.read(at, 500), expected[at : at + 500]):
                wrong.append(at)

    with frames_of(probe(path)) as file:
        threads = [threading.Thread(target=reads, args=(first,)) for first in (0, 13, 29)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
    assert wrong == []


def test_what_became_shorter_ends_with_its_last_whole_frame(tmp_path: Path) -> None:
    path = tmp_path / "a.wav"
    sf.write(path, noise(PIECE, 3), RATE, "PCM_24")
    info = probe(path)
    expected, _ = sf.read(path, always_2d=True)
    assert info.start is not None
    os.truncate(path, info.start + 10_000 * 9 + 7)
    with frames_of(info) as file:
        assert np.array_equal(file.read(9_000, 3_000), expected[9_000:10_000])
