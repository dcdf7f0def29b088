"""Sound files in: exact, whole, and every refusal a sentence."""

import os
import re
import struct
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import soundfile as sf

from auralize.audio.reader import AudioInfo, clock, probe, read_blocks
from auralize.errors import AudioFileError
from support.sound_files import (
    BLOCK_SIZES,
    FRAMES,
    RATE,
    assert_one_sentence,
    integers,
    make,
    read_all,
)

# --- reading --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "kind", "subtype", "bits"),
    [
        ("a.wav", "WAV", "PCM_16", 16),
        ("a.wav", "WAV", "PCM_24", 24),
        ("a.wav", "WAV", "PCM_32", 32),
        ("a.wav", "WAVEX", "PCM_24", 24),
        ("a.wav", "RF64", "PCM_24", 24),
        ("a.w64", "W64", "PCM_24", 24),
        ("a.aiff", "AIFF", "PCM_24", 24),
        ("a.aiff", "AIFF", "PCM_S8", 8),
        ("a.flac", "FLAC", "PCM_16", 16),
        ("a.flac", "FLAC", "PCM_24", 24),
    ],
)
@pytest.mark.parametrize("size", [64, 8193])
def test_integers_are_decoded_exactly(
    tmp_path: Path, name: str, kind: str, subtype: str, bits: int, size: int
) -> None:
    path, values = tmp_path / name, integers(bits)
    left_justified = (values << (32 - bits)).astype(np.int32)
    sf.write(str(path), left_justified, RATE, subtype, format=kind)
    assert probe(path) == AudioInfo(path, RATE, 2, FRAMES, kind, subtype, bits)
    assert np.array_equal(read_all(path, size), values / 2.0 ** (bits - 1))


def test_unsigned_8_bit_is_decoded_exactly(tmp_path: Path) -> None:
    path, values = tmp_path / "a.wav", integers(8)
    sf.write(str(path), (values << 24).astype(np.int32), RATE, "PCM_U8")
    assert probe(path).bits == 8
    assert np.array_equal(read_all(path), values / 128.0)


@pytest.mark.parametrize(("subtype", "bits"), [("FLOAT", 32), ("DOUBLE", 64)])
def test_floats_over_full_scale_come_as_they_are(tmp_path: Path, subtype: str, bits: int) -> None:
    path = tmp_path / "a.wav"
    values = np.array([[0.5, -3.25], [1e-30, 7.0]]).astype(np.float32).astype(np.float64)
    sf.write(str(path), values, RATE, subtype)
    assert probe(path).bits == bits
    assert np.array_equal(read_all(path), values)


@pytest.mark.parametrize(
    ("name", "kind", "subtype"),
    [
        ("a.ogg", "OGG", "VORBIS"),
        ("a.mp3", "MP3", "MPEG_LAYER_III"),
        ("a.wav", "WAV", "ULAW"),
    ],
)
@pytest.mark.parametrize("size", [777, 8192])
def test_lossy_files_are_read_whole_whatever_the_blocks(
    tmp_path: Path, name: str, kind: str, subtype: str, size: int
) -> None:
    if kind not in sf.available_formats():
        pytest.skip(f"this libsndfile has no {kind}")
    path = make(tmp_path / name, subtype, kind)
    info = probe(path)
    assert (info.format, info.bits, info.frames) == (kind, None, FRAMES)
    whole, _ = sf.read(str(path), always_2d=True)
    assert np.array_equal(read_all(path, size), whole)


def test_an_mp3_behind_a_tag_is_read(tmp_path: Path) -> None:
    """ID3v2 of 300 bytes, its length in bytes of seven bits: 2 * 128 + 44."""
    path = make(tmp_path / "a.mp3", "MPEG_LAYER_III", "MP3")
    path.write_bytes(b"ID3\x04\x00\x00\x00\x00\x02\x2c" + bytes(300) + path.read_bytes())
    assert len(read_all(path)) == FRAMES


