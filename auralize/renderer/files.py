"""A sound file rendered through the choices of a rig: what arrives at the loudspeaker, what the cable keeps.

Two passes over the source, both in blocks: the first measures every output, the second writes it with
the gains that follow. Outputs are aligned with the source to the sample.
"""

from __future__ import annotations

import os
import zlib
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final, Literal

from auralize.audio.carried import carried
from auralize.audio.depth import Depth, output_depth, sound_bytes
from auralize.audio.loudness import LoudnessMeter
from auralize.audio.metering import Level, Meter, Samples, measure
from auralize.audio.reader import AudioInfo, probe, read_blocks
from auralize.audio.room import check_disk, check_open_files
from auralize.audio.writer import AudioWriter, check_output
from auralize.circuit.signals import SIGNALS, Signal, over
from auralize.circuit.solution import Across
from auralize.errors import AudioFileError, RequestError
from auralize.figures.rows import listed
from auralize.files import StagedText, check_text, commit_set, make_folder
from auralize.filters.fir import Fir, design_run
from auralize.filters.quality import check
from auralize.filters.stream import through
from auralize.gains import INSTALLED, End, Gains, Heard, Match, balance, match_gain
from auralize.renderer.facts import Rendered, RenderedFile, describe, facts, sidecar, told_of
from auralize.rig.choice import Choice
from auralize.rig.reading import Rig
from auralize.rig.work import working_out
from auralize.units import amplitude, decibels

BLOCK: Final = 1 << 15
"""Frames read at a time."""


@dataclass(frozen=True)
class RenderOptions:
    """How to render; all that can be chosen besides rig and source."""

    match: Match = INSTALLED
    signals: tuple[Signal, ...] = ("receiving", "drop")
    across: Across = "both"
    """Which conductors the drop is over."""
    makeup: float | None = None
    """dB on the drop; None: chosen, the same for all choices."""
    depth: Depth | None = None
    """None: that of the source."""
    suffix: Literal[".wav", ".flac"] = ".wav"
    tail: float = 0.0
    """s of decay after the end of the source."""


@dataclass(frozen=True)
class _Part:
    """An output on its way: its filter, and a meter for the signal before any gain."""

    choice: Choice
    heard: End
    fir: Fir
    path: Path
    wanted: bool
    """False for a receiving end that is only measured, to match by."""
    meter: Meter


Progress = Callable[[float], None]
"""Called with the share of the work that is done, 0 to 1."""


def render(
    source: Path,
    choices: Sequence[Choice],
    folder: Path,
    options: RenderOptions = RenderOptions(),
    progress: Progress = lambda share: None,
) -> Rendered:
    """Render ``source`` through every choice into ``folder``, with a JSON sidecar beside each file.

    A folder that is not there is made, and goes again where nothing comes of it. Raises AuralizeError;
    no output appears unless it is complete.
    """
    info = probe(source)
    depth = options.depth or output_depth(info, options.suffix)
    parts = _plan(info, choices, folder, options)
    if options.match.frequency > info.rate / 2.0:
        raise AudioFileError(
            f"{source}: to match at {options.match.frequency:g} Hz needs a sample rate of twice that or "
            f"more, and it has {info.rate} Hz"
        )
    frames = info.frames + round(options.tail * info.rate)
    more = carried(info.path)
    share = _Share(progress, passes=2, frames=frames)
    with _made(folder), ThreadPoolExecutor(os.cpu_count()) as pool, ExitStack() as files:
        for part in parts:
            check_output(part.path, depth, inputs=[source])
            if part.wanted:
                check_text(sidecar(part.path))
        _check_room(info, [part.path for part in parts if part.wanted], depth, frames)
        level = _measure(info, parts, frames, pool, share)
        gains = _gains(parts, options, level.loudness)
        kept = [(p, gains[p.heard]) for p in parts if p.wanted]
        sidecars = [files.enter_context(StagedText(sidecar(p.path))) for p, _ in kept]
        writers = [files.enter_context(_writer(info, p, g, depth, frames, more)) for p, g in kept]
        _write(info, kept, writers, frames, pool, share)
        outputs = [_output(p, g, w.clipped) for (p, g), w in zip(kept, writers, strict=True)]
        peak = decibels(level.peak)
        rendered = Rendered(
            info, level.loudness, peak, options.match, tuple(outputs), told_of(choices)
        )
        for (part, _), output, staged in zip(kept, outputs, sidecars, strict=True):
            staged.stage(facts(rendered, output, part.choice))
        for writer in writers:
            writer.finish()
        commit_set([f.staged for pair in zip(writers, sidecars, strict=True) for f in pair])
    return replace(rendered, replaced=tuple(w.path for w in writers if w.replaced))


