"""What is named after `auralize bench`: sound files, test signals, both, or nothing to play."""

import numpy as np
import pytest
import soundfile as sf

from auralize.commands.bench import programmes_of
from auralize.commands.parser import parser
from auralize.errors import AudioFileError, RequestError


@pytest.fixture
def bells(tmp_path):
    path = tmp_path / "bells.wav"
    sf.write(path, np.zeros((100, 2)), 48_000)
    return path


def test_files_come_first_and_signals_in_the_order_they_are_written(bells):
    found = programmes_of([bells, bells], ["pink", "sine 1 kHz -30 dBFS"])
    assert [feed.name for feed in found] == [
        "bells.wav",
        "bells.wav",
        "pink noise, -20 dBFS rms",
        "sine 1 kHz, -30 dBFS rms",
    ]


def test_a_signal_alone_is_enough():
    (pink,) = programmes_of([], ["pink"])
    assert (pink.channels, pink.rate) == (1, 48_000)


def test_nothing_to_play_is_told():
    with pytest.raises(RequestError, match="nothing to play; name a sound file, or a test signal"):
        programmes_of([], [])


def test_what_cannot_be_played_is_refused_before_the_bench_opens(bells, tmp_path):
    with pytest.raises(RequestError, match="'purple' is no test signal"):
        programmes_of([bells], ["purple"])
    with pytest.raises(AudioFileError, match=r"gulls\.wav"):
        programmes_of([bells, tmp_path / "gulls.wav"], ["pink"])


def test_files_and_signals_are_told_apart_on_the_command_line(bells):
    given = ["bench", "mill.toml", str(bells), "--signal", "pink", "--signal", "sweep 5 s"]
    arguments = parser().parse_args(given)
    assert arguments.sounds == [bells]
    assert arguments.signal == ["pink", "sweep 5 s"]
    assert parser().parse_args(["bench", "mill.toml", "--signal", "pink"]).sounds == []
