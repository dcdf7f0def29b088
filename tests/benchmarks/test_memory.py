"""A render's memory does not grow with the length of the file (the long run: bench_against.py length)."""

import json
import subprocess
import sys
from pathlib import Path

import pytest

BENCH = Path(__file__).with_name("bench_against.py")


@pytest.mark.bench
@pytest.mark.skipif(
    sys.platform == "win32", reason="peak memory is read with `resource`, not on Windows"
)
def test_memory_is_flat_and_under_130_mb(tmp_path: Path):
    """From 45 s on: shorter sounds come without what SciPy's transforms take."""
    found = tmp_path / "found.json"
    options = ["--lengths", "0.75", "3", "--rounds", "1", "--noise", "--json", str(found)]
    subprocess.run([sys.executable, BENCH, "length", *options], check=True)
    short, long = (row["memory"] for row in json.loads(found.read_text())["rows"])
    assert long < 130
    assert long - short < 10
