"""Sound files out: exact, in the depth and container that were asked for."""

import os
import shutil
import stat
import struct
import tempfile
from pathlib import Path

import numpy as np
import pytest
import soundfile as sf
from hypothesis import given, settings
from hypothesis import strategies as st

from auralize.audio import reader as audioreader
from auralize.audio import writer as audiowriter
from auralize.audio.depth import Depth, output_depth, quantise, triangular
from auralize.audio.reader import AudioInfo, probe
from auralize.audio.writer import AudioWriter
from support.sound_files import (
    BLOCK_SIZES,
    FRAMES,
    RATE,
    integers,
    leftovers,
    make,
    read_all,
    write_all,
)

# --- writing --------------------------------------------------------------------------------------


@pytest.mark.parametrize("suffix", [".wav", ".flac"])
def test_24_bit_makes_the_round_trip_bit_for_bit(tmp_path: Path, suffix: str) -> None:
    path, values = tmp_path / f"a{suffix}", integers(24)
    assert write_all(path, values / 2.0**23) == 0
    raw, _ = sf.read(str(path), dtype="int32")
    assert np.array_equal(raw >> 8, values)
    assert np.array_equal(read_all(path), values / 2.0**23)


def test_32_bit_makes_the_round_trip_bit_for_bit(tmp_path: Path) -> None:
    path, values = tmp_path / "a.wav", integers(32)
    assert write_all(path, values / 2.0**31, "PCM_32") == 0
    assert np.array_equal(sf.read(str(path), dtype="int32")[0], values)


@pytest.mark.parametrize("depth", ["FLOAT", "DOUBLE"])
def test_floats_make_the_round_trip_over_full_scale_too(tmp_path: Path, depth: Depth) -> None:
    values = np.random.default_rng(1).standard_normal((FRAMES, 3)) * 4
    values = values.astype(np.float32).astype(np.float64) if depth == "FLOAT" else values
    assert write_all(tmp_path / "a.wav", values, depth) == 0
    assert np.array_equal(read_all(tmp_path / "a.wav"), values)


@pytest.mark.parametrize(
    ("name", "depth"), [("a.wav", "PCM_24"), ("a.wav", "FLOAT"), ("a.flac", "PCM_24")]
)
def test_the_highest_sample_of_all_blocks_is_known(tmp_path: Path, name: str, depth: Depth) -> None:
    with AudioWriter(tmp_path / name, RATE, 1, depth, 3 * RATE) as writer:
        for level in (0.1, -0.6, 0.2):
            writer.write(np.linspace(level, 0.0, RATE)[:, None])
        assert writer.highest == 0.6


@pytest.mark.parametrize("depth", ["FLOAT", "DOUBLE"])
def test_floats_carry_no_time_of_writing(tmp_path: Path, depth: Depth) -> None:
    """A PEAK chunk is size, version, time, then the peaks; RF64 files have none."""
    write_all(tmp_path / "a.wav", np.zeros((10, 2)), depth, comment="PEAK of the day")
    data = (tmp_path / "a.wav").read_bytes()
    at = data.index(b"PEAK\x18")
    assert data[at + 4 : at + 16] == struct.pack("<III", 24, 1, 0)
    assert np.array_equal(read_all(tmp_path / "a.wav"), np.zeros((10, 2)))


@pytest.mark.parametrize("suffix", [".wav", ".flac"])
def test_24_bit_rounds_to_nearest(tmp_path: Path, suffix: str) -> None:
    """libsndfile's own way from floats truncates: 0.75 of a step would become 0."""
    steps = np.array([[0.75, -0.75, 1.25, -1.25, 0.4, -0.4, 100.6, -100.6]]).T
    write_all(tmp_path / f"a{suffix}", steps / 2.0**23)
    found = sf.read(str(tmp_path / f"a{suffix}"), dtype="int32")[0] >> 8
    assert found.tolist() == [1, -1, 1, -1, 0, 0, 101, -101]


@pytest.mark.parametrize(("bits", "depth"), [(16, "PCM_16"), (24, "PCM_24"), (32, "PCM_32")])
def test_samples_over_full_scale_are_held_and_counted(
    tmp_path: Path, bits: int, depth: Depth
) -> None:
    top = 2.0 ** (bits - 1)
    values = np.array([[1.0], [-1.0], [(top - 1) / top], [1.5], [-1.0 - 2 / top], [0.0], [-9.0]])
    assert write_all(tmp_path / "a.wav", values, depth) == 4  # 1.0 is one step over the top
    found = read_all(tmp_path / "a.wav")
    exact = 0 if bits > 16 else 2 / top  # what dither may move
    for at, want in [(0, 1 - 1 / top), (1, -1.0), (3, 1 - 1 / top), (4, -1.0), (6, -1.0)]:
        assert abs(found[at, 0] - want) <= exact


