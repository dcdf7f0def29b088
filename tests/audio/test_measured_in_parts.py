"""A signal measured in parts, each by itself, reads as the whole does."""

import pickle

import numpy as np
import pytest
from scipy.signal import sosfilt

from auralize.audio.band_loudness import BandMeter
from auralize.audio.loudness import WARM_STEPS, LoudnessMeter, k_weighting, step_ends
from auralize.audio.metering import Meter

RATES = [8000, 11025, 44_100, 48_000]


def signal(rate, steps):
    """Noise of a level that changes, which two gates cut, with a click across a cut."""
    frames = int(step_ends(np.array(steps), rate)) + rate // 30
    samples = np.random.default_rng(4).normal(0.0, 0.05, (frames, 2))
    samples *= np.linspace(0.001, 1.0, frames)[:, None]
    at = int(step_ends(np.array(20), rate))
    samples[at - 2 : at + 2] = [[0.7], [0.9], [0.9], [0.7]] * np.array([1.0, -0.5])
    return samples


def in_parts(samples, rate, cuts):
    """The meter after all parts, each of its own samples alone."""
    total = Meter(rate, 2, BandMeter(rate, 2))
    stops = [*cuts[1:], None]
    for first, stop in zip(cuts, stops, strict=True):
        begins = max(0, first - WARM_STEPS)
        part = Meter(rate, 2, BandMeter(rate, 2, begins), begins)
        end = None if stop is None else int(step_ends(np.array(stop + 1), rate)) + rate // 20
        part.add(samples[int(step_ends(np.array(begins), rate)) : end])
        part.close(last=stop is None)
        total.append(part, first, stop)
    return total


@pytest.mark.parametrize("rate", RATES)
@pytest.mark.parametrize("cuts", [[0], [0, 20], [0, 7, 20, 21, 33]])
def test_level_and_bands_are_those_of_the_whole(rate, cuts):
    samples = signal(rate, 50)
    whole = Meter(rate, 2, BandMeter(rate, 2))
    whole.add(samples)
    total = in_parts(samples, rate, cuts)
    # Rounding of sums, and what the weighting remembers from before it was warm: under 1e-12.
    assert total.level.loudness == pytest.approx(whole.level.loudness, abs=1e-10)
    # Cut elsewhere into segments, in single precision.
    assert total.level.peak == pytest.approx(whole.level.peak, rel=1e-6)
    ours, its = total.loudness.energies, whole.loudness.energies
    assert ours.blocks.shape == its.blocks.shape
    assert np.allclose(ours.blocks, its.blocks, rtol=1e-9, atol=1e-15 * its.blocks.max())


@pytest.mark.parametrize("rate", RATES)
def test_what_is_shorter_than_a_block_is_that_of_the_whole_as_far_as_it_goes(rate):
    """In two parts; steps of 100 ms, of which the last is not full."""
    ends = step_ends(np.arange(4), rate)
    samples = np.random.default_rng(4).normal(0.0, 0.05, (ends[3] + rate // 30, 2))
    total = LoudnessMeter(rate, 2)
    for first, stop, end in ((0, 2, ends[3]), (2, None, len(samples))):
        part, whole = LoudnessMeter(rate, 2), LoudnessMeter(rate, 2)
        part.add(samples[:end])
        total.append(part, first, stop)
        whole.add(samples[: end if stop is None else ends[stop]])
        assert total.integrated == pytest.approx(whole.integrated, abs=1e-10)


@pytest.mark.parametrize("rate", [*RATES, 192_000])
def test_what_was_before_a_part_is_forgotten_as_far_as_stated(rate):
    """All of what may come through of full scale until then, of either sign: scipy's impulse response."""
    warm = int(step_ends(np.array(WARM_STEPS), rate))
    response = sosfilt(k_weighting(rate), np.eye(1, 2 * warm)[0])
    assert np.abs(response[warm:]).sum() < 1e-20


def test_the_edge_of_a_part_makes_no_peak():
    """A tone cut at its crest would overshoot if there were silence before it, or behind."""
    rate = 48_000
    tone = np.cos(2 * np.pi * 1000 / rate * np.arange(5 * rate))[:, None] * np.ones(2)
    tone[: rate // 20] *= np.linspace(0, 1, rate // 20)[:, None]
    tone[-rate // 2 :] *= np.linspace(1, 0, rate // 2)[:, None]
    assert in_parts(tone, rate, [0, WARM_STEPS + 1, 20, 30]).level.peak == pytest.approx(
        1.0, abs=1e-4
    )


@pytest.mark.parametrize("last", [False, True])
def test_a_part_that_is_sent_takes_no_buffers_with_it(last):
    part = Meter(48_000, 2)
    part.add(signal(48_000, 50))
    part.close(last=last)
    assert len(pickle.dumps(part)) < 2_000  # 50 numbers
