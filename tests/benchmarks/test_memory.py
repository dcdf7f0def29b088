"""A render's memory, of all its processes, does not grow with the length of the file (the long run:
bench_against.py length)."""

import sys
from pathlib import Path

import pytest
from bench_against import RIG, render
from processes import SUMS, run
from programmes import make_programme

told_by_linux = pytest.mark.skipif(not SUMS, reason="Linux alone tells what processes share")
FAMILY = """\
import mmap, os, time
held = mmap.mmap(-1, 40 << 20)  # in both, if a child touches it
for _ in range(40):
    held.write(b"1" * (1 << 20))
if os.fork() == 0:
    own = b"1" * (30 << 20)
    held[::4096]
    time.sleep(0.5)
    os._exit(0)
os.wait()
"""


@told_by_linux
def test_memory_is_that_of_all_processes_and_what_they_share_counts_once():
    """40 MB in common and 30 MB of the child's own; a second interpreter has a few beside."""
    bare = run([sys.executable, "-c", "import mmap, os, time; time.sleep(0.2)"], looked_at=True)
    found = run([sys.executable, "-c", FAMILY], looked_at=True)
    assert 70 <= found.memory - bare.memory < 85


@pytest.mark.bench
@told_by_linux
def test_memory_of_a_render_is_flat_and_under_130_mb(tmp_path: Path):
    """From 2 min on: of less, not every process has had several stretches, and what they leave behind."""
    short, long = (rendered(minutes, tmp_path) for minutes in (2.0, 4.0))
    assert long < 130
    assert long - short < 10


def rendered(minutes: float, folder: Path) -> float:
    """MB that a render of one output takes."""
    source, into = folder / f"{minutes:g}.wav", folder / f"of-{minutes:g}"
    make_programme(source, minutes)
    into.mkdir()
    command = render(RIG, source, into, "--choice", "reel", "--signals", "receiving")
    return run(command, looked_at=True).memory
