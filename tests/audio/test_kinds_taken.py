"""Of every kind of sound file there is: whole it is read or refused, cut short it is refused."""

from pathlib import Path

import numpy as np
import pytest
import soundfile as sf

from auralize.audio.reader import CHECKED_FORMATS, probe, read_blocks
from auralize.errors import AudioFileError
from support.sound_files import assert_one_sentence

FRAMES = 20_000
SAMPLES = np.random.default_rng(1).standard_normal((FRAMES, 2)) / 9
KINDS = sorted(set(sf.available_formats()) - {"RAW"})


def written(path: Path, kind: str, subtype: str) -> bytes | None:
    """As libsndfile writes it, in two channels or one; None where it cannot."""
    for channels in (2, 1):
        for rate in (44_100, 8_000):
            try:
                sf.write(str(path), SAMPLES[:, :channels], rate, subtype, format=kind)
            except (sf.LibsndfileError, ValueError):
                continue
            return path.read_bytes()
    return None


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("keep", [0.3, 0.6, 0.98])
def test_a_file_cut_short_is_refused_whatever_its_kind(
    tmp_path: Path, kind: str, keep: float
) -> None:
    tried = 0
    for subtype in sf.available_subtypes(kind):
        path = tmp_path / f"{subtype}.sound"
        data = written(path, kind, subtype)
        if data is None:
            continue
        path.write_bytes(data[: int(len(data) * keep)])
        with pytest.raises(AudioFileError) as caught:
            sum(len(block) for block in read_blocks(path, 5000))
        assert_one_sentence(str(caught.value), path)
        tried += 1
    assert tried or kind == "HTK"


@pytest.mark.parametrize("kind", sorted(set(KINDS) - set(CHECKED_FORMATS) - {"SD2"}))
def test_a_kind_that_cannot_be_checked_is_refused_whole(tmp_path: Path, kind: str) -> None:
    path = tmp_path / "a.sound"
    made = [subtype for subtype in sf.available_subtypes(kind) if written(path, kind, subtype)]
    if not made:
        pytest.skip(f"libsndfile writes no {kind} of this shape")
    with pytest.raises(AudioFileError, match="convert it to WAV or FLAC") as caught:
        probe(path)
    assert_one_sentence(str(caught.value), path)