@pytest.mark.parametrize("size", BLOCK_SIZES)
def test_the_rule_for_block_lengths(tmp_path: Path, size: int) -> None:
    path = make(tmp_path / "a.wav")
    lengths = [len(block) for block in read_blocks(path, size)]
    full, rest = divmod(FRAMES, size)
    assert lengths == [size] * full + [rest] * (rest > 0)


def test_a_block_stays_the_callers(tmp_path: Path) -> None:
    blocks = list(read_blocks(make(tmp_path / "a.wav"), 1000))
    assert np.array_equal(np.concatenate(blocks), integers(24) / 2.0**23)


def test_blocks_of_no_frames_are_refused(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="1 or more"):
        read_blocks(make(tmp_path / "a.wav"), 0)


@pytest.mark.parametrize(
    ("riff", "data"),
    [(0, 0), (0xFFFFFFFF, 0xFFFFFFFF), (0, 0xFFFFFFFF), (36, 0), (0x7FFFF024, 0x7FFFF000)],
)
def test_a_wav_that_left_its_length_open_is_read_to_the_end(
    tmp_path: Path, riff: int, data: int
) -> None:
    path = patched_wav(tmp_path / "a.wav", riff, data)
    assert probe(path).frames == FRAMES
    assert np.array_equal(read_all(path), integers(24) / 2.0**23)


def test_a_wav_left_open_over_silence_is_read_to_the_end(tmp_path: Path) -> None:
    path = tmp_path / "a.wav"
    sf.write(str(path), np.zeros((FRAMES, 2)), RATE, "PCM_24")
    content = bytearray(path.read_bytes())
    at = content.index(b"data") + 4
    content[at : at + 4] = bytes(4)
    path.write_bytes(content)
    assert np.array_equal(read_all(path), np.zeros((FRAMES, 2)))


def test_an_aiff_that_left_its_length_open_is_read_to_the_end(tmp_path: Path) -> None:
    path = make(tmp_path / "a.aiff", kind="AIFF")
    content = bytearray(path.read_bytes())
    at = content.index(b"SSND") + 4
    content[at : at + 4] = bytes(4)
    path.write_bytes(content)
    assert np.array_equal(read_all(path), integers(24) / 2.0**23)


def test_chunks_behind_the_sound_do_not_matter(tmp_path: Path) -> None:
    path = make(tmp_path / "a.wav")
    with path.open("ab") as file:
        file.write(b"junk" + struct.pack("<I", 1000) + b"cut")
    assert np.array_equal(read_all(path), integers(24) / 2.0**23)


# --- files that are refused -----------------------------------------------------------------------


def patched_wav(path: Path, riff: int, data: int) -> Path:
    """A good WAV file with other sizes in its header."""
    content = bytearray(make(path).read_bytes())
    at = content.index(b"data") + 4
    content[4:8], content[at : at + 4] = struct.pack("<I", riff), struct.pack("<I", data)
    path.write_bytes(content)
    return path


def cut(path: Path, kind: str, subtype: str = "PCM_24", keep: float = 0.6) -> Path:
    content = make(path, subtype, kind).read_bytes()
    path.write_bytes(content[: int(len(content) * keep)])
    return path


def missing(folder: Path) -> Path:
    return folder / "gone.wav"


def a_folder(folder: Path) -> Path:
    return folder


def a_pipe(folder: Path) -> Path:
    os.mkfifo(folder / "pipe.wav")
    return folder / "pipe.wav"


def below_a_file(folder: Path) -> Path:
    (folder / "file").write_bytes(b"x")
    return folder / "file" / "a.wav"


def content(name: str, data: bytes) -> Callable[[Path], Path]:
    def build(folder: Path) -> Path:
        (folder / name).write_bytes(data)
        return folder / name

    return build


def header_only(folder: Path) -> Path:
    path = make(folder / "a.wav")
    data = path.read_bytes()
    path.write_bytes(data[: data.index(b"data") + 8])
    return path


