"""A source that does not stay what it was while it is rendered: refused, and nothing is written."""

import os
import re
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import soundfile as sf

from auralize.audio.reader import probe, read_blocks
from auralize.errors import AudioFileError
from auralize.renderer import take
from auralize.renderer.files import render
from auralize.rig.reading import load_rig

RIG = Path(__file__).parents[2] / "audio_demo" / "saltmarsh.toml"
RATE, FRAMES = 48_000, 48_000


def steady(path: Path, level: float, rate: int = RATE) -> None:
    sf.write(path, np.full((FRAMES, 2), level), rate, "PCM_24")


def replaced(path: Path) -> None:
    """Another file of the same size under the same name."""
    steady(path.with_name("other.wav"), 0.9)
    os.replace(path.with_name("other.wav"), path)


def rewritten(path: Path) -> None:
    """The same file with other samples, and the time of its content set back."""
    before = path.stat()
    steady(path, 0.9)
    os.utime(path, ns=(before.st_atime_ns, before.st_mtime_ns))


def of_another_rate(path: Path) -> None:
    steady(path, 0.1, rate=2 * RATE)


def cut(path: Path) -> None:
    os.truncate(path, path.stat().st_size // 2)


CHANGES = [replaced, rewritten, of_another_rate, cut]


@pytest.mark.parametrize("change", CHANGES, ids=lambda c: c.__name__)
@pytest.mark.parametrize("when", [0.25, 0.5, 0.75])
def test_a_source_that_changes_is_refused_and_nothing_is_written(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    change: Callable[[Path], None],
    when: float,
) -> None:
    """In the first pass, between the two, and in the second."""
    monkeypatch.setattr(take, "BLOCK", 4096)
    source, results = tmp_path / "tide.wav", tmp_path / "results"
    steady(source, 0.1)
    due = [change]

    def watched(share: float) -> None:
        if due and share >= when:
            due.pop()(source)

    with pytest.raises(AudioFileError, match=re.escape(str(source))) as caught:
        render(source, load_rig(RIG).pick(["reel"]), results, progress=watched)
    assert not due
    assert change is cut or "changed or replaced while it was read" in str(caught.value)
    assert not results.exists()


def test_what_was_probed_is_what_is_read(tmp_path: Path) -> None:
    path = tmp_path / "tide.wav"
    steady(path, 0.1)
    info = probe(path)
    assert sum(len(block) for block in read_blocks(info, 1000)) == FRAMES
    replaced(path)
    with pytest.raises(AudioFileError, match="changed or replaced"):
        next(read_blocks(info, 1000))
