"""What a render writes: in the pass that measures it where its gain is known before, else in a second."""

from __future__ import annotations

import math
import zlib
from collections.abc import Mapping, Sequence
from concurrent.futures import Executor
from contextlib import ExitStack, suppress

from auralize.audio.carried import carried
from auralize.audio.metering import Level, Meter
from auralize.audio.writer import AudioWriter
from auralize.gains import (
    LOUDNESS,
    End,
    Gains,
    Heard,
    balance,
)
from auralize.renderer.facts import describe
from auralize.renderer.job import Job
from auralize.renderer.parts import (
    Part,
    Progress,
    Share,
    matches,
    meter_of,
)
from auralize.renderer.passage import Passage
from auralize.renderer.stretch import SINGLE_DEPTHS
from auralize.units import amplitude

Writers = Mapping[Heard, AudioWriter]


def written(
    job: Job,
    parts: Sequence[Part],
    progress: Progress,
    files: ExitStack,
    workers: Executor | None = None,
) -> tuple[Level, Mapping[Heard, Gains], Writers]:
    """The level of the source, what each part is given, and the files it went to, open in ``files``.

    ``workers`` see the files of this machine and share the work; None: it is done here.
    """
    more = carried(job.take.info.path) if job.take.whole else b""
    foreseen = _foreseen(parts, job)
    share = Share(progress, 1 if len(foreseen) == len(job.paths) else 2, job.frames)
    source = meter_of(job.take)
    early = files.enter_context(ExitStack())
    writers = _writers(job, parts, foreseen, more, early)
    passage = _passage(job, parts, writers, foreseen, source)
    passage.run(share, workers)
    gains = _gains(parts, job, source.level.loudness)
    if passage.passed or any(gains[heard] != foreseen[heard] for heard in writers):
        _give_up(early)
        writers = {}
    left = [part for part in parts if part.heard in job.paths and part.heard not in writers]
    if left:
        share.twice()
        late = _writers(job, left, gains, more, files)
        _passage(job, left, late, gains).run(share, workers)
        writers |= late
    return source.level, gains, writers


def _foreseen(parts: Sequence[Part], job: Job) -> Mapping[Heard, Gains]:
    """What those to be written are given that can be told before anything was measured, if all stay under
    the ceiling."""
    options = job.options
    if options.match == LOUDNESS:
        return {}
    found = options.drops == "equal" or options.makeup is None  # the gain of drops
    silent = dict.fromkeys((part.heard for part in parts), Level(-math.inf, 0.0))
    matched = matches(parts, options.match, -math.inf)
    gains = balance(-math.inf, silent, matched, options.makeup, drops=options.drops)
    return {
        heard: gains[heard]
        for heard in job.paths
        if not (found and isinstance(heard, End) and heard.signal == "drop")
    }


def _passage(
    job: Job,
    parts: Sequence[Part],
    writers: Writers,
    gains: Mapping[Heard, Gains],
    source: Meter | None = None,
) -> Passage:
    exact = job.depth not in SINGLE_DEPTHS
    given = {heard: (writer, amplitude(gains[heard].total)) for heard, writer in writers.items()}
    return Passage(job.take, parts, job.frames, given, source, exact=exact)


class _OtherGainError(Exception):
    """What was written while it was measured has another gain than it is to have."""


def _give_up(early: ExitStack) -> None:
    """Leave nothing of the files that were opened in it."""
    with suppress(_OtherGainError), early:
        raise _OtherGainError


def _gains(parts: Sequence[Part], job: Job, reference: float) -> Mapping[Heard, Gains]:
    """What each part is given. ``reference`` is the loudness of the source."""
    levels: dict[Heard, Level] = {part.heard: part.level for part in parts}
    options, shared = job.options, list(job.paths)
    matched = matches(parts, options.match, reference)
    return balance(reference, levels, matched, options.makeup, shared, drops=options.drops)


def _writers(
    job: Job,
    parts: Sequence[Part],
    gains: Mapping[Heard, Gains],
    more: bytes,
    files: ExitStack,
) -> dict[Heard, AudioWriter]:
    """A file for each part whose gain is known, opened in ``files``."""
    return {
        part.heard: files.enter_context(_writer(job, part, gains[part.heard], more))
        for part in parts
        if part.heard in job.paths and part.heard in gains
    }


def _writer(job: Job, part: Part, gains: Gains, more: bytes) -> AudioWriter:
    """Results are played together, so each has a dither of its own, the same at every render."""
    heard, take = part.heard, job.take
    name = f"{heard.choice}.{heard.kind}" if isinstance(heard, End) else heard.words
    return AudioWriter(
        job.paths[heard],
        take.info.rate,
        take.channels,
        job.depth,
        job.frames,
        describe(heard, part.choice, gains, take, job.options.tail, job.day),
        inputs=[take.info.path],
        mask=take.mask,
        more=more,
        dither_seed=zlib.crc32(name.encode()),
    )
