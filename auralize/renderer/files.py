"""A sound file rendered through the choices of a rig: what arrives at the loudspeaker, what the cable keeps.

Two passes over the source, both in blocks: the first measures every output, the second writes it with
the gains that follow. Outputs are aligned with the source to the sample.
"""

from __future__ import annotations

import os
import zlib
from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path

from auralize.audio.carried import carried
from auralize.audio.depth import Depth, output_depth, sound_bytes
from auralize.audio.metering import Level
from auralize.audio.room import check_disk, check_open_files
from auralize.audio.writer import AudioWriter, check_output
from auralize.circuit.signals import SIGNALS, over
from auralize.errors import AudioFileError, RequestError
from auralize.files import StagedText, check_text, commit_set
from auralize.filters.fir import RunFilters, design_run
from auralize.filters.quality import check
from auralize.gains import (
    INSTALLED,
    SOURCE,
    End,
    Gains,
    Heard,
    balance,
)
from auralize.outputs import (
    check_ours,
    facts_beside,
    fingerprint,
    made_folder,
    sha256_of,
    sidecar,
)
from auralize.renderer.facts import Rendered, RenderedFile, describe, facts, told_of
from auralize.renderer.options import USUAL, RenderOptions
from auralize.renderer.parts import (
    Part,
    Progress,
    Share,
    as_it_is,
    matches,
    measured,
    meter_of,
    played,
)
from auralize.renderer.take import Take
from auralize.rig.choice import Choice
from auralize.rig.work import working_out
from auralize.units import amplitude, decibels


@dataclass(frozen=True)
class Job:
    """One source and all that is to be made of it, found possible as far as that can be told at once."""

    take: Take
    choices: Sequence[Choice]
    options: RenderOptions
    depth: Depth
    paths: Mapping[Heard, Path]
    """Of all that is to be written."""
    day: str | None = None
    """What files say of when they were made; None: today."""

    @property
    def frames(self) -> int:
        """Of each output."""
        return self.take.frames + round(self.options.tail * self.take.info.rate)

    @cached_property
    def source_sha256(self) -> str:
        return sha256_of(self.take.info.path)

    @cached_property
    def call(self) -> str:
        """What the results are marked with: equal where the same is made of the same."""
        choices = sorted(choice.identity for choice in self.choices)
        return fingerprint("render", self.source_sha256, choices, self.depth, *self.options.said)

    def check_ours(self) -> None:
        """Raise FileError where a file is in the way that this call did not make."""
        for path in self.paths.values():
            check_text(sidecar(path))
            if os.path.lexists(path) or os.path.lexists(sidecar(path)):
                check_ours(path, self.call, self.options.replaces)


class Designs:
    """The filters of choices, each designed once for a sample rate."""

    def __init__(self) -> None:
        self._made: dict[object, RunFilters] = {}

    def of(self, choice: Choice, rate: int) -> RunFilters:
        """Raises DesignError where no filter comes near."""
        key = (*choice.identity, rate)
        if key not in self._made:
            with working_out(f"the filters of choice {choice.name}"):
                self._made[key] = design_run(choice.network, choice.listen, rate)
        return self._made[key]


def render(
    source: Path,
    choices: Sequence[Choice],
    folder: Path,
    options: RenderOptions = USUAL,
    progress: Progress = lambda share: None,
) -> Rendered:
    """Render ``source`` through every choice into ``folder``, with a JSON sidecar beside each file.

    A folder that is not there is made, and goes again where nothing comes of it. Raises AuralizeError;
    no output appears unless it is complete, and none in place of a file that this call did not make.
    """
    check_drops(choices, options)
    job = prepared(source, choices, folder, options)
    with made_folder(folder):
        return carried_out(job, Designs(), progress)


def check_drops(choices: Sequence[Choice], options: RenderOptions) -> None:
    """Raise RequestError where the drop cannot be told over the conductor that was asked for."""
    for choice in choices:
        if "drop" in options.signals:
            choice.check_signal("drop", options.across)


def prepared(source: Path, choices: Sequence[Choice], folder: Path, options: RenderOptions) -> Job:
    """A source, and where its results go; raises AuralizeError for a source that cannot be rendered so."""
    take = Take.of(source, options.excerpt)
    usual = output_depth(take.info, options.suffix)
    depth = options.depth or usual
    told = depth if depth != usual else None
    paths: dict[Heard, Path] = {}
    for choice in choices:
        for signal in options.signals:
            heard = End(signal, choice.name, options.across).plain
            paths[heard] = options.path(folder, source, heard, choice.tag, told)
    if options.source:
        at = "+".join(dict.fromkeys(choice.place_tag for choice in choices if choice.place_tag))
        paths[SOURCE] = options.path(folder, source, SOURCE, at, told)
    if len(set(paths.values())) < len(paths):
        raise RequestError(
            "two of the results would have the same name; render their choices one by one, each into a "
            "folder of its own"
        )
    if options.match.frequency > take.info.rate / 2.0:
        raise AudioFileError(
            f"{source}: to match at {options.match.frequency:g} Hz needs a sample rate of twice that or "
            f"more, and it has {take.info.rate} Hz"
        )
    return Job(take, choices, options, depth, paths)


