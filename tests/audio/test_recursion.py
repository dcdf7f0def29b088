"""Sections as matrix products against scipy's loop over samples."""

import numpy as np
import pytest
from scipy import signal

from auralize.audio.loudness import MOST_IN_SUM, LoudnessMeter, gated_power, k_weighting, lufs
from auralize.audio.recursion import ALONE, GROUP, GROUPS, MOST, ROW, Recursion
from support.meters import fed, uneven

SECTIONS = {
    "K-weighting": k_weighting(48_000),
    "K-weighting at 192 kHz": k_weighting(192_000),
    "one section": signal.butter(2, 0.2, "highpass", output="sos"),
    "five sections, ringing": signal.cheby1(10, 1, 0.3, "highpass", output="sos"),
}


@pytest.mark.parametrize("sections", SECTIONS.values(), ids=SECTIONS)
@pytest.mark.parametrize("channels", [1, 3])
def test_it_filters_as_scipy_does_however_the_stream_is_cut(sections, channels):
    samples = np.random.default_rng(3).standard_normal((channels, 3 * MOST))
    ours = Recursion(sections, channels)
    sizes = [MOST, 1, ROW - 1, ROW, 2 * ROW + 5, 512, 513, MOST - 7, 3]
    ends = np.cumsum(sizes)
    found = [ours.run(samples[:, end - n : end]) for n, end in zip(sizes, ends, strict=True)]
    expected = signal.sosfilt(sections, samples[:, : ends[-1]], axis=1)
    # At 192 kHz 8e-10, which comes of the high-pass at 38 Hz: its poles lie within 1e-3 of 1.
    np.testing.assert_allclose(np.hstack(found), expected, rtol=0, atol=3e-9)


@pytest.mark.parametrize("offset", [0.0, 1000.0])
def test_single_precision_stays_single_and_is_not_lost_to_an_offset(offset):
    samples = np.random.default_rng(3).standard_normal((2, 700)) + offset
    ours, single = Recursion(k_weighting(48_000), 2), samples.astype(np.float32)
    ours.run(np.full((2, MOST), offset))
    expected = signal.sosfilt(k_weighting(48_000), single.astype(float) - offset, axis=1)
    found = ours.run(single)
    assert found.dtype == np.float32
    # Some 60 products to a sum, of up to 5 each: a few times their rounding of 6e-8.
    np.testing.assert_allclose(found, expected, rtol=0, atol=3e-6)


@pytest.mark.parametrize("through", [1.0, -1.0, 1e-6])
def test_sections_that_let_a_constant_through_are_refused(through):
    """A difference and a little more."""
    sections = np.array([[1.0, through - 1.0, 0.0, 1.0, 0.0, 0.0]])
    with pytest.raises(ValueError, match=rf"let a constant through \({through:g}\); none may come"):
        Recursion(sections, 1)


@pytest.mark.parametrize("behind", [[1.0, -0.5, 0.0], [0.0, 0.0, 0.0]])
def test_a_state_that_is_not_heard_spoils_nothing(behind):
    """Behind its pole there is a zero, or nothing at all."""
    sections = np.array([[1.0, -1.0, 0.0, 1.0, -0.5, 0.0], [*behind, 1.0, -0.2, 0.0]])
    samples = np.random.default_rng(3).standard_normal((2, 3000))
    for kind, accuracy in ((np.float64, 1e-12), (np.float32, 3e-6)):
        found = Recursion(sections, 2).run(samples.astype(kind))
        expected = signal.sosfilt(sections, samples.astype(kind).astype(float), axis=1)
        np.testing.assert_allclose(found, expected, rtol=0, atol=accuracy)


@pytest.mark.parametrize("rate", [8000, 48_000, 192_000])
@pytest.mark.parametrize("kind", ["noise", "bursts", 20, 1000, 3900])
def test_single_precision_reads_as_double_does_beside_an_offset(rate, kind):
    """Against scipy's filter, which is in double precision, of the same samples.

    The offset fades in before the programme begins, under the absolute gate.
    """
    time = np.arange(3 * rate) / rate
    noise = np.random.default_rng(5).standard_normal(len(time))
    named = {"noise": noise, "bursts": noise * (time % 0.1 < 0.02)}
    wave = named[kind] if kind in named else np.sin(2 * np.pi * kind * time)
    fade = np.sin(np.pi / 2 * np.minimum(time / 1.5, 1.0)) ** 2
    for level, offset in [(-69.0, 0.5), (-69.0, -0.371), (-23.0, 0.1), (0.0, 0.0)]:
        gain = 10 ** ((level - read_by_scipy(wave, rate)) / 20)
        samples = gain * wave * (time > 1.5) + offset * fade
        samples = samples.astype(np.float32)[:, None]
        expected = read_by_scipy(samples.astype(float), rate)
        assert expected == pytest.approx(level, abs=0.7)  # what the first blocks are short of
        found = fed(LoudnessMeter(rate, 1), samples, 10_700).integrated
        assert found == pytest.approx(expected, abs=1e-4)


@pytest.mark.parametrize("rate", [11_025, 48_000])
def test_loudness_is_that_of_scipys_filter_in_double_precision(rate):
    samples = uneven(6, rate)
    expected = read_by_scipy(samples, rate)
    assert fed(LoudnessMeter(rate, 2), samples).integrated == pytest.approx(expected, abs=1e-8)
    single = samples.astype(np.float32)
    # Rounding of the samples themselves, and of sums of squares: 1e-6 of the power.
    assert fed(LoudnessMeter(rate, 2), single).integrated == pytest.approx(expected, abs=1e-5)


@pytest.mark.parametrize("frames", [1, 1000, 19_199])
def test_what_is_shorter_than_a_block_is_measured_as_a_whole(frames):
    samples = uneven(1, 48_000)[-frames:]
    power = (signal.sosfilt(k_weighting(48_000), samples, axis=0) ** 2).sum() / frames
    assert fed(LoudnessMeter(48_000, 2), samples).integrated == pytest.approx(lufs(power), abs=1e-8)


def read_by_scipy(samples, rate):
    weighted = signal.sosfilt(k_weighting(rate), samples, axis=0)
    ends = np.arange(len(samples) * 10 // rate + 1) * rate // 10
    powers = [(weighted[a:b] ** 2).sum() / (b - a) for a, b in zip(ends, ends[4:], strict=False)]
    return lufs(gated_power(np.array(powers)))


def test_products_wake_no_threads_of_the_library_that_forms_them():
    """Rows times what they go through times what comes out, of the largest."""
    order, channels = 4, 8
    group, groups = GROUP * order, GROUPS * order
    assert GROUPS * GROUP * ROW * order <= ALONE
    assert GROUPS * group * (group + order) <= ALONE
    assert GROUP * (ROW + order) * ROW <= ALONE
    assert channels * (groups + order) ** 2 <= ALONE
    assert MOST_IN_SUM <= 10_000  # of a sum of squares, measured
