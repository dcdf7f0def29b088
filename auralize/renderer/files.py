"""A sound file rendered through the choices of a rig: what arrives at the loudspeaker, what the cable keeps.

One pass over the source where gains do not depend on what comes of it: outputs are written while they
are measured. What is to be matched in loudness or made up, and all where something would pass the ceiling,
is written in a second pass. Outputs are aligned with the source to the sample.
"""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import Executor
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path

from auralize.audio.depth import Depth, output_depth, sound_bytes
from auralize.audio.reader import check_unchanged
from auralize.audio.room import check_disk, check_open_files
from auralize.audio.writer import AudioWriter, check_output
from auralize.circuit.signals import SIGNALS, over
from auralize.errors import AudioFileError, RequestError
from auralize.files import StagedFile, StagedText, commit_set
from auralize.filters.fir import RunFilters, design_run
from auralize.filters.quality import check
from auralize.gains import (
    INSTALLED,
    SOURCE,
    End,
    Gains,
    Heard,
)
from auralize.outputs import (
    facts_beside,
    made_folder,
    sidecar,
)
from auralize.renderer.facts import Rendered, RenderedFile, facts, told_of
from auralize.renderer.job import Job
from auralize.renderer.options import USUAL, RenderOptions
from auralize.renderer.parts import (
    Part,
    Progress,
    as_it_is,
    meter_of,
)
from auralize.renderer.take import Take
from auralize.renderer.written import written
from auralize.rig.choice import Choice
from auralize.rig.work import working_out
from auralize.units import decibels


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
    workers: Executor | None = None,
) -> Rendered:
    """Render ``source`` through every choice into ``folder``, with a JSON sidecar beside each file.

    ``workers`` share the work on one source; they must see the files of this machine.

    A folder that is not there is made, and goes again where nothing comes of it. Raises AuralizeError;
    no output appears unless it is complete, and none in place of a file that this call did not make.
    """
    check_drops(choices, options)
    job = prepared(source, choices, folder, options)
    with made_folder(folder):
        return carried_out(job, Designs(), progress, workers)


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


def carried_out(
    job: Job, designs: Designs, progress: Progress, workers: Executor | None = None
) -> Rendered:
    """Write all that a job has to make, or nothing; raises AuralizeError. ``workers`` as for `render`."""
    take, options, frames = job.take, job.options, job.frames
    for path in job.paths.values():
        check_output(path, job.depth, inputs=[take.info.path])
    job = job.summed_by(workers)
    job.check_ours()
    parts = _plan(job, designs)
    _check_room(take, list(job.paths.values()), job.depth, frames)
    with ExitStack() as files:
        level, gains, writers = written(job, parts, progress, files, workers)
        kept = [part for part in parts if part.heard in writers]
        sidecars = [files.enter_context(StagedText(sidecar(job.paths[p.heard]))) for p in kept]
        outputs = [_output(p, gains[p.heard], writers[p.heard]) for p in kept]
        rendered = Rendered(
            take.info,
            level.loudness,
            decibels(level.peak),
            options.match,
            tuple(outputs),
            told_of(job.choices),
        )

        def finish(part: Part, output: RenderedFile, beside: StagedText) -> list[StagedFile]:
            writer = writers[part.heard]
            writer.finish()
            told = facts(rendered, output, part.choice, take, options, job.source_sha256)
            beside.stage(facts_beside(writer.sha256(), told, job.call, day=job.day))
            # A kill between leaves what the same call finishes.
            return [beside.staged, writer.staged]

        staged = list(map(finish, kept, outputs, sidecars))
        check_unchanged(take.info)  # since it was read ahead, and then for its checksum
        job.check_ours()  # somebody may have put a file there meanwhile
        commit_set([file for files in staged for file in files])
    return replace(rendered, replaced=tuple(w.path for w in writers.values() if w.replaced))


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
