"""Coils of thousands of turns: work grows about as the turns, not as their square, and memory is bounded.

    python tests/benchmarks/test_coils.py

prints the seconds that they take here; the aim is 1 s for 1 000 turns, 5 s for 10 000.
"""

from __future__ import annotations

import time
import tracemalloc
from collections.abc import Callable

import numpy as np
import pytest

from auralize.circuit.added_impedance import added_impedance, added_range
from auralize.circuit.coil import Winding
from auralize.circuit.iron import IronBar
from auralize.circuit.lays import Coiled, FigureOfEight, Lay, SplitCoils
from support.lays import FLAT

FREQUENCY = np.geomspace(20.0, 20e3, 50)
BAR = IronBar(0.02, 0.15, 6e6, 200.0)
MEMORY = 50e6  # bytes; 17e6 are used, and every turn with every other at each frequency is 800e6


def winding(turns: float) -> Winding:
    return Winding(1.6, turns, "loose")


SHAPES: dict[str, Callable[[float], Lay]] = {
    "aligned": lambda n: Coiled(winding(n), "aligned"),
    "edge to edge": lambda n: Coiled(winding(n), "edge to edge"),
    "random": lambda n: Coiled(winding(n)),
    "coaxial": lambda n: SplitCoils(winding(n), winding(n), 2.5, "coaxial", iron=BAR),
    "side by side": lambda n: SplitCoils(winding(n), winding(n), 2.5, "side by side", iron=BAR),
    "figures": lambda n: FigureOfEight(0.3, 0.25, 0.1 * n, "stacked"),
}


def seconds(lay: Lay) -> float:
    """Of the processor, the least of two; a length of its own each time, as results are kept."""
    taken = []
    for length in (1e5, 2e5):
        start = time.process_time()
        added_impedance(lay, FLAT, length, FREQUENCY)
        taken.append(time.process_time() - start)
    return min(taken)


@pytest.mark.bench
@pytest.mark.parametrize("shape", ["aligned", "coaxial", "figures"])  # each takes its own way
def test_time_grows_about_as_the_turns(shape: str) -> None:
    """Eight times the turns; all with all others would take 64 times as long. A busy machine was seen to
    make 16 of it, as what is larger loses more where others share the cache."""
    assert seconds(SHAPES[shape](2000)) <= 24.0 * seconds(SHAPES[shape](250))


@pytest.mark.bench
@pytest.mark.parametrize("shape", ["side by side", "random"])  # the most, and the other way
def test_memory_is_bounded(shape: str) -> None:
    """1 000 turns with the range of what is open."""
    tracemalloc.start()
    try:
        added_range(SHAPES[shape](1000), FLAT, 3e5, FREQUENCY)
        _, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert peak < MEMORY


if __name__ == "__main__":
    for name, make in SHAPES.items():
        for turns in (1000, 10_000):
            print(f"{name}, {turns} turns: {seconds(make(turns)):.1f} s")
