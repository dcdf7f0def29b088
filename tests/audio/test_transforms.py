"""Fourier transforms, against `scipy.fft`: the same bits."""

import sys
from importlib.machinery import PathFinder

import numpy as np
import pytest
from scipy import fft

from auralize.audio import transforms


@pytest.mark.parametrize("kind", [np.complex64, np.complex128])
@pytest.mark.parametrize("shape", [(8192,), (3, 2, 1024), (2, 1)])
@pytest.mark.parametrize("imported", [False, True])
def test_the_same_bits_as_scipy_has(monkeypatch, kind, shape, imported):
    """By the module alone, and as SciPy imports it where it is not in its place."""
    if imported:
        monkeypatch.setattr(PathFinder, "find_spec", lambda *_: None)
        monkeypatch.delitem(sys.modules, ".".join(transforms._PLACE), raising=False)
        monkeypatch.setattr(transforms, "_alone", transforms._compiled())
        assert transforms._alone is None
    rng = np.random.default_rng(3)
    x = (rng.normal(size=shape) + 1j * rng.normal(size=shape)).astype(kind)
    found = transforms.fft(x)
    assert found.dtype == kind
    assert np.array_equal(found, fft.fft(x))
    back = transforms.ifft(found)
    assert np.array_equal(back, fft.ifft(fft.fft(x)))
    assert np.abs(back - x).max() < 1e3 * np.finfo(kind).eps
