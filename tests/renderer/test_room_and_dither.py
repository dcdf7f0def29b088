"""Before anything is measured: room on the disk and among open files. And the noise that results carry."""

import os
import resource
import shutil
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import soundfile as sf

from auralize.errors import AudioFileError
from auralize.renderer import written
from auralize.renderer.files import render
from auralize.renderer.options import RenderOptions
from auralize.rig.reading import load_rig
from support.sound_files import assert_one_sentence

RIG = Path(__file__).parents[2] / "audio_demo" / "saltmarsh.toml"
RATE, FRAMES = 48_000, 24_000
ALL = ("receiving", "drop", "sending")


def steady(path: Path, level: float = 0.1, subtype: str = "PCM_24") -> Path:
    sf.write(path, np.full((FRAMES, 2), level), RATE, subtype)
    return path


def not_measured(*_: object) -> None:
    raise AssertionError("it was measured")


def test_room_for_the_whole_set_is_looked_for_before_measuring(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Six files of 2 channels of 3 bytes are 864000 bytes; there is room for five of them."""
    source = steady(tmp_path / "tide.wav")
    sound = FRAMES * 2 * 3
    free = shutil._ntuple_diskusage(0, 0, 6 * sound - 1)
    monkeypatch.setattr(shutil, "disk_usage", lambda _: free)
    monkeypatch.setattr(written, "Passage", not_measured)
    choices = load_rig(RIG).pick(["reel", "bought"])
    with pytest.raises(
        AudioFileError, match=r"and 5 more .* need 0\.9 MB .* has 0\.9 MB"
    ) as caught:
        render(source, choices, tmp_path / "results", RenderOptions(signals=ALL))
    assert_one_sentence(str(caught.value), tmp_path / "results")
    assert not (tmp_path / "results").exists()


def test_room_for_just_the_whole_set_is_enough(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    source = steady(tmp_path / "tide.wav")
    free = shutil._ntuple_diskusage(0, 0, 6 * FRAMES * 2 * 3)
    monkeypatch.setattr(shutil, "disk_usage", lambda _: free)
    choices = load_rig(RIG).pick(["reel", "bought"])
    assert len(render(source, choices, tmp_path, RenderOptions(signals=ALL)).outputs) == 6


@pytest.fixture
def few_files(tmp_path: Path) -> Iterator[None]:
    """As many as are open here and now, and eight more."""
    limit = resource.getrlimit(resource.RLIMIT_NOFILE)
    few = (
        len(os.listdir("/dev/fd")) + 8
    )  # not the highest number: a shell may have left one of those
    resource.setrlimit(resource.RLIMIT_NOFILE, (few, limit[1]))
    yield
    resource.setrlimit(resource.RLIMIT_NOFILE, limit)


@pytest.mark.usefixtures("few_files")
def test_more_results_than_files_may_be_open_are_refused_before_measuring(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    source = steady(tmp_path / "tide.wav")
    monkeypatch.setattr(written, "Passage", not_measured)
    with pytest.raises(AudioFileError, match=r"^2 results .* lets a program open \d+ files in all"):
        render(source, load_rig(RIG).pick(["reel"]), tmp_path / "results")
    assert not (tmp_path / "results").exists()


def noise_of(path: Path) -> np.ndarray:
    """What 16 bit and dither make of a steady level, in steps, less its mean."""
    steps = sf.read(path, dtype="int16", always_2d=True)[0][8_000:20_000].astype(float)
    return np.ravel(steps - steps.mean())


def test_the_dither_of_each_result_is_its_own(tmp_path: Path) -> None:
    """Independent noises of n samples correlate by 1/sqrt(n); five times that is allowed."""
    source = steady(tmp_path / "tide.wav", subtype="PCM_16")
    choices = load_rig(RIG).pick(["reel", "bought"])
    done = render(source, choices, tmp_path, RenderOptions(signals=ALL))
    noises = [noise_of(output.path) for output in done.outputs]
    assert all(noise.std() > 0.4 for noise in noises)
    among = np.corrcoef(noises) - np.eye(len(noises))
    assert np.abs(among).max() < 5 / np.sqrt(len(noises[0]))


def test_the_same_render_twice_is_the_same_bytes(tmp_path: Path) -> None:
    source = steady(tmp_path / "tide.wav", subtype="PCM_16")
    choices = load_rig(RIG).pick(["reel"])
    first, second = (render(source, choices, tmp_path / name) for name in "ab")
    for a, b in zip(first.outputs, second.outputs, strict=True):
        assert a.path.read_bytes() == b.path.read_bytes()


@pytest.mark.parametrize("level", [1e200, -1e16, 1e15])
def test_samples_beyond_all_sound_are_refused_or_rendered(tmp_path: Path, level: float) -> None:
    """Warnings are errors here: nothing overflows on the way."""
    source = steady(tmp_path / "tide.wav", level, "DOUBLE")
    choices = load_rig(RIG).pick(["reel"])
    if abs(level) <= 1e15:
        done = render(source, choices, tmp_path / "results")
        assert all(np.isfinite([o.loudness, o.true_peak]).all() for o in done.outputs)
        assert done.source_true_peak > 299
        return
    with pytest.raises(AudioFileError, match=r"holds a sample of -?1e\+\d+ at 0:00\.000") as caught:
        render(source, choices, tmp_path / "results")
    assert_one_sentence(str(caught.value), source)
    assert not (tmp_path / "results").exists()