def test_dither_alone_does_not_count_as_clipping(tmp_path: Path) -> None:
    highest = np.full((FRAMES, 1), 32767 / 32768)
    assert write_all(tmp_path / "a.wav", highest, "PCM_16") == 0


@pytest.mark.parametrize("fraction", [0.0, 0.25, 0.5, 0.9])
def test_triangular_dither_makes_the_error_independent_of_the_signal(fraction: float) -> None:
    """Mean 0 and variance 1/4 step squared wherever between two steps the sample lies.

    The sum of 1/12 (the quantiser) and 1/6 (triangular dither of +-1 step); that these moments do
    not depend on the input: Wannamaker, Lipshitz, Vanderkooy, Wright, "A Theory of Non-Subtractive
    Dither". Tolerance: 5 standard deviations of the estimate.
    """
    count = 400_000
    sample = np.full((count, 1), (100 + fraction) / 32768)
    dither = triangular(np.random.default_rng(7), sample.shape)
    steps, _ = quantise(sample, 16, dither)
    error = steps - (100 + fraction)
    spread = np.sqrt(0.25 / count)
    assert abs(error.mean()) < 5 * spread
    # An error within 1.5 steps has a square within 2.25: its spread is under 1.5 * 0.5.
    assert abs((error**2).mean() - 0.25) < 5 * 0.75 / np.sqrt(count)


def test_without_dither_the_same_error_would_depend_on_the_signal() -> None:
    """The check above can fail: plain rounding has variance 0.0625 at a quarter step."""
    steps, _ = quantise(np.full((1000, 1), 100.25 / 32768), 16)
    assert ((steps - 100.25) ** 2).mean() == 0.0625


def test_dither_is_triangular_between_minus_one_and_one_step() -> None:
    values = triangular(np.random.default_rng(3), (200_000, 2))
    assert values.min() >= -1.0
    assert values.max() <= 1.0
    assert values.max() > 0.99  # one in 20 000 lies beyond
    # Half of a triangle lies within 1 - 1/sqrt(2) of its middle.
    assert abs((np.abs(values) < 1 - np.sqrt(0.5)).mean() - 0.5) < 5 * 0.5 / np.sqrt(values.size)


@pytest.mark.parametrize("depth", ["PCM_24", "PCM_32"])
def test_no_dither_from_24_bit_on(tmp_path: Path, depth: Depth) -> None:
    write_all(tmp_path / "a.wav", np.full((FRAMES, 2), 0.5), depth)
    assert np.array_equal(read_all(tmp_path / "a.wav"), np.full((FRAMES, 2), 0.5))


@pytest.mark.parametrize("suffix", [".wav", ".flac"])
@pytest.mark.parametrize("size", BLOCK_SIZES)
def test_16_bit_output_does_not_depend_on_the_cutting(
    tmp_path: Path, suffix: str, size: int
) -> None:
    signal = np.random.default_rng(1).standard_normal((FRAMES, 2)) / 9
    write_all(tmp_path / f"whole{suffix}", signal, "PCM_16")
    path = tmp_path / f"cut{suffix}"
    with AudioWriter(path, RATE, 2, "PCM_16", FRAMES) as writer:
        for at in range(0, FRAMES, size):
            writer.write(signal[at : at + size])
    assert path.read_bytes() == (tmp_path / f"whole{suffix}").read_bytes()


@given(st.lists(st.integers(0, 90), min_size=1, max_size=20).filter(any))
@settings(max_examples=25, deadline=None, derandomize=True)
def test_any_cutting_gives_the_same_file(cuts: list[int]) -> None:
    signal = np.random.default_rng(2).standard_normal((sum(cuts), 2)) / 9
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        write_all(folder / "whole.wav", signal, "PCM_16")
        with AudioWriter(folder / "cut.wav", RATE, 2, "PCM_16", len(signal)) as writer:
            at = 0
            for size in cuts:
                writer.write(signal[at : at + size])
                at += size
        assert (folder / "cut.wav").read_bytes() == (folder / "whole.wav").read_bytes()


def test_the_dither_follows_its_seed(tmp_path: Path) -> None:
    signal = np.zeros((FRAMES, 1))
    for name, seed in [("a", 1), ("b", 1), ("c", 2)]:
        write_all(tmp_path / f"{name}.wav", signal, "PCM_16", dither_seed=seed)
    a, b, c = ((tmp_path / f"{name}.wav").read_bytes() for name in "abc")
    assert a == b
    assert a != c


