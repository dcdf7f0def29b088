"""Sections as matrix products against scipy's loop over samples."""

import numpy as np
import pytest
from scipy import signal

from auralize.audio.loudness import LoudnessMeter, gated_power, k_weighting, lufs
from auralize.audio.recursion import GROUP, GROUPS, MOST, ROW, Recursion
from auralize.audio.true_peak import ALONE
from support.meters import fed, uneven

SECTIONS = {
    "K-weighting": k_weighting(48_000),
    "K-weighting at 192 kHz": k_weighting(192_000),
    "one section": signal.butter(2, 0.2, output="sos"),
    "five sections, ringing": signal.cheby1(10, 1, 0.3, output="sos"),
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
    # The state of a high-pass at 38 Hz holds up to 1e6 times what comes in, and so does its rounding.
    np.testing.assert_allclose(np.hstack(found), expected, rtol=0, atol=3e-9)


def test_single_precision_comes_in_as_it_is():
    samples = np.random.default_rng(3).standard_normal((2, 700)).astype(np.float32)
    found = Recursion(k_weighting(48_000), 2).run(samples)
    assert np.array_equal(found, Recursion(k_weighting(48_000), 2).run(samples.astype(float)))


@pytest.mark.parametrize("rate", [11_025, 48_000])
def test_loudness_is_that_of_scipys_filter_in_double_precision(rate):
    samples = uneven(6, rate)
    weighted = signal.sosfilt(k_weighting(rate), samples, axis=0)
    ends = np.arange(61) * rate // 10
    powers = [(weighted[a:b] ** 2).sum() / (b - a) for a, b in zip(ends, ends[4:], strict=False)]
    expected = lufs(gated_power(np.array(powers)))
    assert fed(LoudnessMeter(rate, 2), samples).integrated == pytest.approx(expected, abs=1e-8)


def test_products_wake_no_threads_of_the_library_that_forms_them():
    """Rows times what they go through times what comes out, of the largest."""
    order, channels = 4, 8
    group, groups = GROUP * order, GROUPS * order
    assert GROUPS * group * (group + order) <= ALONE
    assert channels * (groups + order) ** 2 <= ALONE
