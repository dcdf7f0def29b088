"""Sound files that cannot be written: every refusal a sentence, and no half-written result."""

import errno
import os
import resource
import shutil
import subprocess
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import pytest
import soundfile as sf

from auralize.audio import portion
from auralize.audio.depth import Depth
from auralize.audio.portion import Laid, Portion
from auralize.audio.reader import probe
from auralize.audio.sink import PIECE
from auralize.audio.writer import AudioWriter, same_file
from auralize.errors import AudioFileError
from support.sound_files import (
    FRAMES,
    RATE,
    assert_one_sentence,
    leftovers,
    make,
    read_all,
    write_all,
)

# --- writing that fails ---------------------------------------------------------------------------


@pytest.mark.parametrize("suffix", [".wav", ".flac"])
@pytest.mark.parametrize("problem", [RuntimeError, KeyboardInterrupt, SystemExit])
def test_nothing_partial_is_left_when_stopped(
    tmp_path: Path, suffix: str, problem: type[BaseException]
) -> None:
    def half_a_render() -> None:
        with AudioWriter(tmp_path / f"a{suffix}", RATE, 2, "PCM_24", FRAMES) as writer:
            writer.write(np.zeros((FRAMES // 2, 2)))
            assert len(leftovers(tmp_path)) == 1
            raise problem

    with pytest.raises(problem):
        half_a_render()
    assert leftovers(tmp_path) == []


def test_stopping_keeps_what_was_there_before(tmp_path: Path) -> None:
    path = make(tmp_path / "a.wav")
    before = path.read_bytes()

    def stopped() -> None:
        with AudioWriter(path, RATE, 2, "PCM_24", FRAMES) as writer:
            writer.write(np.zeros((10, 2)))
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        stopped()
    assert path.read_bytes() == before
    assert leftovers(tmp_path) == ["a.wav"]


@pytest.mark.parametrize(("given_frames", "message"), [(9, "9 frames were"), (11, "More than")])
def test_other_than_the_frames_announced_is_refused(
    tmp_path: Path, given_frames: int, message: str
) -> None:
    with (
        pytest.raises(ValueError, match=message),
        AudioWriter(tmp_path / "a.wav", RATE, 1, "PCM_24", 10) as writer,
    ):
        writer.write(np.zeros((given_frames, 1)))
    assert leftovers(tmp_path) == []


@pytest.mark.parametrize("value", [np.nan, np.inf, -np.inf])
@pytest.mark.parametrize("depth", ["PCM_16", "PCM_24", "FLOAT"])
def test_samples_that_are_not_finite_are_not_written(
    tmp_path: Path, value: float, depth: Depth
) -> None:
    with pytest.raises(AudioFileError, match="not finite numbers"):
        write_all(tmp_path / "a.wav", np.array([[0.0], [value]]), depth)
    assert leftovers(tmp_path) == []


@pytest.mark.parametrize("depth", ["PCM_24", "FLOAT"])
def test_where_a_sample_is_not_finite_is_told(tmp_path: Path, depth: Depth) -> None:
    samples = np.zeros((RATE, 1))
    samples[-1] = np.nan
    with pytest.raises(AudioFileError, match=r"after 0:00\.743; check"):  # one of the pieces
        write_all(tmp_path / "a.wav", samples, depth)


def written_from_one_second_on(laid: Laid, samples: np.ndarray) -> None:
    with Portion(laid, RATE) as portion:
        portion.write(samples)


def test_a_portion_tells_where_in_the_file_it_failed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    fitting = iter([None])

    def full(*_: object) -> None:
        if next(fitting, full) is full:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(portion, "put", full)
    (tmp_path / "a.wav").touch()
    laid = Laid(tmp_path / "b.wav", tmp_path / "a.wav", 44, RATE, 1, "PCM_24", 1)
    with pytest.raises(AudioFileError, match=r"after 0:01\.000"):
        written_from_one_second_on(laid, np.full((1, 1), np.inf))
    with pytest.raises(AudioFileError, match=r"b\.wav could not be written beyond 0:01\.743"):
        written_from_one_second_on(laid, np.zeros((2 * PIECE, 1)))  # 0.743 s each


def test_samples_beyond_the_range_of_float_are_not_written(tmp_path: Path) -> None:
    highest = float(np.finfo(np.float32).max)
    assert write_all(tmp_path / "b.wav", np.array([[highest]]), "FLOAT") == 0
    assert sf.read(tmp_path / "b.wav")[0][0] == highest
    (tmp_path / "b.wav").unlink()
    with pytest.raises(AudioFileError, match="64-bit float holds them"):
        write_all(tmp_path / "a.wav", np.array([[1e39]]), "FLOAT")
    assert leftovers(tmp_path) == []


def test_a_block_of_another_shape_is_refused(tmp_path: Path) -> None:
    with (
        pytest.raises(ValueError, match=r"\(frames, 2\) is right"),
        AudioWriter(tmp_path / "a.wav", RATE, 2, "PCM_24", 10) as writer,
    ):
        writer.write(np.zeros((10, 1)))
    assert leftovers(tmp_path) == []


def test_what_libsndfile_cannot_encode_is_a_sentence(tmp_path: Path) -> None:
    path = tmp_path / "a.flac"
    with pytest.raises(AudioFileError, match="9 channels of 24 bit at 44100 Hz") as caught:
        write_all(path, np.zeros((10, 9)))
    assert_one_sentence(str(caught.value), path)
    assert leftovers(tmp_path) == []


@contextmanager
def file_size_limit(limit: int) -> Iterator[None]:
    """The system refuses to let any file grow beyond `limit` bytes (EFBIG)."""
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (limit, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))


def write_noise(path: Path, frames: int, size: int) -> None:
    noise = np.random.default_rng(1).uniform(-0.9, 0.9, (frames, 2))
    with AudioWriter(path, RATE, 2, "PCM_24", frames) as writer:
        for at in range(0, frames, size):
            writer.write(noise[at : at + size])


@pytest.mark.parametrize("suffix", [".wav", ".flac"])
@pytest.mark.parametrize("size", [100, 4096, 40_000])
def test_a_file_that_may_not_grow_is_a_sentence(tmp_path: Path, suffix: str, size: int) -> None:
    path = tmp_path / f"a{suffix}"
    with (
        file_size_limit(100_000),
        pytest.raises(AudioFileError, match=os.strerror(errno.EFBIG)) as caught,
    ):
        write_noise(path, 40_000, size)
    assert_one_sentence(str(caught.value), path)
    assert leftovers(tmp_path) == []


@pytest.mark.parametrize("suffix", [".wav", ".flac"])
def test_a_failure_in_the_last_bytes_is_noticed(tmp_path: Path, suffix: str) -> None:
    """What is lost while closing raises nothing in libsndfile."""
    write_noise(tmp_path / f"good{suffix}", 40_000, 4096)
    whole = (tmp_path / f"good{suffix}").stat().st_size
    for missing_bytes in (1, 100):
        with file_size_limit(whole - missing_bytes), pytest.raises(AudioFileError):
            write_noise(tmp_path / f"a{suffix}", 40_000, 4096)
    assert leftovers(tmp_path) == [f"good{suffix}"]


@pytest.mark.parametrize(
    ("name", "depth"), [("a.wav", "PCM_24"), ("a.wav", "FLOAT"), ("a.flac", "PCM_24")]
)
def test_a_write_that_soundfile_itself_finds_short_is_a_sentence(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str, depth: Depth
) -> None:
    def short(*_: object) -> None:
        raise AssertionError

    monkeypatch.setattr(sf.SoundFile, "write", short)
    with pytest.raises(AudioFileError, match=r"could not be written beyond 0:00\.000"):
        write_all(tmp_path / name, np.zeros((10, 1)), depth)
    assert leftovers(tmp_path) == []


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A file system of 256 kB; needs the right to mount."""
    folder = tmp_path / "disk"
    folder.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=256k", "none", str(folder)]
    if shutil.which("mount") is None or subprocess.run(mount, capture_output=True).returncode:
        pytest.skip("no right to mount a small file system; RLIMIT_FSIZE stands in for it above")
    yield folder
    subprocess.run(["umount", str(folder)], check=True)


@pytest.mark.parametrize("suffix", [".wav", ".flac"])
def test_a_disk_that_fills_up_is_a_sentence(small_disk: Path, suffix: str) -> None:
    """It has room at the start; then something else takes it."""
    path = small_disk / f"a{suffix}"
    noise = np.random.default_rng(1).uniform(-0.9, 0.9, (30_000, 2))

    def render() -> None:
        with AudioWriter(path, RATE, 2, "PCM_24", len(noise)) as writer:
            (small_disk / "other").write_bytes(bytes(150_000))
            for at in range(0, len(noise), 1000):
                writer.write(noise[at : at + 1000])

    with pytest.raises(AudioFileError, match=os.strerror(errno.ENOSPC)) as caught:
        render()
    assert_one_sentence(str(caught.value), path)
    assert leftovers(small_disk) == ["other"]


def test_a_disk_without_room_is_refused_before_anything_is_written(small_disk: Path) -> None:
    with pytest.raises(AudioFileError, match=r"needs 0\.6 MB and the disk has 0\.3 MB left"):
        AudioWriter(small_disk / "a.wav", RATE, 2, "PCM_24", 100_000)
    assert leftovers(small_disk) == []


# --- places and names that are refused ------------------------------------------------------------


def output_in_missing_folder(folder: Path) -> Path:
    return folder / "no" / "a.wav"


def output_below_a_file(folder: Path) -> Path:
    (folder / "file").write_bytes(b"x")
    return folder / "file" / "a.wav"


def output_is_a_folder(folder: Path) -> Path:
    (folder / "a.wav").mkdir()
    return folder / "a.wav"


def output_is_a_pipe(folder: Path) -> Path:
    os.mkfifo(folder / "a.wav")
    return folder / "a.wav"


FLAC_REFUSES = "cannot hold {}; FLAC takes 16 bit or 24 bit, "


@pytest.mark.parametrize(
    ("build", "depth", "message"),
    [
        pytest.param(output_in_missing_folder, "PCM_24", "does not exist", id="missing folder"),
        pytest.param(output_below_a_file, "PCM_24", "is not a folder", id="below a file"),
        pytest.param(output_is_a_folder, "PCM_24", "is a folder", id="folder"),
        pytest.param(output_is_a_pipe, "PCM_24", "pipe or a device", id="pipe"),
        pytest.param(lambda f: f / "a.mp3", "PCM_24", r"\.wav or \.flac", id="other format"),
        pytest.param(lambda f: f / "a", "PCM_24", r"\.wav or \.flac", id="no suffix"),
        pytest.param(
            lambda f: f / "a.flac", "FLOAT", FLAC_REFUSES.format("32-bit float"), id="float in FLAC"
        ),
        pytest.param(
            lambda f: f / "a.FLAC", "PCM_32", FLAC_REFUSES.format("32 bit"), id="32 bit in FLAC"
        ),
    ],
)
def test_a_place_is_refused_before_anything_is_written(
    tmp_path: Path, build: Callable[[Path], Path], depth: Depth, message: str
) -> None:
    path = build(tmp_path)
    before = leftovers(tmp_path)
    with pytest.raises(AudioFileError, match=message) as caught:
        AudioWriter(path, RATE, 2, depth, 10)
    assert_one_sentence(str(caught.value), path)
    assert leftovers(tmp_path) == before


def test_a_file_of_no_frames_is_not_written(tmp_path: Path) -> None:
    with pytest.raises(AudioFileError, match="0 frames"):
        AudioWriter(tmp_path / "a.wav", RATE, 2, "PCM_24", 0)


@pytest.mark.skipif(os.name != "posix", reason="names are text elsewhere")
def test_names_that_are_no_text_are_read_and_written(tmp_path: Path) -> None:
    folder = Path(os.fsdecode(os.fsencode(tmp_path) + b"/m\xfchle"))  # Latin-1, as on old disks
    folder.mkdir()
    write_all(folder / "a.wav", np.full((10, 1), 0.25))
    (folder / "a.wav").rename(folder / os.fsdecode(b"\xfc.wav"))
    assert np.array_equal(read_all(folder / os.fsdecode(b"\xfc.wav")), np.full((10, 1), 0.25))


def test_suffixes_may_be_upper_case(tmp_path: Path) -> None:
    write_all(tmp_path / "A.WAV", np.zeros((10, 1)))
    write_all(tmp_path / "A.FLAC", np.zeros((10, 1)))
    assert [probe(tmp_path / name).format for name in ("A.WAV", "A.FLAC")] == ["WAV", "FLAC"]


@pytest.mark.parametrize("way", ["same name", "other spelling", "symbolic link", "hard link"])
def test_the_input_is_never_the_output(tmp_path: Path, way: str) -> None:
    source = make(tmp_path / "in.wav")
    (tmp_path / "sub").mkdir()
    (tmp_path / "soft.wav").symlink_to(source)
    (tmp_path / "hard.wav").hardlink_to(source)
    target = {
        "same name": source,
        "other spelling": tmp_path / "sub" / ".." / "in.wav",
        "symbolic link": tmp_path / "soft.wav",
        "hard link": tmp_path / "hard.wav",
    }[way]
    with pytest.raises(AudioFileError, match="is the file that is read") as caught:
        AudioWriter(target, RATE, 2, "PCM_24", 10, inputs=[tmp_path / "other.wav", source])
    assert_one_sentence(str(caught.value), target)


def test_same_file_of_files_yet_to_come(tmp_path: Path) -> None:
    assert same_file(tmp_path / "a.wav", tmp_path / "." / "a.wav")
    assert not same_file(tmp_path / "a.wav", tmp_path / "b.wav")
    assert not same_file(make(tmp_path / "a.wav"), make(tmp_path / "b.wav"))
