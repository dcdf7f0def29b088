"""Splines against SciPy's, and against polynomials, which they give back."""

import numpy as np
import pytest
from numpy.polynomial import Polynomial
from scipy.interpolate import CubicSpline, make_interp_spline

from auralize.circuit.spline import Spline


@pytest.mark.parametrize("degree", [3, 5])
@pytest.mark.parametrize("count", [1, 2, 3, 7, 40, 900])
def test_is_as_scipys(degree: int, count: int) -> None:
    generator = np.random.default_rng(count)
    x = np.cumsum(generator.uniform(0.3, 1.0, degree + count))
    values = generator.normal(size=(len(x), 2, 3))
    asked = generator.uniform(x[0] - 0.1, x[-1] + 0.1, (5, 1000))  # also a little outside
    found, right = Spline(x, values, degree)(asked), make_interp_spline(x, values, degree)(asked)
    assert found.shape == right.shape == (5, 1000, 2, 3)
    # Rounding, of which few points far from each other make more.
    assert np.abs(found - right).max() < 1e-12 * np.abs(right).max()


def test_complex_values_are_two_real_ones() -> None:
    x, asked = np.linspace(0.0, 3.0, 30) ** 2, np.linspace(0.0, 9.0, 500)
    spline = Spline(x, np.exp(1j * x), 3)
    right = CubicSpline(x, np.exp(1j * x), bc_type="not-a-knot")(asked)
    assert np.abs(spline(asked) - right).max() < 1e-14


@pytest.mark.parametrize("degree", [3, 5])
def test_a_polynomial_of_its_degree_comes_back(degree: int) -> None:
    right = Polynomial(np.random.default_rng(degree).normal(size=degree + 1))
    x, asked = np.geomspace(0.1, 2.0, 25), np.linspace(0.1, 2.0, 333)
    assert Spline(x, right(x), degree)(asked) == pytest.approx(right(asked), rel=1e-12, abs=1e-12)


def test_one_point_and_none() -> None:
    spline = Spline(np.arange(9.0), np.arange(9.0) ** 2, 3)
    assert float(spline(4.5)) == pytest.approx(20.25, rel=1e-14)
    assert spline(np.zeros(0)).shape == (0,)
