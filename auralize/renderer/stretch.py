"""A stretch of a source: what its parts make of it is measured, written, or both, in any process.

Every signal of every choice comes of one forward transform. Stretches and batches are the same on every
machine, and so are the results, to the bit.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import AbstractContextManager, ExitStack, nullcontext
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from auralize.audio.loudness import STEPS_PER_SECOND, WARM_STEPS, step_ends
from auralize.audio.metering import Meter
from auralize.audio.overlap_save import OverlapSave
from auralize.audio.portion import Laid, Portion
from auralize.audio.writer import AudioWriter
from auralize.filters.fir import Fir
from auralize.filters.stream import max_taps
from auralize.gains import CEILING
from auralize.renderer.parts import meter_of
from auralize.renderer.take import Take
from auralize.units import amplitude

STRETCH: Final = 30.0
"""s, as near as whole batches come: long against what a stretch begins early, short enough that all
processors have their share of a few minutes."""
KEPT: Final = 30 << 20
"""Bytes. Once so many were let go at once, glibc keeps memory for the next batch, up to twice that, where it
would give it back and have it again page by page: a tenth of the time (measured). It learns up to 32 MB."""
SINGLE_DEPTHS: Final = ("PCM_16", "PCM_24")
"""Of sources that single precision holds, and of results that it serves where it is good enough."""
STEP: Final = 2.0**-23
"""Of 24 bit: what single precision may be off by, besides the rounding of the file."""
ROUNDING: Final = 8e-7
"""Largest error of a batch in single precision, relative to the root mean square of its input times the
highest gain of the response. Measured over sines, squares, noise, steps: 7.0e-7 at most."""
NOTHING: Final = 1e-15
"""Gain of what is left of a filter that is a plain gain, but for rounding."""
DOUBLE: Final = np.dtype(np.complex128)

Samples = NDArray[Any]


@dataclass(frozen=True)
class Outlet:
    """Where a part is written to, and the factor that its gain is."""

    file: Laid | AudioWriter
    factor: float


@dataclass(frozen=True)
class Stretch:
    """Frames ``begin`` to ``end`` of what is written; the last takes all that is left."""

    begin: int
    end: int
    last: bool

    def steps(self, rate: int) -> tuple[int, int | None]:
        """The steps of loudness that end in it; None: all, to the end of the signal."""
        ended = [
            -(-(frames + 1) * STEPS_PER_SECOND // rate) - 1 for frames in (self.begin, self.end)
        ]
        return ended[0], None if self.last else ended[1]


@dataclass(frozen=True)
class Made:
    """What became of a stretch."""

    meters: Sequence[Meter]
    """Of the source and of each part, where they were to be measured."""
    clipped: Mapping[int, int]
    """Samples over full scale, by the number of a part of which a portion was written."""
    passed: bool
    """Whether anything written passes the ceiling of true peak."""


@dataclass(frozen=True)
class Making:
    """What is made of a source, as it is sent to the processes that make it: ``frames`` of output in all.

    With ``exact``, all is made in double precision.
    """

    take: Take = field(compare=False)
    firs: Sequence[Fir] = field(compare=False)
    factors: Sequence[float] = field(compare=False)
    """Gain that each part gets at least, for the sake of precision."""
    frames: int = field(compare=False)
    exact: bool = field(compare=False)
    measures: bool = field(compare=False)
    key: str = field(default_factory=lambda: os.urandom(8).hex())
    """Which it is, there too."""

    @property
    def cut(self) -> OverlapSave:
        return OverlapSave(max_taps(self.firs), self.take.channels)

    def stretches(self, parallel: bool) -> list[Stretch]:
        """All of it, or where it can be made in parallel in stretches of about `STRETCH`."""
        frames = self.frames
        if parallel:
            batch = self.cut.frames
            frames = max(1, round(STRETCH * self.take.info.rate / batch)) * batch
        ends = [*range(frames, self.frames, frames), self.frames]
        return [
            Stretch(begin, end, end == self.frames)
            for begin, end in zip([0, *ends], ends, strict=False)
        ]


class Way:
    """A filter as two: a plain gain, and a response for what is left, which is small where a run is short.

    Single precision is then off by a share of that alone.
    """

    def __init__(self, fir: Fir, cut: OverlapSave) -> None:
        whole = cut.response(fir.taps)
        steady = cut.response(np.eye(1, fir.delay + 1, fir.delay)[0])
        aligned = (whole * steady.conj()).real
        self.plain = float(aligned.max() + aligned.min()) / 2.0
        self.rest = whole - self.plain * steady
        self.highest = float(np.abs(self.rest).max())
        """Gain of the rest."""
        self.single = self.rest.astype(np.complex64)


class Maker:
    """Makes stretches, one after the other."""

    def __init__(self, making: Making) -> None:
        self.making = making
        np.empty(KEPT, np.uint8)  # and at once let go
        self._kind: type = np.complex128 if making.exact else np.complex64
        self._cut = making.cut
        self._delay = making.firs[0].delay
        self._ways = [Way(fir, self._cut) for fir in making.firs]

    def make(
        self,
        stretch: Stretch,
        outlets: Mapping[int, Outlet],
        told: Callable[[int], None] = lambda frames: None,
    ) -> Made:
        """Measure and write a stretch: by number, where each part goes to. ``told`` gets frames as they
        are done. Raises AudioFileError."""
        meters, first = self._meters(stretch)
        with ExitStack() as files:
            sinks = {
                number: (files.enter_context(_opened(outlet.file, stretch)), outlet.factor)
                for number, outlet in outlets.items()
            }
            for at, made in self._batches(stretch, first):
                self._measure(meters, made, at, first)
                if at < stretch.begin:
                    continue
                frames = min(len(made[0]), stretch.end - at)
                for number, (sink, factor) in sinks.items():
                    block = made[number + 1][:frames]
                    sink.write(block if factor == 1.0 else factor * block)
                told(frames)
            clipped = {
                number: sink.clipped
                for number, (sink, _) in sinks.items()
                if isinstance(sink, Portion)
            }
            highest = max((sink.highest for sink, _ in sinks.values()), default=0.0)
        for number, meter in enumerate(meters):
            meter.close(stretch.last if number else self.making.take.frames <= stretch.end)
        return Made(meters, clipped, bool(meters) and highest > amplitude(CEILING))

    def _meters(self, stretch: Stretch) -> tuple[list[Meter], int]:
        """Of the source and the parts, and the frame that they begin at: early, unless all begins there."""
        making, rate = self.making, self.making.take.info.rate
        if not making.measures:
            return [], stretch.begin
        step = max(0, stretch.steps(rate)[0] - WARM_STEPS)
        meters = [meter_of(making.take, step) for _ in range(1 + len(making.firs))]
        return meters, step_ends(step, rate)

    def _batches(self, stretch: Stretch, first: int) -> Iterator[tuple[int, list[Samples]]]:
        """Batch by batch from frame ``first``, or a little earlier, on: where one begins, and the source
        and all that is made of it, (frames, channels) each."""
        begin, rest = stretch.begin, stretch.end - stretch.begin
        if early := begin - first:
            cut = self._cut.shortest(early)
            yield from self._through(cut, begin - cut.frames, cut.frames, begin + self._delay)
        end = None if stretch.last else stretch.end + self._delay
        yield from self._through(self._cut, begin, rest, end)

    def _through(
        self, cut: OverlapSave, at: int, frames: int, end: int | None
    ) -> Iterator[tuple[int, list[Samples]]]:
        """``frames`` of output from frame ``at`` on, of the source up to ``end``."""
        take, before = self.making.take, cut.before(self._delay)
        single = self._kind is np.complex64 and take.info.subtype in SINGLE_DEPTHS
        blocks = take.blocks(single, max(0, at - before), end)
        for window in cut.windows(blocks, max(0, before - at), frames, self._kind):
            yield at, self._made(cut, window)
            at += cut.frames

    def _measure(
        self, meters: Sequence[Meter], made: Sequence[Samples], at: int, first: int
    ) -> None:
        """From frame ``first`` on; the source as far as it goes."""
        making = self.making
        for number, meter in enumerate(meters):
            end = making.frames if number else making.take.frames
            meter.add(made[number][max(0, first - at) : max(0, end - at)])

    def _made(self, cut: OverlapSave, window: Samples) -> list[Samples]:
        """The source and all that is made of it, (frames, channels) each."""
        spectra = {window.dtype: cut.spectra(window)}
        dry, loudest = cut.unfiltered(window, self._delay), cut.rms(window)
        made = [dry]
        for way, factor in zip(self._ways, self.making.factors, strict=True):
            share = ROUNDING * loudest * way.highest * factor
            if self._kind is np.complex64 and (way.highest < NOTHING or share <= STEP):
                made.append(np.float32(way.plain) * dry)
                if way.highest >= NOTHING:
                    cut.add(spectra[window.dtype], way.single, made[-1])
                continue
            made.append(way.plain * dry.astype(np.float64))
            if way.highest >= NOTHING:
                if DOUBLE not in spectra:
                    spectra[DOUBLE] = cut.spectra(window.astype(DOUBLE))
                cut.add(spectra[DOUBLE], way.rest, made[-1])
        return made


def _opened(
    file: Laid | AudioWriter, stretch: Stretch
) -> AbstractContextManager[Portion | AudioWriter]:
    return Portion(file, stretch.begin) if isinstance(file, Laid) else nullcontext(file)


def made_of(making: Making, stretch: Stretch, outlets: Mapping[int, Outlet]) -> Made:
    """In a process that is sent what is to be made."""
    return _maker(making).make(stretch, outlets)


@lru_cache(maxsize=1)
def _maker(making: Making) -> Maker:
    """The same for all stretches that a process is sent of one source."""
    return Maker(making)
