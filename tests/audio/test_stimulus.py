"""Test signals as they are written, how loud they are, and what is refused."""

import numpy as np
import pytest

from auralize.audio.stimulus import ABOUT_TWEETERS, Noise, Sine, Steps, Sweep
from auralize.audio.stimulus_text import parse_stimulus
from auralize.errors import RequestError

RATE = 48_000
WRITTEN = {
    "pink": Noise("pink", -20.0),
    "white noise, -30 dBFS": Noise("white", -30.0),
    "programme -23 dBFS rms": Noise("programme", -23.0),
    "sine 1 kHz": Sine(1000.0, -20.0),
    "sine 1kHz -40dBFS": Sine(1000.0, -40.0),
    "Sine 31.5 Hz at -6 dB": Sine(31.5, -6.0),
    "sine 440 hz \u221210 dBFS": Sine(440.0, -10.0),
    "sweep": Sweep(20.0, 20e3, 10.0, -20.0),
    "sweep 20 Hz to 20 kHz 10 s": Sweep(20.0, 20e3, 10.0, -20.0),
    "sweep from 8 kHz to 100 Hz in 500 ms, -30 dBFS": Sweep(8000.0, 100.0, 0.5, -30.0),
    "steps 2 s -26 dBFS": Steps(2.0, -26.0),
    "steps of 1 s each": Steps(1.0, -20.0),
}


@pytest.mark.parametrize("text", WRITTEN)
def test_a_signal_is_what_is_written(text):
    assert parse_stimulus(text) == WRITTEN[text]


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "is no test signal"),
        ("purple", "is no test signal"),
        ("bells.wav", "is no test signal"),
        ("sine", "too many quantities or too few"),
        ("sine 1 kHz 2 kHz", "too many quantities or too few"),
        ("sine 1 kHz 3 s", "too many quantities or too few"),
        ("pink 1 kHz", "too many quantities or too few"),
        ("pink -20 dB -30 dB", "too many quantities or too few"),
        ("sine 440", "is no test signal"),
        ("pink -10 dBFS", r"right is -100 to -16, so that peaks stay below full scale"),
        ("sine 1 kHz -2 dBFS", r"right is -100 to -3\.1"),
        ("sine 1 kHz -200 dBFS", r"right is -100 to"),
        ("sine 5 Hz", "right is 20 Hz to 20 kHz"),
        ("sine 96 kHz", "right is 20 Hz to 20 kHz"),
        ("sweep 1 kHz to 1 kHz 2 s", "one frequency to another"),
        ("sweep 20 Hz to 20 kHz 0 s", "right is 0.1 s to 3600 s"),
        ("steps 1e9 s", "is no test signal"),
        ("sine " + "9" * 5000, "is no test signal"),
    ],
)
def test_what_cannot_be_is_refused_in_one_sentence(text, told):
    with pytest.raises(RequestError, match=told) as refused:
        parse_stimulus(text)
    assert "\n" not in str(refused.value)


@pytest.mark.parametrize(
    "stimulus",
    [Noise("pink", -23.0), Noise("white", -23.0), Noise("programme", -23.0), Sine(997.0, -23.0)],
)
def test_the_level_is_the_rms_that_is_stated(stimulus):
    """Over the stretch that stands for the whole; a sine's first 10 ms come up from silence."""
    samples = stimulus.read(RATE, RATE, stimulus.stretch(RATE))
    assert 10 * np.log10(np.mean(samples**2)) == pytest.approx(-23.0, abs=0.01)
    assert np.abs(samples).max() < 1.0
    assert stimulus.frames(RATE) is None


@pytest.mark.parametrize("level", [-20.0, -3.1])
def test_a_sine_peaks_3_db_above_its_rms(level):
    samples = Sine(1000.0, level).read(RATE, RATE, RATE)
    assert 20 * np.log10(np.abs(samples).max()) == pytest.approx(level + 3.01, abs=0.01)


def test_the_loudest_noise_that_is_allowed_stays_below_full_scale():
    for shape in ("white", "pink", "programme"):
        stimulus = Noise(shape, -16.0)
        for rate in (8_000, 44_100, 48_000):
            assert np.abs(stimulus.read(rate, 0, stimulus.stretch(rate))).max() < 1.0


def test_what_gets_high_says_what_to_mind():
    assert Sine(8000.0).caution == Sweep().caution == Steps().caution == ABOUT_TWEETERS
    assert "treble" in Noise("white").caution
    for harmless in (Sine(1000.0), Noise("pink"), Noise("programme"), Sweep(20.0, 200.0)):
        assert harmless.caution == ""


def test_words_say_all_that_it_is():
    assert Sine(1000.0).words == "sine 1 kHz, -20 dBFS rms"
    assert Sweep(20.0, 20e3, 0.5, -30.5).words == "sweep 20 Hz to 20 kHz in 0.5 s, -30.5 dBFS rms"
    assert Noise("programme").words == "programme noise (IEC 60268-1), -20 dBFS rms"


def test_steps_end_with_the_last_third_octave_that_the_rate_carries():
    assert Steps(1.0).frames(48_000) == 31 * 48_000
    assert (
        Steps(1.0).frames(16_000) == 27 * 16_000
    )  # the exact centre of 8 kHz, 7943 Hz, is the last
