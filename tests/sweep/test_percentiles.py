"""Percentiles of cases, against their definition, counted."""

import numpy as np
import pytest

from auralize.sweep.percentiles import LEAST_TO_MOST, PERCENTS, percentiles


@pytest.mark.parametrize("cases", [1, 2, 19, 20, 21, 400])
def test_each_is_the_least_value_that_so_many_do_not_exceed(cases):
    values = np.random.default_rng(cases).normal(size=(cases, 3)).round(1)  # with ties
    found = percentiles(values)
    for percent, row in zip(PERCENTS, found, strict=True):
        for column, value in zip(values.T, row, strict=True):
            counted = [v for v in np.sort(column) if 100 * np.sum(column <= v) >= percent * cases]
            assert value == counted[0]


def test_steps_have_their_least_and_most():
    values = np.array([[3.0], [1.0], [-np.inf], [2.0]])
    assert percentiles(values, LEAST_TO_MOST).ravel().tolist() == [-np.inf, 1.0, 3.0]


def test_silence_is_a_level_like_any_other():
    values = np.array([[-np.inf]] * 3 + [[-1.0]] * 7)
    assert percentiles(values, [5, 30, 31, 95]).ravel().tolist() == [-np.inf, -np.inf, -1.0, -1.0]


def test_the_median_of_a_normal_distribution_is_its_mean():
    """The closed form: 5 % lie below the mean less 1.6449 standard deviations."""
    low, _, middle, _, high = percentiles(np.random.default_rng(1).normal(3.0, 0.5, 100_000))
    assert [low, middle, high] == pytest.approx([3.0 - 0.82243, 3.0, 3.0 + 0.82243], abs=0.01)