def garbage_after_header(folder: Path) -> Path:
    path = folder / "a.wav"
    path.write_bytes(b"RIFF\x00\x10\x00\x00WAVE" + np.random.default_rng(1).bytes(4096))
    return path


def no_frames(kind: str, suffix: str) -> Callable[[Path], Path]:
    def build(folder: Path) -> Path:
        path = folder / f"a{suffix}"
        sf.write(str(path), np.zeros((0, 2)), RATE, format=kind)
        return path

    return build


def no_frames_and_a_chunk_behind(folder: Path) -> Path:
    path = no_frames("WAV", ".wav")(folder)
    with path.open("ab") as file:
        file.write(b"LIST" + struct.pack("<I", 4) + b"INFO")
    return path


def shape(channels: int, rate: int) -> Callable[[Path], Path]:
    def build(folder: Path) -> Path:
        sf.write(str(folder / "a.wav"), np.zeros((10, channels)), rate)
        return folder / "a.wav"

    return build


def cut_rf64(folder: Path) -> Path:
    return cut(folder / "a.wav", "RF64")


def cut_big_endian(folder: Path) -> Path:
    path = folder / "a.wav"
    sf.write(str(path), integers(16).astype(np.int16), RATE, "PCM_16", endian="BIG")
    path.write_bytes(path.read_bytes()[:9000])
    return path


def cut_behind_an_odd_chunk(folder: Path) -> Path:
    """Three bytes and one of padding stand before the sound."""
    path = make(folder / "a.wav")
    data = path.read_bytes()
    at = data.index(b"data")
    path.write_bytes(data[:at] + b"junk" + struct.pack("<I", 3) + bytes(4) + data[at:-1])
    return path


def flac_of_unknown_length(folder: Path) -> Path:
    """The 36 bits of total samples in STREAMINFO at 0: 'unknown' (RFC 9639, section 8.2)."""
    path = make(folder / "a.flac", kind="FLAC")
    data = bytearray(path.read_bytes())
    streaminfo = 8
    data[streaminfo + 13] &= 0xF0
    data[streaminfo + 14 : streaminfo + 18] = bytes(4)
    path.write_bytes(data)
    return path


def ogg_cut_between_pages(folder: Path) -> Path:
    path = folder / "a.ogg"
    sf.write(str(path), np.random.default_rng(1).standard_normal((60_000, 2)) / 9, RATE)
    data = path.read_bytes()
    path.write_bytes(data[: data.rindex(b"OggS")])
    return path


def mp3_without_a_count(folder: Path) -> Path:
    path = make(folder / "a.mp3", "MPEG_LAYER_III", "MP3")
    data = path.read_bytes()
    for tag in (b"Xing", b"Info"):
        data = data.replace(tag, bytes(4))
    path.write_bytes(data)
    return path


HEADER_REFUSALS = [
    ("missing", missing, "does not exist"),
    ("folder", a_folder, "is a folder"),
    ("pipe", a_pipe, "pipe or a device"),
    ("below a file", below_a_file, "cannot be reached"),
    ("empty", content("a.wav", b""), r"empty \(0 bytes\)"),
    ("text", content("a.wav", b"this is a set list\n" * 99), "not a sound file"),
    ("bare samples", content("a.raw", bytes(999)), "without their rate"),
    ("one byte", content("a.wav", b"R"), "not a sound file"),
    ("riff only", content("a.wav", b"RIFF\x24\x00\x00\x00WAVE"), "not a sound file"),
    ("garbage after header", garbage_after_header, "not a sound file"),
    ("header only", header_only, "announces 30000 bytes of sound and holds 0"),
    ("wav cut", lambda f: cut(f / "a.wav", "WAV"), "announces 30000 bytes of sound and holds 17"),
    ("wav lacks one byte", lambda f: cut(f / "a.wav", "WAV", keep=0.99998), "holds 29999"),
    ("wav big endian cut", cut_big_endian, "is cut short: it announces 20000"),
    ("wav cut behind an odd chunk", cut_behind_an_odd_chunk, "holds 29999"),
    ("aiff cut", lambda f: cut(f / "a.aiff", "AIFF"), "is cut short"),
    ("w64 cut", lambda f: cut(f / "a.w64", "W64"), "announces 30000 bytes of sound"),
    ("rf64 cut", cut_rf64, "announces 30000 bytes of sound"),
    ("ogg cut", lambda f: cut(f / "a.ogg", "OGG", "VORBIS"), "is cut short"),
    ("ogg cut between pages", ogg_cut_between_pages, "marked as its end"),
    ("flac of unknown length", flac_of_unknown_length, "does not say how long"),
    ("mp3 without a count", mp3_without_a_count, "does not say how long"),
    ("no frames", no_frames("WAV", ".wav"), "0 frames"),
    ("no frames in aiff", no_frames("AIFF", ".aiff"), "0 frames"),
    ("no frames, chunk behind", no_frames_and_a_chunk_behind, "0 frames"),
    ("9 channels", shape(9, RATE), "9 channels; 1 to 8"),
    ("4 kHz", shape(2, 4_000), "4000 Hz; 8000 to 192000 Hz"),
    ("384 kHz", shape(2, 384_000), "384000 Hz"),
]


