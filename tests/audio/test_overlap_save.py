"""Segments of a sound that is there as a whole, against numpy.convolve in double precision."""

import numpy as np
import pytest

from auralize.audio.overlap_save import OverlapSave

DOUBLE = 1e-12
"""Relative to the highest. Double precision has 1.1e-16; transforms of 2**13 points add a few bits."""
SINGLE = 2e-6
"""Likewise: 6e-8, and a few bits."""


def noise(*shape, seed=1):
    return np.random.default_rng(seed).standard_normal(shape)


def direct(signal, taps, delay, frames):
    padded = np.concatenate([signal, np.zeros((frames + delay, signal.shape[1]))])
    late = [np.convolve(lane, taps)[delay : delay + frames] for lane in padded.T]
    return np.stack(late, axis=1)


def made(cut, signal, taps, delay, frames, kind, blocks):
    windows = cut.windows(iter(np.array_split(signal, blocks)), cut.before(delay), frames, kind)
    response = cut.response(taps).astype(kind)
    got = []
    for window in windows:
        dry = cut.unfiltered(window, delay)
        wet = 0.0 * dry
        cut.add(cut.spectra(window), response, wet)
        got.append((wet, dry))
    wet, dry = (np.concatenate(parts)[:frames] for parts in zip(*got, strict=True))
    return wet, dry


@pytest.mark.parametrize("channels", range(1, 6))
@pytest.mark.parametrize(("kind", "error"), [(np.complex128, DOUBLE), (np.complex64, SINGLE)])
def test_against_convolution_as_it_is_defined(channels, kind, error):
    signal, taps, delay = noise(90_000, channels), noise(300, seed=2), 40
    cut = OverlapSave(len(taps), channels)
    frames = len(signal) + 1000
    wet, dry = made(cut, signal, taps, delay, frames, kind, 7)
    wanted = direct(signal, taps, delay, frames)
    assert wet.dtype == kind(0).real.dtype
    assert np.abs(wet - wanted).max() <= error * np.abs(wanted).max()
    assert np.array_equal(dry[: len(signal)], signal.astype(wet.dtype))
    assert not dry[len(signal) :].any()


@pytest.mark.parametrize("frames", [1, 2, 8000, 300_000])
def test_the_same_bits_whatever_the_blocks(frames):
    signal, taps = noise(frames, 2), noise(500, seed=2)
    cut = OverlapSave(len(taps), 2)
    whole, _ = made(cut, signal, taps, 100, frames, np.complex64, 1)
    for blocks in (2, 13, min(frames, 999)):
        assert np.array_equal(made(cut, signal, taps, 100, frames, np.complex64, blocks)[0], whole)


def test_long_impulse_responses_have_their_room():
    """As those of a driver that rings on below 20 Hz, at a high sample rate."""
    cut = OverlapSave(500_000, 1)
    assert cut.frames >= 500_000
    assert cut.size <= 4 * 500_000


@pytest.mark.parametrize("frames", [1, 100_000])
def test_a_batch_is_no_longer_than_it_must_be_and_there_are_no_more_than_needed(frames):
    cut = OverlapSave(300, 2).shortest(frames)
    assert frames <= cut.frames < frames + cut.size - 299
    for batches in (1, 3):
        wanted = batches * cut.frames
        assert len(list(cut.windows([noise(9, 2)], 0, wanted, np.complex64))) == batches


def test_the_loudest_segment_is_told_by_both_channels_of_a_pair():
    cut = OverlapSave(100, 3)
    steady = np.full((20_000, 3), [0.3, 0.4, 0.2])
    (window, *_) = cut.windows([steady], cut.before(0), 10, np.complex64)
    assert cut.rms(window) == pytest.approx(0.5, rel=1e-4)


def test_what_is_denormal_in_single_precision_alone_becomes_silence():
    """As the end of a fade in a file of floats: a processor works with it many times as slowly."""
    cut = OverlapSave(100, 3)
    (window, *_) = cut.windows([np.full((9000, 3), 1e-40)], cut.before(0), 10, np.complex64)
    assert not window.any()
    (window, *_) = cut.windows([np.full((9000, 3), 1e-40)], cut.before(0), 10, np.complex128)
    assert np.count_nonzero(window) > 9000
