"""Processor time of cases solved together, against figures and curves of each by itself, in one run.

    python tests/benchmarks/bench_sweep.py 20000

solves that many cases of the demonstration's reel (length, temperature, voice coil and amplifier within
tolerances, curves at 201 frequencies beside the 600 that figures are judged at), and now and then a few of
them one by one, and prints what each takes of a processor.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

import numpy as np

from auralize.figures.curves import curves
from auralize.figures.numbers import figures
from auralize.figures.reference import SWEEP
from auralize.rig.reading import load_rig
from auralize.rig.varied import tables_of
from auralize.sweep.asked import AskedSweep
from auralize.sweep.solving import CHUNK, solve_cases

RIG = Path(__file__).parents[2] / "audio_demo" / "saltmarsh.toml"
FREQUENCY = SWEEP[::3]
TOLERANCES = (
    "runs.pond.length = 62 m +- 5 m",
    "runs.pond.temperature = 0 degC to 45 degC",
    "loads.stage.Re = +- 10 % as 2 sigma",
    "amplifier.damping_factor = 50 to 400",
)
BY_ITSELF = 4
"""Cases of every chunk that are solved one by one."""


def measure(count: int) -> tuple[float, float]:
    """(s of a processor for all cases together, s for as many one by one)."""
    rig = load_rig(RIG)
    choice = rig["reel"]
    cases = AskedSweep(tolerances=TOLERANCES, draws=count).cases(rig, [choice])
    together = alone = 0.0
    singles = 0
    for first in range(0, count, CHUNK):
        last = min(first + CHUNK, count)
        begun = time.process_time()
        (found,) = solve_cases(rig, [choice], cases, first, last, FREQUENCY)
        together += time.process_time() - begun
        columns = cases.values(first, min(first + BY_ITSELF, last))
        for at, row in enumerate(zip(*columns.values(), strict=True)):
            begun = time.process_time()
            case = rig.changed(choice, {(): tables_of(dict(zip(columns, row, strict=True)))})
            right, _ = figures(case, ()), curves(case, frequency=FREQUENCY)
            alone += time.process_time() - begun
            singles += 1
            np.testing.assert_allclose(found.deviation_db[at], right.deviation_db, rtol=1e-9)
    return together, alone / singles * count


if __name__ == "__main__":
    asked = int(sys.argv[1]) if len(sys.argv) > 1 else 2000
    together, alone = measure(asked)
    print(f"{asked} cases: together {together:.1f} s, one by one {alone:.1f} s of a processor")
    print(f"{together / asked * 1e3:.2f} ms a case, {alone / together:.1f} times as fast")