def render_file(
    source: Path | str,
    choices: Rig | Choice | Sequence[Choice],
    folder: Path | str,
    *,
    match: Match | str | float = INSTALLED,
    signals: Sequence[Signal] = ("receiving", "drop"),
    across: Across = "both",
    makeup: float | None = None,
    progress: Progress = lambda share: None,
) -> Rendered:
    """A sound file through every choice into a folder: what ``auralize render`` does.

    Parameters
    ----------
    source, folder : path
        A folder is made where it is not there. Files of the same names are replaced.
    choices : Rig, Choice or sequence of Choice
    match : Match, "installed", "loudness", or a frequency in Hz
    signals : sequence of {"receiving", "drop", "sending"}
    across : {"both", "plus", "minus"}
        Which conductors the drops are over.
    makeup : float, optional
        dB on the drops; chosen where it is left out, one figure for all.
    progress : callable, optional
        Called with the share of the work that is done, 0 to 1.

    Returns
    -------
    Rendered
        ``outputs``: path, choice, signal, gains, loudness, true peak, filter error of each.

    Raises
    ------
    AudioFileError, FileError, RequestError
        No output appears unless it is complete.

    Examples
    --------
    >>> import auralize as au
    >>> rig = au.load_rig("saltmarsh.toml")
    >>> done = au.render_file("programme.wav", rig["reel"], "results", match="loudness")
    >>> [output.path.name for output in done.outputs]
    ['programme.reel.receiving.wav', 'programme.reel.drop.wav']
    """
    unknown = [signal for signal in signals if signal not in SIGNALS]
    if unknown or not signals:
        raise RequestError(f"signals: {unknown or 'none'} given; right are {', '.join(SIGNALS)}")
    options = RenderOptions(Match.of(match), tuple(signals), across, makeup)
    return render(Path(source), listed(choices), Path(folder), options, progress)


@contextmanager
def _made(folder: Path) -> Iterator[None]:
    """``folder`` and the parents that it lacks; with an exception, what was made goes again."""
    missing = [path for path in (folder, *folder.parents) if not os.path.lexists(path)]
    try:
        if missing:
            make_folder(folder)
        yield
    except BaseException:
        for path in missing:  # innermost first
            with suppress(OSError):  # not there after all, or somebody else put something in
                path.rmdir()
        raise


class _Share:
    """Turns frames done into a share of all the work."""

    def __init__(self, progress: Progress, passes: int, frames: int) -> None:
        self._progress, self._all, self._done = progress, passes * frames, 0

    def add(self, frames: int) -> None:
        self._done += frames
        self._progress(self._done / self._all)


def _plan(
    info: AudioInfo, choices: Sequence[Choice], folder: Path, options: RenderOptions
) -> list[_Part]:
    parts = []
    for choice in choices:
        if "drop" in options.signals:
            choice.check_signal("drop", options.across)
        with working_out(f"the filters of choice {choice.name}"):
            filters = design_run(choice.network, choice.listen, info.rate)
        for signal in SIGNALS:
            wanted = signal in options.signals
            if not (wanted or signal == "receiving"):
                continue
            heard = End(signal, choice.name, options.across).plain
            path = folder / f"{info.path.stem}.{choice.name}.{heard.kind}{options.suffix}"
            fir = filters.of(signal, heard.across)
            if wanted or options.match != INSTALLED:
                what = f"choice {choice.name}, {signal} signal{over(signal, heard.across)}"
                check(what, fir.error)
            parts.append(_Part(choice, heard, fir, path, wanted, _meter(info)))
    return parts


