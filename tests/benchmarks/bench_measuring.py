"""Processor time of measuring a programme and what choices make of it, by part.

    python tests/benchmarks/bench_measuring.py 5

makes a stereo 24-bit file of that many minutes, measures it as the bench does, and three choices of the
demo; then each part by itself, beside the same done in double precision. All in
seconds of one processor for an hour of programme.
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

import numpy as np
from programmes import RATE, RIG, make_programme

from auralize.audio.band_loudness import BandMeter
from auralize.audio.loudness import LoudnessMeter
from auralize.audio.metering import Meter, Samples
from auralize.audio.true_peak import TruePeakMeter
from auralize.filters.fir import Fir
from auralize.filters.stream import through
from auralize.live.designer import designed
from auralize.live.pieces import READ, Task, Workers
from auralize.live.sources import FileFeed
from auralize.rig.reading import load_rig

CHOICES = 3
T = TypeVar("T")


def blocks(path: Path) -> list[Samples]:
    """All of the file, as it is read when it is measured."""
    programme = FileFeed(path).opened(RATE)
    starts = range(0, programme.frames, READ)
    read = [programme.read(start, min(READ, programme.frames - start)) for start in starts]
    programme.close()
    return read


def whole(path: Path, firs: list[Fir]) -> list[Meter]:
    """As the bench measures: one pass over the file."""
    pool = Workers()
    (*_, (meters, _)) = pool.measure(Task(FileFeed(path), RATE, firs), lambda: True, lambda n: None)
    pool.close()
    return meters


def one_go(read: list[Samples], firs: list[Fir]) -> list[Meter]:
    """The same in double precision."""
    meters = [Meter(RATE, 2) for _ in firs]
    for _, wet in through(read, firs, 2):
        for meter, signal in zip(meters, wet, strict=True):
            meter.add(signal)
    return meters


def fed(meter: LoudnessMeter | TruePeakMeter, read: list[Samples]) -> None:
    for block in read:
        meter.add(block)


def convolved(read: list[Samples], firs: list[Fir], single: bool) -> None:
    for _ in through(read, firs, 2, single=single):
        pass


def main() -> None:
    minutes = float(sys.argv[1]) if len(sys.argv) > 1 else 5.0
    hour = 60.0 / minutes

    def timed(name: str, part: Callable[[], T]) -> T:
        start = time.process_time()
        found = part()
        print(f"  {name:<44}{(time.process_time() - start) * hour:7.1f}")
        return found

    choices = list(load_rig(RIG).choices.values())[:CHOICES]
    runs = [designed(choice, RATE) for choice in choices]
    firs = [fir for run in runs for fir in (run.receiving, run.drop)]
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "long.wav"
        make_programme(path, minutes)
        print(f"processor seconds for an hour of stereo at {RATE} Hz, of {minutes:g} min:")
        read = timed("reading", lambda: blocks(path))
        timed("bands and loudness of the programme", lambda: fed(BandMeter(RATE, 2), read))
        timed("loudness of one signal", lambda: fed(LoudnessMeter(RATE, 2), read))
        timed("true peak of one signal", lambda: fed(TruePeakMeter(RATE, 2), read))
        timed(f"{len(firs)} filters, double", lambda: convolved(read, firs, False))
        timed(f"{len(firs)} filters, single", lambda: convolved(read, firs, True))
        timed("the programme, as the bench does", lambda: whole(path, []))
        ours = timed(f"{len(firs)} signals, as the bench does", lambda: whole(path, firs))
        theirs = timed(f"{len(firs)} signals, double", lambda: one_go(read, firs))
    pairs = [(a.level, b.level) for a, b in zip(ours, theirs, strict=True)]
    loudness = max(abs(a.loudness - b.loudness) for a, b in pairs)
    peak = max(abs(20 * np.log10(a.peak / b.peak)) for a, b in pairs)
    print(f"they differ by at most {loudness:.1e} LU and {peak:.1e} dB of true peak")


if __name__ == "__main__":
    main()
