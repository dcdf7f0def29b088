"""Time and memory of the audio callback, without a device.

    python tests/benchmarks/bench_callback.py [MINUTES]

plays the demo's rig with four choices at 48 kHz through the listening, switching about once a second, and
prints the quantiles of the time that one callback takes, its share of what a block lasts, and what
memory grew. Blocks are made in rows, as fast as they go. A block after a pause finds caches and
processor cold, as every block does that a device asks for; so the first of each row is told apart, and
10 s at the pace of a device are set beside two bare transforms of one block at the same pace.
"""

from __future__ import annotations

import gc
import sys
import tempfile
import time
import tracemalloc
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import soundfile as sf
from numpy.typing import NDArray
from scipy import fft

from auralize.audio.convolver import Convolver
from auralize.gains import End
from auralize.live.listening import Listening
from auralize.live.sources import FileFeed
from auralize.live.wanted import Wanted
from auralize.rig.reading import load_rig

RIG = Path(__file__).parents[2] / "audio_demo" / "saltmarsh.toml"
RATE = 48_000
BLOCK = 512
ROW = 90
"""Blocks made in a row, nearly as many as are read ahead; a switch before each row."""
WARM = 22
"""Rows before anything is taken down: caches fill, the programme has been read round once."""
PACED = 940
"""Blocks at the pace of a device: 10 s."""


@dataclass(frozen=True)
class Measured:
    """One run."""

    times: NDArray[np.float64]
    """s for each block, shape (rows, blocks in a row)."""
    switches: int
    grown: int
    """Bytes of Python and NumPy memory that more blocks took."""
    resident: float
    """MB of resident memory that more blocks took."""

    @property
    def in_a_row(self) -> NDArray[np.float64]:
        """s for each block but the first of its row."""
        return self.times[:, 1:].ravel()

    @property
    def after_a_pause(self) -> NDArray[np.float64]:
        """s for the first block of each row, which fades over to something else."""
        return self.times[:, 0]


@contextmanager
def _listening() -> Iterator[Listening]:
    """Four choices and 4 s of noise that go round and round, playing."""
    with tempfile.TemporaryDirectory() as folder:
        source = Path(folder) / "noise.wav"
        noise = np.random.default_rng(1).normal(0.0, 0.1, (4 * RATE, 2))
        sf.write(source, noise, RATE, subtype="FLOAT")
        choices = load_rig(RIG).choices
        choices = {**choices, "again": replace(choices["reel"], name="again")}
        listening = Listening(FileFeed(source), RATE, Wanted(dict(choices)), lambda event: None)
        try:
            while listening.status().certainty != "measured" or not listening.transport.primed:
                time.sleep(0.05)
            listening.transport.loop(0, listening.transport.length)
            listening.transport.play()
            yield listening
        finally:
            listening.close()


def _signals(listening: Listening) -> list[End]:
    return [End(s, c) for c in listening.wanted.choices for s in ("receiving", "drop")]


def measure(rows: int, traced: bool) -> Measured:
    """Make so many rows of blocks; ``traced`` slows it down to find what memory grows."""
    with _listening() as listening:
        signals, out = _signals(listening), np.zeros((BLOCK, 2), np.float32)
        times = np.ones((WARM + rows, ROW))  # ones, as zeros take memory only when they are written
        before = resident = 0
        if traced:
            tracemalloc.start()
        for row, row_times in enumerate(times):
            if row == WARM:
                _settle(listening)
                before, resident = tracemalloc.get_traced_memory()[0] if traced else 0, _resident()
            listening.hear(signals[row % len(signals)])
            _wait_for_the_reader(listening)
            for number in range(ROW):
                start = time.perf_counter()
                listening.render(out)
                row_times[number] = time.perf_counter() - start
        _settle(listening)
        grown = tracemalloc.get_traced_memory()[0] - before if traced else 0
        if traced:
            tracemalloc.stop()
        megabytes = (_resident() - resident) / 1e6
        return Measured(times[WARM:], listening.player.switches, grown, megabytes)


def _wait_for_the_reader(listening: Listening) -> None:
    """Until all is read ahead and the switch is prepared, as both are between real blocks."""
    time.sleep(0.005)
    while len(listening.transport._current.blocks) < listening.transport.reader._ahead:
        time.sleep(0.001)


def _settle(listening: Listening) -> None:
    """Until the read-ahead is full, as memory is compared between two such moments."""
    held = -1
    while held != (held := len(listening.transport._current.blocks)):
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
    convolver = Convolver(impulses, 2, BLOCK)
    block = np.random.default_rng(3).normal(0.0, 0.1, (BLOCK, 2))
    return _timed(lambda: convolver.process(block), blocks, 0.0)


def at_pace(blocks: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """s for each block at the pace of a device, and for a transform of one block there and back."""
    spectrum = np.random.default_rng(4).normal(size=2 * BLOCK) + 0j
    with _listening() as listening:
        signals, out = _signals(listening), np.zeros((BLOCK, 2), np.float32)
        made = 0

        def block() -> None:
            nonlocal made
            made += 1
            listening.render(out)
            if made % ROW == 0:
                listening.hear(signals[made // ROW % len(signals)])

        ours = _timed(block, blocks, BLOCK / RATE)
    return ours, _timed(lambda: fft.ifft(fft.fft(spectrum)), blocks, BLOCK / RATE)


def _timed(work: Callable[[], object], times: int, pace: float) -> NDArray[np.float64]:
    """s that each call takes, one every ``pace`` s."""
    took, due = np.zeros(times), time.perf_counter()
    for number in range(times):
        due += pace
        time.sleep(max(0.0, due - time.perf_counter()))
        start = time.perf_counter()
        work()
        took[number] = time.perf_counter() - start
    return took


def main() -> None:
    minutes = float(sys.argv[1]) if len(sys.argv) > 1 else 3.0
    rows = round(minutes * 60 * RATE / BLOCK / ROW)
    found = measure(rows, traced=False)
    print(f"{minutes:g} min of blocks of {BLOCK} at {RATE} Hz, {found.switches} switches:")
    _show("in a row", found.in_a_row)
    _show("after a pause", found.after_a_pause)
    print(f"  resident memory grew by {found.resident:.2f} MB")
    traced = measure(rows // 10, traced=True)
    print(f"  Python and NumPy memory grew by {traced.grown} bytes over a tenth of that")
    other = every_filter_at_once(2000, 4096)
    print(f"  eight filters of 4096 taps run all the time: median {1e6 * np.median(other):.0f} us")
    paced, bare = at_pace(PACED)
    _show("at the pace of a device", paced)
    _show("two bare transforms at that pace", bare)


def _show(what: str, times: NDArray[np.float64]) -> None:
    shown = [
        f"{name} {1e6 * took:.0f} us ({100 * took * RATE / BLOCK:.2f} % of a block)"
        for name, took in zip(("median", "p99"), np.quantile(times, (0.5, 0.99)), strict=True)
    ]
    print(f"  {what}: {', '.join(shown)}")


if __name__ == "__main__":
    main()
