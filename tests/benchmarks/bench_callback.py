"""Time and memory of the audio callback, without a device.

    python tests/benchmarks/bench_callback.py [MINUTES]

plays the demo's rig with four choices at 48 kHz through the desk, switching every second, and prints
the quantiles of the time that one callback takes, its share of what a block lasts, and what memory grew.
"""

from __future__ import annotations

import gc
import sys
import tempfile
import time
import tracemalloc
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import soundfile as sf
from numpy.typing import NDArray

from auralize.convolve import Convolver
from auralize.desk import Desk, Wishes
from auralize.matching import Heard
from auralize.rig import load_rig

RIG = Path(__file__).parents[2] / "audio_demo" / "saltmarsh.toml"
RATE = 48_000
SWITCH_EVERY = 94
BURST = 40
"""Blocks rendered in a row."""
WARM = 2000
"""Blocks before memory is compared: caches fill, the programme has been read round once."""


@dataclass(frozen=True)
class Measured:
    """One run."""

    times: NDArray[np.float64]
    """s for each block."""
    switches: int
    grown: int
    """Bytes of Python and NumPy memory that more blocks took."""
    resident: float
    """MB of resident memory that more blocks took."""
    block: int


def measure(blocks: int, traced: bool) -> Measured:
    """Render so many blocks; ``traced`` slows it down to find what memory grows."""
    with tempfile.TemporaryDirectory() as folder:
        source = Path(folder) / "noise.wav"
        noise = np.random.default_rng(1).normal(0.0, 0.1, (4 * RATE, 2))
        sf.write(source, noise, RATE, subtype="FLOAT")
        choices = load_rig(RIG).choices
        choices = {**choices, "again": replace(choices["reel"], name="again")}
        desk = Desk(source, RATE, Wishes(dict(choices)), lambda event: None)
        try:
            return _measured(desk, blocks, traced)
        finally:
            desk.close()


def _measured(desk: Desk, blocks: int, traced: bool) -> Measured:
    while desk.status().certainty != "measured" or not desk.transport.primed:
        time.sleep(0.05)
    desk.transport.loop(0, desk.transport.length)
    desk.transport.play()
    signals = [Heard(s, c) for c in desk.wishes.choices for s in ("receiving", "drop")]
    out = np.zeros((desk.player.block, 2), np.float32)
    times = np.zeros(WARM + blocks)
    before = resident = 0
    if traced:
        tracemalloc.start()
    for number in range(len(times)):
        if number == WARM:
            _settle(desk)
            before, resident = tracemalloc.get_traced_memory()[0] if traced else 0, _resident()
        if number % SWITCH_EVERY == 0:
            desk.hear(signals[number // SWITCH_EVERY % len(signals)])
        if number % BURST == 0:  # the reader works between bursts, as it does between real blocks
            while len(desk.transport._current.blocks) < 2 * BURST:
                time.sleep(0.001)
        start = time.perf_counter()
        desk.render(out)
        times[number] = time.perf_counter() - start
    _settle(desk)
    grown = tracemalloc.get_traced_memory()[0] - before if traced else 0
    if traced:
        tracemalloc.stop()
    megabytes = (_resident() - resident) / 1e6
    return Measured(times[WARM:], desk.player.switches, grown, megabytes, desk.player.block)


def _settle(desk: Desk) -> None:
    """Until the read-ahead is full, as memory is compared between two such moments."""
    held = -1
    while held != (held := len(desk.transport._current.blocks)):
        time.sleep(0.3)
    gc.collect()


def _resident() -> int:
    """Bytes of this process in memory now (Linux; elsewhere 0)."""
    try:
        pages = int(Path("/proc/self/statm").read_text().split()[1])
    except OSError:
        return 0
    return pages * 4096


def every_filter_at_once(blocks: int, taps: int) -> NDArray[np.float64]:
    """s for each block of a convolver that runs both filters of four choices all the time."""
    impulses = np.random.default_rng(2).normal(0.0, 0.01, (8, taps))
    convolver = Convolver(impulses, 2, 512)
    block = np.random.default_rng(3).normal(0.0, 0.1, (512, 2))
    times = np.zeros(blocks)
    for number in range(blocks):
        start = time.perf_counter()
        convolver.process(block)
        times[number] = time.perf_counter() - start
    return times


def main() -> None:
    minutes = float(sys.argv[1]) if len(sys.argv) > 1 else 3.0
    found = measure(round(minutes * 60 * RATE / 512), traced=False)
    lasts = found.block / RATE
    print(f"{minutes:g} min of blocks of {found.block} at {RATE} Hz, {found.switches} switches:")
    for name, share in (("median", 0.5), ("p99", 0.99), ("p99.9", 0.999)):
        took = float(np.quantile(found.times, share))
        print(f"  {name:6} {1e6 * took:5.0f} us, {100 * took / lasts:.2f} % of a block")
    print(f"  resident memory grew by {found.resident:.2f} MB")
    traced = measure(round(minutes * 60 * RATE / 512 / 10), traced=True)
    print(f"  Python and NumPy memory grew by {traced.grown} bytes over a tenth of that")
    other = every_filter_at_once(2000, 4096)
    print(f"  eight filters of 4096 taps run all the time: median {1e6 * np.median(other):.0f} us")


if __name__ == "__main__":
    main()
