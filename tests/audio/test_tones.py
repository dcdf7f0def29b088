"""Tones against their closed forms: level, phase, instantaneous frequency, edges; read in any pieces."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.signal import hilbert

from auralize.audio.noise import CENTRES
from auralize.audio.stimulus import Noise, Sine, Steps, Sweep
from auralize.audio.tones import EDGE, sine, steps, sweep

RATE = 48_000


def test_a_sine_has_an_rms_of_1_and_its_phase_is_exact_after_a_week():
    """At 440 Hz all is the same again after 0.1 s, however often that has passed."""
    edge = round(EDGE * RATE)
    first = sine(440.0, RATE, 4800, 4800)
    assert edge < 4800
    assert np.sqrt(np.mean(first**2)) == pytest.approx(1.0, rel=1e-12)
    assert first.max() == pytest.approx(np.sqrt(2.0), rel=1e-3)
    week = 7 * 24 * 3600 * RATE
    assert np.array_equal(sine(440.0, RATE, week, 4800), first)


def test_a_sine_is_the_sine():
    at = np.arange(1000, 2000)
    expected = np.sqrt(2) * np.sin(2 * np.pi * 1234.5 * at / RATE)
    assert sine(1234.5, RATE, 1000, 1000)[:, 0] == pytest.approx(expected, abs=1e-11)


@pytest.mark.parametrize(("first", "last"), [(20.0, 20e3), (5e3, 50.0)])
def test_a_sweep_has_at_each_moment_the_frequency_that_it_should(first, last):
    """Another method: the analytic signal's phase, differentiated; apart from its ends by 0.5 s."""
    seconds = 4.0
    samples = sweep(first, last, seconds, RATE, 0, round(seconds * RATE))[:, 0]
    phase = np.unwrap(np.angle(hilbert(samples)))
    found = np.diff(phase) * RATE / (2 * np.pi)
    at = (np.arange(len(found)) + 0.5) / RATE
    expected = first * (last / first) ** (at / seconds)
    # What the ends of the sweep leave in the analytic signal is a ripple: mean values over 10 ms.
    ten = np.ones(480) / 480
    found, expected, at = (np.convolve(x, ten, "valid")[::240] for x in (found, expected, at))
    inside = (at > 0.5) & (at < seconds - 0.5)
    assert found[inside & (expected > 100.0)] == pytest.approx(
        expected[inside & (expected > 100.0)], rel=1e-3
    )


def test_a_sweep_comes_from_silence_and_goes_into_it():
    frames = 2 * RATE
    samples = sweep(20.0, 20e3, 2.0, RATE, 0, frames + 100)[:, 0]
    assert samples[0] == 0.0
    assert samples[frames - 1] == 0.0
    assert not samples[frames:].any()
    middle = samples[RATE // 2 : -RATE // 2]
    assert np.sqrt(np.mean(middle**2)) == pytest.approx(1.0, abs=0.001)


def test_steps_are_tones_one_after_another_without_a_click():
    """The only place where they join is silence, and no step from sample to sample passes a tone's own."""
    frequencies = tuple(float(c) for c in CENTRES[10:20])
    each = RATE // 2
    samples = steps(frequencies, 0.5, RATE, 0, each * 10)[:, 0]
    for number, hertz in enumerate(frequencies):
        part = samples[number * each : (number + 1) * each]
        assert part[0] == part[-1] == 0.0
        steepest = np.sqrt(2) * 2 * np.pi * hertz / RATE
        assert np.abs(np.diff(part)).max() < steepest * 1.1
        steady = part[1000:-1000]
        spectrum = np.abs(np.fft.rfft(steady * np.hanning(len(steady))))
        peak = np.argmax(spectrum) * RATE / len(steady)
        assert peak == pytest.approx(hertz, abs=RATE / len(steady))
        assert np.sqrt(np.mean(steady**2)) == pytest.approx(1.0, rel=0.01)


SIGNALS = [
    Noise("pink"),
    Noise("white", -30.0),
    Noise("programme"),
    Sine(997.0),
    Sweep(seconds=0.5),
    Sweep(8e3, 40.0, 0.3),
    Steps(0.1),
]


@pytest.mark.parametrize("stimulus", SIGNALS, ids=lambda s: s.words)
@given(
    start=st.integers(0, 1 << 21),
    counts=st.lists(st.integers(1, 3000), min_size=1, max_size=6),
)
@settings(max_examples=25, deadline=None)
def test_any_pieces_are_the_same_samples(stimulus, start, counts):
    rate = 8_000 if isinstance(stimulus, Noise) else 48_000
    whole = stimulus.read(rate, start, sum(counts))
    assert whole.shape == (sum(counts), 1)
    at = start
    for count in counts:
        piece = stimulus.read(rate, at, count)
        assert np.array_equal(piece, whole[at - start : at - start + count])
        at += count
