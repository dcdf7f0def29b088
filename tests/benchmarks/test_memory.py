"""A render's memory does not grow with the length of the file (the long run: bench_render.py 60)."""

import sys

import pytest
from bench_render import measure


@pytest.mark.bench
@pytest.mark.skipif(
    sys.platform == "win32", reason="peak memory is read with `resource`, not on Windows"
)
def test_memory_is_flat_and_under_150_mb():
    _, _, short = measure(0.25)
    _, _, long = measure(1.0)
    assert long < 150
    assert long - short < 10
