"""A programme measured in pieces, on all processors at once: the same as if in one go, but for rounding.

A piece begins some steps of 100 ms early, so that the weighting has settled, and with what a filter
remembers; it reaches a little beyond its end. The pieces are the same on any machine.
"""

from __future__ import annotations

import os
import sys
import threading
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import closing
from dataclasses import dataclass
from itertools import pairwise
from typing import Final, NamedTuple

from auralize.audio.band_loudness import BandMeter
from auralize.audio.loudness import STEPS_PER_SECOND, WARM_STEPS
from auralize.audio.metering import Meter, Samples
from auralize.executors import processors
from auralize.filters.fir import Fir
from auralize.filters.stream import max_taps, through
from auralize.live.sources import Feed, Readable

PIECE: Final = 200
"""Steps of a piece: 20 s. The last one is up to twice as long."""
BEYOND: Final = 2
"""Steps that a piece reaches beyond its end: `BandMeter.append` needs one."""
READ: Final = 1 << 15
"""Frames measured at once."""
NICENESS: Final = 10
"""Priority of a measuring thread below that of all others, where threads have one (Linux)."""


class Span(NamedTuple):
    """Steps ``first`` to ``stop`` of a programme; None: to its end."""

    first: int
    stop: int | None


@dataclass(frozen=True)
class Task:
    """What is measured: a programme at a rate, or what ``firs`` make of it."""

    feed: Feed
    rate: int
    firs: Sequence[Fir] = ()
    """None: the programme itself, with its bands."""

    def meters(self, channels: int, first: int = 0) -> list[Meter]:
        """One for each signal; from step ``first`` on."""
        if self.firs:
            return [Meter(self.rate, channels, first=first) for _ in self.firs]
        return [Meter(self.rate, channels, BandMeter(self.rate, channels, first), first)]


def pieces(frames: int, rate: int) -> list[Span]:
    """Into which a programme of so many frames falls."""
    whole = max(1, frames * STEPS_PER_SECOND // rate // PIECE)
    starts = [PIECE * number for number in range(whole)]
    return [*(Span(a, b) for a, b in pairwise(starts)), Span(starts[-1], None)]


def be_nice() -> None:
    """Let every other thread go before this one."""
    if sys.platform == "linux":
        os.setpriority(os.PRIO_PROCESS, threading.get_native_id(), NICENESS)


class Workers:
    """Threads of low priority, one for each processor, that measure pieces."""

    def __init__(self) -> None:
        self._workers = processors()
        self._pool = ThreadPoolExecutor(self._workers, "measuring", be_nice)

    def close(self) -> None:
        """Wait until what is under way has ended."""
        self._pool.shutdown(cancel_futures=True)

    def measure(
        self, task: Task, wanted: Callable[[], bool], told: Callable[[int], None]
    ) -> Iterator[tuple[list[Meter], Span]]:
        """The meters as they are after each piece in turn; ends early when no longer ``wanted``.

        ``told`` gets frames as they are measured, in the threads of the pool. Raises AudioFileError.
        """
        with closing(task.feed.opened(task.rate)) as programme:
            cut, channels = pieces(programme.stretch, task.rate), programme.channels
        meters, waiting = task.meters(channels), deque[tuple[Span, Future[list[Meter]]]]()
        coming = iter(cut)
        try:
            while wanted():
                # Only so far ahead that the pieces of an hour are never all in memory.
                while len(waiting) < 2 * self._workers and (piece := next(coming, None)):
                    job = self._pool.submit(_measured, task, piece, wanted, told)
                    waiting.append((piece, job))
                if not waiting:
                    return
                piece, job = waiting.popleft()
                parts = job.result()
                if not wanted():
                    return
                for meter, part in zip(meters, parts, strict=True):
                    meter.append(part, *piece)
                yield meters, piece
        finally:
            for _, job in waiting:
                job.cancel()


def _measured(
    task: Task,
    piece: Span,
    wanted: Callable[[], bool],
    told: Callable[[int], None],
) -> list[Meter]:
    """The meters of one piece; of no use where it is not wanted any more."""
    first = max(0, piece.first - WARM_STEPS)
    with closing(task.feed.opened(task.rate)) as programme:
        stop = programme.stretch
        if piece.stop is not None:
            stop = min(stop, (piece.stop + BEYOND) * task.rate // STEPS_PER_SECOND)
        meters = task.meters(programme.channels, first)
        begin = first * task.rate // STEPS_PER_SECOND
        for group in _signals(programme, begin, stop, task.firs, wanted):
            for meter, signal in zip(meters, group, strict=True):
                meter.add(signal)
            told(len(group[0]))
    for meter in meters:
        meter.close(last=piece.stop is None)
    return meters


def _signals(
    programme: Readable, begin: int, stop: int, firs: Sequence[Fir], wanted: Callable[[], bool]
) -> Iterator[Sequence[Samples]]:
    """Frames begin to stop of each signal, block by block; behind filters in single precision."""
    if not firs:
        for block in _blocks(programme, begin, stop, wanted):
            yield [block]
        return
    early = max(0, begin - max_taps(firs))
    late = min(programme.stretch, stop + firs[0].delay)
    skipped, left = begin - early, stop - begin
    blocks = _blocks(programme, early, late, wanted)
    for _, wet in through(blocks, firs, programme.channels, single=True):
        kept = wet[:, skipped : skipped + left]
        skipped = max(0, skipped - wet.shape[1])
        left -= kept.shape[1]
        yield list(kept)


def _blocks(
    programme: Readable, start: int, stop: int, wanted: Callable[[], bool]
) -> Iterator[Samples]:
    for frame in range(start, stop, READ):
        if not wanted():
            return
        yield programme.read(frame, min(READ, stop - frame))
