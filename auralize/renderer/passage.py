"""Once through a source, stretch by stretch: by this process, or by several that share the work."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import Executor, Future
from typing import Final

from auralize.audio.metering import Level, Meter
from auralize.audio.writer import AudioWriter
from auralize.executors import processors, result_of
from auralize.gains import Heard
from auralize.renderer.parts import Part, Share, meter_of
from auralize.renderer.stretch import Made, Maker, Making, Outlet, Stretch, made_of
from auralize.renderer.take import Take

AHEAD: Final = 2
"""Stretches that wait or are worked on, for each processor."""


def measured(
    take: Take, parts: Sequence[Part], frames: int, share: Share, workers: Executor | None = None
) -> Level:
    """Feed the meters of all parts; the level of the source itself."""
    source = meter_of(take)
    Passage(take, parts, frames, source=source).run(share, workers)
    return source.level


class Passage:
    """``frames`` of output in all. With ``exact``, all that is written is made in double precision."""

    def __init__(
        self,
        take: Take,
        parts: Sequence[Part],
        frames: int,
        writers: Mapping[Heard, tuple[AudioWriter, float]] | None = None,
        source: Meter | None = None,
        *,
        exact: bool = False,
    ) -> None:
        """``writers``: for those that are written, and the factors that their gains are.

        ``source``: a meter for it, where it and the parts are to be measured.
        """
        self._parts, self._take = parts, take
        self._meters = [] if source is None else [source, *(part.meter for part in parts)]
        self._writers = {
            number: (writers or {})[part.heard]
            for number, part in enumerate(parts)
            if part.heard in (writers or {})
        }
        self._making = Making(
            take,
            [part.fir for part in parts],
            [self._writers[n][1] if n in self._writers else 1.0 for n in range(len(parts))],
            frames,
            exact,
            source is not None,
        )
        self.passed = False
        """Whether one of them would pass the ceiling of true peak; then none is written any more."""

    def run(self, share: Share, workers: Executor | None = None) -> None:
        """From the beginning to the end; raises AudioFileError. ``workers`` see the files of this machine."""
        plain = all(writer.laid is not None for writer, _ in self._writers.values())
        stretches = self._making.stretches(plain and self._take.info.start is not None)
        made = (
            self._here(stretches, share)
            if workers is None or len(stretches) == 1
            else self._by(workers, stretches, share)
        )
        for stretch, one in zip(stretches, made, strict=True):
            self._append(stretch, one)
            if one.passed and not self.passed:
                self.passed = True
                share.twice()

    def _here(self, stretches: Sequence[Stretch], share: Share) -> Iterator[Made]:
        maker = Maker(self._making)
        for stretch in stretches:
            yield maker.make(stretch, self._outlets, share.add)

    def _by(self, workers: Executor, stretches: Sequence[Stretch], share: Share) -> Iterator[Made]:
        """In their order; only so far ahead that a source of hours does not wait as a whole."""
        waiting: deque[tuple[Stretch, Future[Made]]] = deque()
        for stretch in stretches:
            work = workers.submit(made_of, self._making, stretch, self._outlets)
            waiting.append((stretch, work))
            if len(waiting) > AHEAD * processors():
                yield self._done(*waiting.popleft(), share)
        while waiting:
            yield self._done(*waiting.popleft(), share)

    def _done(self, stretch: Stretch, work: Future[Made], share: Share) -> Made:
        made = result_of(work)
        share.add(stretch.end - stretch.begin)
        return made

    @property
    def _outlets(self) -> dict[int, Outlet]:
        if self.passed:
            return {}
        return {
            number: Outlet(writer.laid or writer, factor)
            for number, (writer, factor) in self._writers.items()
        }

    def _append(self, stretch: Stretch, made: Made) -> None:
        """Take what was measured and written of a stretch."""
        take, rate = self._take, self._take.info.rate
        first, stop = stretch.steps(rate)
        for number, (meter, part) in enumerate(zip(self._meters, made.meters, strict=True)):
            if number:
                meter.append(part, first, stop)
            elif stretch.begin < take.frames:  # it ends before what is made of it
                meter.append(part, first, None if take.frames <= stretch.end else stop)
        for number, clipped in made.clipped.items():
            self._writers[number][0].take(stretch.end - stretch.begin, clipped)
