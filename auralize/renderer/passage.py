"""Once through a source: what its parts make of it is measured, written, or both.

Every signal of every choice comes of one forward transform. A thread takes up a batch as a whole, another
the next; what is measured and written goes in their order.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from auralize.audio.metering import Level, Meter
from auralize.audio.overlap_save import OverlapSave
from auralize.audio.writer import AudioWriter
from auralize.filters.fir import Fir
from auralize.filters.stream import max_taps
from auralize.gains import CEILING, Heard
from auralize.renderer.parts import Part, Share, meter_of
from auralize.renderer.take import Take
from auralize.units import amplitude

SHORT: Final = 30.0
"""s of sound that are rendered sooner than the faster transforms are imported."""
AHEAD: Final = 2
"""Batches in work beside the one that is measured and written: as many as keep two processors busy."""
SINGLE_DEPTHS: Final = ("PCM_16", "PCM_24")
"""Of sources that single precision holds, and of results that it serves where it is good enough."""
STEP: Final = 2.0**-23
"""Of 24 bit: what single precision may be off by, besides the rounding of the file."""
ROUNDING: Final = 8e-7
"""Largest error of a batch in single precision, relative to the root mean square of its input times the
highest gain of the response. Measured over sines, squares, noise, steps: 7.0e-7 at most."""

Samples = NDArray[Any]
NOTHING: Final = 1e-15
"""Gain of what is left of a filter that is a plain gain, but for rounding."""
DOUBLE: Final = np.dtype(np.complex128)
NONE: Final[Mapping[Heard, Outlet]] = {}


@dataclass(frozen=True)
class Outlet:
    """Where a part is written to, and the factor that its gain is."""

    writer: AudioWriter
    factor: float


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


def measured(
    take: Take, parts: Sequence[Part], frames: int, pool: ThreadPoolExecutor, share: Share
) -> Level:
    """Feed the meters of all parts; the level of the source itself."""
    source = meter_of(take)
    Passage(take, parts, frames, source=source).run(pool, share)
    return source.level


class Passage:
    """``frames`` of output in all. With ``exact``, all that is written is made in double precision."""

    def __init__(
        self,
        take: Take,
        parts: Sequence[Part],
        frames: int,
        outlets: Mapping[Heard, Outlet] = NONE,
        source: Meter | None = None,
        *,
        exact: bool = False,
    ) -> None:
        """``source``: a meter for it, where it and the parts are to be measured."""
        self._take, self._parts, self._frames = take, parts, frames
        self._meters = None if source is None else [source, *(part.meter for part in parts)]
        self.outlets = dict(outlets)
        """Empties where one of them would pass the ceiling of true peak."""
        self._kind: type = np.complex128 if exact else np.complex64
        firs = [part.fir for part in parts]
        self._delay = firs[0].delay
        self._cut = OverlapSave(
            max_taps(firs), take.channels, short=frames < SHORT * take.info.rate
        )
        self._ways = [Way(fir, self._cut) for fir in firs]
        self._loudest = [self._most(part) for part in parts]
        self._telling: list[Future[bool]] = []
        self._told = self._done = 0

    def _most(self, part: Part) -> float:
        """Gain that ``part`` gets at least, for the sake of precision: one that is only measured as well."""
        outlet = self.outlets.get(part.heard)
        return 1.0 if outlet is None else outlet.factor

    def run(self, pool: ThreadPoolExecutor, share: Share) -> None:
        """From the beginning to the end; raises AudioFileError."""
        single = self._kind is np.complex64 and self._take.info.subtype in SINGLE_DEPTHS
        blocks = self._take.blocks(single)
        windows = self._cut.windows(blocks, self._delay, self._frames, self._kind)
        ahead: deque[Future[list[Samples]]] = deque()
        for window in windows:  # the next is read while threads are at those before
            ahead.append(pool.submit(self._made, window))
            if len(ahead) > AHEAD:
                self._tell(ahead.popleft().result(), pool, share)
        while ahead:
            self._tell(ahead.popleft().result(), pool, share)
        self._settle(share)

    def _made(self, window: Samples) -> list[Samples]:
        """The source and all that is made of it, (frames, channels) each."""
        cut, spectra = self._cut, {window.dtype: self._cut.spectra(window)}
        dry, loudest = cut.unfiltered(window, self._delay), cut.rms(window)
        made = [dry]
        for way, factor in zip(self._ways, self._loudest, strict=True):
            if way.highest < NOTHING:
                made.append(dry.dtype.type(way.plain) * dry)
                continue
            if self._kind is np.complex64 and ROUNDING * loudest * way.highest * factor <= STEP:
                wet = cut.filtered(spectra[window.dtype], way.single)
                made.append(wet + np.float32(way.plain) * dry)
                continue
            if DOUBLE not in spectra:
                spectra[DOUBLE] = cut.spectra(window.astype(DOUBLE))
            made.append(cut.filtered(spectra[DOUBLE], way.rest) + way.plain * dry)
        return made

    def _tell(self, batch: Sequence[Samples], pool: ThreadPoolExecutor, share: Share) -> None:
        """Begin to measure and write a batch, each signal in a thread, once the one before is done."""
        self._settle(share)
        frames = min(self._cut.frames, self._frames - self._done)
        source = max(0, min(frames, self._take.frames - self._done))
        lengths = [source, *[frames] * len(self._parts)]
        self._telling = [
            pool.submit(self._signal, number, batch[number], length)
            for number, length in enumerate(lengths)
        ]
        self._told, self._done = frames, self._done + frames

    def _settle(self, share: Share) -> None:
        """Have the batch measured and written that was begun."""
        passed = [job.result() for job in self._telling]
        if any(passed) and self.outlets:
            self.outlets.clear()
            share.twice()
        if passed:
            share.add(self._told)
        self._telling = []

    def _signal(self, number: int, samples: Samples, frames: int) -> bool:
        """Measure and write one; whether it passes the ceiling."""
        made = samples[:frames]
        if self._meters is not None:
            self._meters[number].add(made)
        outlet = self.outlets.get(self._parts[number - 1].heard) if number else None
        if outlet is None:
            return False
        block = outlet.factor * made
        outlet.writer.write(block)
        return self._meters is not None and bool(np.abs(block).max() > amplitude(CEILING))