@pytest.mark.parametrize("suffix", [".wav", ".flac"])
@pytest.mark.parametrize("comment", ["62 m of 2.5 mm² twin, drop, +40 dB make-up gain", "x" * 2000])
def test_the_comment_is_read_back(tmp_path: Path, suffix: str, comment: str) -> None:
    path = tmp_path / f"a{suffix}"
    write_all(path, np.zeros((10, 2)), comment=comment)
    with sf.SoundFile(str(path)) as file:
        assert file.comment == comment
    if suffix == ".wav":
        assert b"INFOICMT" in path.read_bytes()


def test_a_comment_that_would_be_lost_is_refused(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="2001 bytes"):
        AudioWriter(tmp_path / "a.wav", RATE, 1, "PCM_24", 1, "x" * 2001)


def test_beyond_32_bit_sizes_the_container_is_rf64(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With the limit lowered, a small file takes the way of a large one."""
    signal = integers(24) / 2.0**23
    monkeypatch.setattr(audiowriter, "RIFF_LIMIT", FRAMES * 6)
    write_all(tmp_path / "a.wav", signal, comment="long take")
    monkeypatch.undo()
    assert (tmp_path / "a.wav").read_bytes()[:4] == b"RF64"
    assert probe(tmp_path / "a.wav").format == "RF64"
    assert np.array_equal(read_all(tmp_path / "a.wav"), signal)
    with sf.SoundFile(str(tmp_path / "a.wav")) as file:
        assert file.comment == "long take"


@pytest.mark.parametrize(
    ("frames", "container"),
    [(2**32 // 12 - 1000, "WAV"), (2**32 // 12, "RF64"), (2**33, "RF64")],
)
def test_the_container_follows_the_frames_announced(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, frames: int, container: str
) -> None:
    """4 channels of 24 bit are 12 bytes a frame."""
    monkeypatch.setattr(shutil, "disk_usage", lambda _: shutil._ntuple_diskusage(0, 0, 2**62))
    assert AudioWriter(tmp_path / "a.wav", RATE, 4, "PCM_24", frames).container == container
    assert AudioWriter(tmp_path / "a.flac", RATE, 4, "PCM_24", frames).container == "FLAC"


def test_the_result_has_the_users_usual_permissions(tmp_path: Path) -> None:
    old = os.umask(0o022)
    try:
        write_all(tmp_path / "a.wav", np.zeros((10, 1)))
    finally:
        os.umask(old)
    assert stat.S_IMODE((tmp_path / "a.wav").stat().st_mode) == 0o644


def test_an_existing_result_is_replaced_only_at_the_end(tmp_path: Path) -> None:
    path = make(tmp_path / "a.wav")
    before = path.read_bytes()
    with AudioWriter(path, RATE, 1, "PCM_24", 10) as writer:
        writer.write(np.full((10, 1), 0.25))
        assert path.read_bytes() == before
    assert np.array_equal(read_all(path), np.full((10, 1), 0.25))
    assert leftovers(tmp_path) == ["a.wav"]


def test_a_link_stays_a_link(tmp_path: Path) -> None:
    (tmp_path / "real").mkdir()
    (tmp_path / "a.wav").symlink_to(tmp_path / "real" / "b.wav")
    write_all(tmp_path / "a.wav", np.zeros((10, 1)))
    assert (tmp_path / "a.wav").is_symlink()
    assert probe(tmp_path / "real" / "b.wav").frames == 10


# --- the depth that is kept -----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("subtype", "bits", "wav", "flac"),
    [
        ("PCM_U8", 8, "PCM_16", "PCM_16"),
        ("PCM_S8", 8, "PCM_16", "PCM_16"),
        ("PCM_16", 16, "PCM_16", "PCM_16"),
        ("ALAC_20", 20, "PCM_24", "PCM_24"),
        ("PCM_24", 24, "PCM_24", "PCM_24"),
        ("PCM_32", 32, "PCM_32", "PCM_24"),
        ("FLOAT", 32, "FLOAT", "PCM_24"),
        ("DOUBLE", 64, "DOUBLE", "PCM_24"),
        ("VORBIS", None, "PCM_24", "PCM_24"),
        ("MPEG_LAYER_III", None, "PCM_24", "PCM_24"),
        ("ULAW", None, "PCM_24", "PCM_24"),
    ],
)
def test_the_depth_of_the_source_is_kept(
    subtype: str, bits: int | None, wav: Depth, flac: Depth
) -> None:
    assert audioreader._bits(subtype) == bits
    info = AudioInfo(Path("a"), RATE, 2, FRAMES, "WAV", subtype, bits)
    assert output_depth(info) == wav
    assert output_depth(info, ".wav") == wav
    assert output_depth(info, ".FLAC") == flac
