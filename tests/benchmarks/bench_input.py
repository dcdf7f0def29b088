"""A live input for minutes on a real sound server: gaps, latency as said and as it is, samples that differ.

    python tests/benchmarks/bench_input.py [SECONDS] [source|receiving]

One sink of four channels: a program plays into two of them, the bench takes these as its input and plays
into the others, and one recording of all four has both in one time. 300 s unless said otherwise.
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from auralize.renderer.arrays import render
from auralize.rig.reading import load_rig
from support.input_run import InputBench
from support.live_session import RIG
from support.sound_server import RATE, SoundServer

MOST_LATENCY = RATE
"""Frames: one second."""


def main() -> None:
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 300.0
    signal = sys.argv[2] if len(sys.argv) > 2 else "source"
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "server").mkdir()
        with (
            SoundServer(folder / "server", desk=True) as server,
            InputBench(folder, server, "default", seconds + 60.0, wide=True) as bench,
        ):
            bench.let_through()
            bench.do(f"hear {signal}")
            time.sleep(4.0)
            before = bench.said[-1]
            time.sleep(seconds)
            after = bench.said[-1]
            bench.stop()
        came_in, out = bench.came_in.astype(np.float64), bench.came_out
    report(bench, before, after)
    if signal == "receiving":
        came_in = render(came_in, RATE, load_rig(RIG).choices["reel"], signal)
    compare(came_in, out, round(seconds * RATE))


def report(bench: InputBench, before: dict, after: dict) -> None:
    live = after["input"]
    parts = [live["latency"], live["ours"], after["output_latency"]]
    said = " + ".join(f"{1e3 * part:.1f}" for part in parts)
    print(f"latency said: {said} = {1e3 * sum(parts):.1f} ms")
    print(f"gaps: {after['underruns'] - before['underruns']}, before that {before['underruns']}")
    print("told:", *bench.events, sep="\n  ")


def compare(expected: np.ndarray, out: np.ndarray, frames: int) -> None:
    """Second for second: where what came in lies, and how far it is from what came out."""
    loud = np.flatnonzero(np.abs(out[:, 0]) > 1e-4)
    stop = int(loud[-1]) - RATE // 2
    late, errors, exact = [], [], 0
    starts = range(stop - frames, stop - RATE, RATE)
    for start in starts:
        part = out[start : start + RATE]
        around = expected[start - MOST_LATENCY : start + 1024, 0]
        found = np.correlate(around, part[:1024, 0].astype(np.float64), "valid")
        at = start - MOST_LATENCY + int(np.argmax(found))
        late.append(start - at)
        other = expected[at : at + RATE]
        errors.append(np.sqrt(np.mean((part - other) ** 2) / np.mean(part**2)))
        exact += bool(np.array_equal(part, other.astype(np.float32)))
    middle = 1e3 * np.median(late) / RATE
    print(
        f"latency as it is: {middle:.2f} ms; in {np.sum(late == np.median(late))} of {len(late)} s"
    )
    print(
        f"seconds exact to the sample: {exact}; within -120 dB: {np.sum(np.array(errors) < 1e-6)}"
    )
    print(f"worst second off by {20.0 * np.log10(max(*errors, 1e-15)):.1f} dB")


if __name__ == "__main__":
    main()