def _meter(info: AudioInfo) -> Meter:
    return Meter(info.rate, info.channels, LoudnessMeter(info.rate, info.channels, info.mask))


def _blocks(
    info: AudioInfo, parts: Sequence[_Part], frames: int
) -> Iterator[tuple[Samples, Samples]]:
    """Source (n, channels) and outputs (parts, m, channels), ``frames`` of each output in all."""
    return through(
        read_blocks(info, BLOCK),
        [part.fir for part in parts],
        info.channels,
        tail=frames - info.frames,
        workers=os.cpu_count() or 1,
    )


def _check_room(info: AudioInfo, paths: Sequence[Path], depth: Depth, frames: int) -> None:
    """Refuse what would fail half way; how long FLAC files become nobody knows beforehand."""
    check_open_files(len(paths))
    if paths[0].suffix != ".flac":
        check_disk(paths, sound_bytes(depth, info.channels, frames))


def _measure(
    info: AudioInfo, parts: Sequence[_Part], frames: int, pool: ThreadPoolExecutor, share: _Share
) -> Level:
    """Feed the meters of all parts; the level of the source itself."""
    source = _meter(info)
    blocks = ((dry, *wet) for dry, wet in _blocks(info, parts, frames))
    measure(blocks, [source, *(part.meter for part in parts)], pool, share.add)
    return source.level


def _gains(
    parts: Sequence[_Part], options: RenderOptions, reference: float
) -> Mapping[Heard, Gains]:
    """What each part is given. ``reference`` is the loudness of the source."""
    levels: dict[Heard, Level] = {part.heard: part.meter.level for part in parts}
    matches = {
        part.choice.name: match_gain(options.match, part.choice, reference, levels[part.heard])
        for part in parts
        if part.heard.signal == "receiving"
    }
    written = [part.heard for part in parts if part.wanted]
    return balance(reference, levels, matches, options.makeup, shared=written)


def _writer(
    info: AudioInfo, part: _Part, gains: Gains, depth: Depth, frames: int, more: bytes
) -> AudioWriter:
    """Results are played together, so each has a dither of its own, the same at every render."""
    return AudioWriter(
        part.path,
        info.rate,
        info.channels,
        depth,
        frames,
        describe(part.choice, part.heard, gains),
        inputs=[info.path],
        mask=info.mask,
        more=more,
        dither_seed=zlib.crc32(f"{part.choice.name}.{part.heard.kind}".encode()),
    )


def _write(
    info: AudioInfo,
    kept: Sequence[tuple[_Part, Gains]],
    writers: Sequence[AudioWriter],
    frames: int,
    pool: ThreadPoolExecutor,
    share: _Share,
) -> None:
    """Fill each part's writer, its gain applied."""
    factors = [amplitude(gains.total) for _, gains in kept]
    for _, wet in _blocks(info, [part for part, _ in kept], frames):
        jobs = [
            pool.submit(writer.write, factor * block)
            for writer, factor, block in zip(writers, factors, wet, strict=True)
        ]
        for job in jobs:
            job.result()
        share.add(wet.shape[1])


def _output(part: _Part, gains: Gains, clipped: int) -> RenderedFile:
    level = part.meter.level
    return RenderedFile(
        path=part.path,
        choice=part.choice.name,
        label=part.choice.label,
        signal=part.heard.signal,
        across=part.heard.across,
        gains=gains,
        loudness=level.loudness + gains.total,
        true_peak=decibels(level.peak) + gains.total,
        filter_error=part.fir.error,
        clipped=clipped,
    )