def carried_out(job: Job, designs: Designs, progress: Progress) -> Rendered:
    """Write all that a job has to make, or nothing; raises AuralizeError."""
    take, options, frames = job.take, job.options, job.frames
    for path in job.paths.values():
        check_output(path, job.depth, inputs=[take.info.path])
    job.check_ours()
    parts = _plan(job, designs)
    _check_room(take, list(job.paths.values()), job.depth, frames)
    more = carried(take.info.path) if take.whole else b""
    share = Share(progress, passes=2, frames=frames)
    with ThreadPoolExecutor(os.cpu_count()) as pool, ExitStack() as files:
        level = measured(take, parts, frames, pool, share)
        gains = _gains(parts, job, level.loudness)
        kept = [(part, gains[part.heard]) for part in parts if part.heard in job.paths]
        places = [job.paths[part.heard] for part, _ in kept]
        sidecars = [files.enter_context(StagedText(sidecar(path))) for path in places]
        writers = [files.enter_context(_writer(job, part, gain, more)) for part, gain in kept]
        _write(take, kept, writers, frames, pool, share)
        outputs = [_output(p, g, w) for (p, g), w in zip(kept, writers, strict=True)]
        rendered = Rendered(
            take.info,
            level.loudness,
            decibels(level.peak),
            options.match,
            tuple(outputs),
            told_of(job.choices),
        )
        for (part, _), output, writer, staged in zip(kept, outputs, writers, sidecars, strict=True):
            writer.finish()
            told = facts(rendered, output, part.choice, take, options, job.source_sha256)
            staged.stage(facts_beside(writer.staged.temporary, told, job.call, day=job.day))
        job.check_ours()  # somebody may have put a file there meanwhile
        # Facts before their sound: should we be killed between, the same call may finish it.
        commit_set([f.staged for pair in zip(sidecars, writers, strict=True) for f in pair])
    return replace(rendered, replaced=tuple(w.path for w in writers if w.replaced))


def _plan(job: Job, designs: Designs) -> list[Part]:
    """All that is written, and receiving ends that are only measured, to match by."""
    parts: list[Part] = []
    options, rate = job.options, job.take.info.rate
    for choice in job.choices:
        filters = designs.of(choice, rate)
        for signal in SIGNALS:
            wanted = signal in options.signals
            if not (wanted or signal == "receiving"):
                continue
            heard = End(signal, choice.name, options.across).plain
            fir = filters.of(signal, heard.across)
            if wanted or options.match != INSTALLED:
                what = f"choice {choice.name}, {signal} signal{over(signal, heard.across)}"
                check(what, fir.error)
            parts.append(Part(choice, heard, fir, meter_of(job.take)))
    if options.source:
        parts.append(Part(None, SOURCE, as_it_is(parts[0].fir), meter_of(job.take)))
    return parts


def _check_room(take: Take, paths: Sequence[Path], depth: Depth, frames: int) -> None:
    """Refuse what would fail half way; how long FLAC files become nobody knows beforehand."""
    check_open_files(len(paths))
    if paths[0].suffix != ".flac":
        check_disk(paths, sound_bytes(depth, take.channels, frames))


def _gains(parts: Sequence[Part], job: Job, reference: float) -> Mapping[Heard, Gains]:
    """What each part is given. ``reference`` is the loudness of the source."""
    levels: dict[Heard, Level] = {part.heard: part.level for part in parts}
    options, shared = job.options, list(job.paths)
    matched = matches(parts, options.match, reference)
    return balance(reference, levels, matched, options.makeup, shared, drops=options.drops)


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


def _write(
    take: Take,
    kept: Sequence[tuple[Part, Gains]],
    writers: Sequence[AudioWriter],
    frames: int,
    pool: ThreadPoolExecutor,
    share: Share,
) -> None:
    """Fill each part's writer, its gain applied."""
    factors = [amplitude(gains.total) for _, gains in kept]
    for _, wet in played(take, [part for part, _ in kept], frames):
        jobs = [
            pool.submit(writer.write, factor * block)
            for writer, factor, block in zip(writers, factors, wet, strict=True)
        ]
        for job in jobs:
            job.result()
        share.add(wet.shape[1])


def _output(part: Part, gains: Gains, writer: AudioWriter) -> RenderedFile:
    level, heard = part.meter.level_before(gains.total), part.heard
    return RenderedFile(
        path=writer.path,
        choice="" if part.choice is None else part.choice.name,
        label="" if part.choice is None else part.choice.label,
        signal=heard.signal if isinstance(heard, End) else "source",
        across=heard.across if isinstance(heard, End) else "both",
        gains=gains,
        loudness=level.loudness + gains.total,
        true_peak=decibels(level.peak) + gains.total,
        filter_error=part.fir.error,
        clipped=writer.clipped,
    )