@pytest.mark.parametrize(
    ("build", "message"),
    [pytest.param(build, message, id=name) for name, build, message in HEADER_REFUSALS],
)
def test_a_file_is_refused_at_once(
    tmp_path: Path, build: Callable[[Path], Path], message: str
) -> None:
    path = build(tmp_path)
    for attempt in (probe, lambda path: read_blocks(path, 100)):
        with pytest.raises(AudioFileError, match=message) as caught:
            attempt(path)
        assert_one_sentence(str(caught.value), path)


@pytest.mark.parametrize(("channels", "rate"), [(1, 8_000), (8, 192_000)])
def test_the_limits_themselves_are_taken(tmp_path: Path, channels: int, rate: int) -> None:
    info = probe(shape(channels, rate)(tmp_path))
    assert (info.channels, info.rate) == (channels, rate)


def bad_float(value: float) -> Callable[[Path], Path]:
    def build(folder: Path) -> Path:
        samples = np.zeros((RATE, 2))
        samples[33_075, 1] = value
        sf.write(str(folder / "a.wav"), samples, RATE, "FLOAT")
        return folder / "a.wav"

    return build


def corrupt_flac(folder: Path) -> Path:
    path = make(folder / "a.flac", kind="FLAC")
    data = bytearray(path.read_bytes())
    data[len(data) * 3 // 4] ^= 0xFF
    path.write_bytes(data)
    return path


BAD_INSIDE = [
    ("nan", bad_float(np.nan), r"NaN at 0:00\.750 \(frame 33075, channel 2\)"),
    ("plus infinity", bad_float(np.inf), r"infinite value at 0:00\.750"),
    ("minus infinity", bad_float(-np.inf), r"infinite value at 0:00\.750"),
    ("flac cut", lambda f: cut(f / "a.flac", "FLAC"), "damaged or cut short: .* 5000 frames"),
    ("flac corrupt", corrupt_flac, "damaged or cut short"),
    ("mp3 cut", lambda f: cut(f / "a.mp3", "MP3", "MPEG_LAYER_III"), "damaged or cut short"),
]


@pytest.mark.parametrize(
    ("build", "message"),
    [pytest.param(build, message, id=name) for name, build, message in BAD_INSIDE],
)
@pytest.mark.parametrize("size", [500, 100_000])
def test_a_file_is_refused_while_it_is_read(
    tmp_path: Path, build: Callable[[Path], Path], message: str, size: int
) -> None:
    path = build(tmp_path)
    probe(path)  # its header is in order
    with pytest.raises(AudioFileError, match=message) as caught:
        read_all(path, size)
    assert_one_sentence(str(caught.value), path)


def test_times_read_as_minutes_and_seconds() -> None:
    assert clock(RATE * 61 + RATE // 2, RATE) == "1:01.500"
    assert re.fullmatch(r"0:00\.000", clock(0, RATE))
