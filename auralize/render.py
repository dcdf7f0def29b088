"""A programme rendered through the choices of a rig: what arrives at the loudspeaker, what the cable keeps.

Two passes over the source, both in blocks: the first measures every output, the second writes it with
the gains that follow. Outputs are aligned with the source to the sample.
"""

from __future__ import annotations

import json
import math
import os
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from auralize.audio.convolver import Convolver, offline_hop
from auralize.audio.depth import Depth, output_depth
from auralize.audio.loudness import LoudnessMeter, TruePeakMeter, headroom_gain, matching_gain
from auralize.audio.reader import AudioInfo, probe, read_blocks
from auralize.audio.writer import AudioWriter, check_output
from auralize.circuit.network import solve
from auralize.errors import AudioFileError
from auralize.files import StagedText, check_text, make_folder
from auralize.filters.fir import Fir, RunFilters, design_run
from auralize.rig.choice import Choice
from auralize.units import amplitude, decibels, rounded

Samples = NDArray[np.float64]
Signal = Literal["receiving", "drop", "sending"]
SIGNALS: Final[tuple[Signal, ...]] = ("receiving", "drop", "sending")

Match = Literal["installed", "loudness"] | float
"""As installed; to the loudness of the source; or to its level at this frequency in Hz."""

CEILING: Final = -1.0
"""dBTP that no output passes, the usual limit for delivery (EBU R 128)."""
MOST_MAKEUP: Final = 40.0
"""dB; make-up gain that is chosen for the listener goes no further."""
BLOCK: Final = 1 << 15
"""Frames read at a time."""


@dataclass(frozen=True)
class Wishes:
    """How to render; all that a listener can choose besides rig and source."""

    match: Match = "installed"
    signals: tuple[Signal, ...] = ("receiving", "drop")
    conductors: int = 2
    """2: the drop over both conductors; 1: over one of them."""
    makeup: float | None = None
    """dB on the drop; None: chosen, the same for all choices."""
    depth: Depth | None = None
    """None: that of the source."""
    suffix: Literal[".wav", ".flac"] = ".wav"
    tail: float = 0.0
    """s of decay after the end of the source."""


@dataclass(frozen=True)
class Gains:
    """dB applied to one output; `total` is their sum."""

    match: float
    makeup: float
    headroom: float

    @property
    def total(self) -> float:
        """dB between the signal on the line and the file."""
        return self.match + self.makeup + self.headroom


@dataclass(frozen=True)
class Output:
    """One file that was written, and what is true of it."""

    path: Path
    choice: str
    label: str
    signal: Signal
    gains: Gains
    loudness: float
    """LUFS of the file."""
    true_peak: float
    """dBTP of the file."""
    filter_error: float
    """dB, largest complex error of the filter relative to the response it came from."""
    clipped: int
    """Samples that the file could not hold."""


@dataclass(frozen=True)
class Rendered:
    """All that one `render` wrote."""

    source: AudioInfo
    source_loudness: float
    """LUFS"""
    source_true_peak: float
    """dBTP"""
    match: Match
    outputs: tuple[Output, ...]
    replaced: tuple[Path, ...] = ()
    """Those outputs whose names were taken by earlier files."""

    @property
    def softened(self) -> float:
        """dB of the headroom that is there for the make-up gain alone."""
        bare = [amplitude(o.true_peak - o.gains.makeup - o.gains.headroom) for o in self.outputs]
        return headroom_gain(bare, CEILING) - self.outputs[0].gains.headroom


@dataclass(frozen=True)
class _Part:
    """An output on its way: its filter, and meters for the signal before any gain."""

    choice: Choice
    signal: Signal
    fir: Fir
    path: Path
    wanted: bool
    """False for a receiving end that is only measured, to match by."""
    loudness: LoudnessMeter
    true_peak: TruePeakMeter

    def measure(self, block: Samples) -> None:
        self.loudness.add(block)
        self.true_peak.add(block)


Progress = Callable[[float], None]
"""Called with the share of the work that is done, 0 to 1."""


def render(
    source: Path,
    choices: Sequence[Choice],
    folder: Path,
    wishes: Wishes = Wishes(),
    progress: Progress = lambda share: None,
) -> Rendered:
    """Render ``source`` through every choice into ``folder``, with a JSON sidecar beside each file.

    A folder that is not there is made, and goes again where nothing comes of it. Raises AuralizeError;
    no output appears unless it is complete.
    """
    info = probe(source)
    depth = wishes.depth or output_depth(info, wishes.suffix)
    parts = _plan(info, choices, folder, wishes)
    if isinstance(wishes.match, float) and wishes.match > info.rate / 2.0:
        raise AudioFileError(
            f"{source}: to match at {wishes.match:g} Hz needs a sample rate of twice that or more, "
            f"and it has {info.rate} Hz"
        )
    frames = info.frames + round(wishes.tail * info.rate)
    share = _Share(progress, passes=2, frames=frames)
    with _made(folder), ThreadPoolExecutor(os.cpu_count()) as pool, ExitStack() as files:
        for part in parts:
            check_output(part.path, depth, inputs=[source])
            if part.wanted:
                check_text(sidecar(part.path))
        loudness, true_peak = _measure(info, parts, frames, pool, share)
        gains = _gains(parts, wishes, loudness)
        kept = [(p, g) for p, g in zip(parts, gains, strict=True) if p.wanted]
        # Left in reverse: sound files take their names first, then what is said of them.
        sidecars = [files.enter_context(StagedText(sidecar(p.path))) for p, _ in kept]
        writers = [files.enter_context(_writer(info, p, g, depth, frames)) for p, g in kept]
        _write(info, kept, writers, frames, pool, share)
        outputs = [_output(p, g, w.clipped) for (p, g), w in zip(kept, writers, strict=True)]
        rendered = Rendered(info, loudness, decibels(true_peak), wishes.match, tuple(outputs))
        for (part, _), output, staged in zip(kept, outputs, sidecars, strict=True):
            staged.stage(_facts(rendered, output, part.choice, wishes.conductors))
    return replace(rendered, replaced=tuple(w.path for w in writers if w.replaced))


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


def sidecar(path: Path) -> Path:
    """Where the facts of a sound file stand: beside it, ``.json`` added to its whole name."""
    return path.with_name(path.name + ".json")


class _Share:
    """Turns frames done into a share of all the work."""

    def __init__(self, progress: Progress, passes: int, frames: int) -> None:
        self._progress, self._all, self._done = progress, passes * frames, 0

    def add(self, frames: int) -> None:
        self._done += frames
        self._progress(self._done / self._all)


def _plan(info: AudioInfo, choices: Sequence[Choice], folder: Path, wishes: Wishes) -> list[_Part]:
    parts = []
    for choice in choices:
        if wishes.conductors == 1 and "drop" in wishes.signals:
            _check_one_conductor(choice)
        filters = design_run(choice.network, choice.listen, info.rate)
        for signal in SIGNALS:
            wanted = signal in wishes.signals
            if not (wanted or signal == "receiving"):
                continue
            name = f"{info.path.stem}.{choice.name}.{signal}{wishes.suffix}"
            fir = _fir(filters, signal, wishes.conductors)
            meters = (
                LoudnessMeter(info.rate, info.channels),
                TruePeakMeter(info.rate, info.channels),
            )
            parts.append(_Part(choice, signal, fir, folder / name, wanted, *meters))
    return parts


def _check_one_conductor(choice: Choice) -> None:
    """Refuse the drop over one conductor where the two differ, or where none runs all the way."""
    try:
        solve(choice.network, [1000.0]).drop(choice.listen, 1)
    except ValueError as error:
        raise AudioFileError(f"choice {choice.name}, drop over one conductor: {error}") from None


def _fir(filters: RunFilters, signal: Signal, conductors: int) -> Fir:
    fir: Fir = getattr(filters, signal)
    if signal == "drop" and conductors == 1:
        return replace(fir, taps=0.5 * fir.taps)
    return fir


def _blocks(
    info: AudioInfo, parts: Sequence[_Part], frames: int
) -> Iterator[tuple[Samples, Samples]]:
    """Source (n, channels) and outputs (parts, m, channels), delay taken out, ``frames`` of each in all.

    Each comes in blocks of its own length, as the convolver holds some frames back.
    """
    taps = max(len(part.fir.taps) for part in parts)
    impulses = np.stack([np.pad(p.fir.taps, (0, taps - len(p.fir.taps))) for p in parts])
    hop = offline_hop(taps)
    convolver = Convolver(impulses, info.channels, hop, workers=os.cpu_count() or 1)
    delay = early = parts[0].fir.delay  # the same for all filters of one sample rate
    for dry in read_blocks(info.path, BLOCK):
        wet = convolver.process(dry)
        yield dry, wet[:, early:]
        early = max(0, early - wet.shape[1])
    rest = convolver.flush(frames - info.frames + delay)
    yield np.zeros((0, info.channels)), rest[:, early:]


def _measure(
    info: AudioInfo, parts: Sequence[_Part], frames: int, pool: ThreadPoolExecutor, share: _Share
) -> tuple[float, float]:
    """Feed the meters of all parts; loudness (LUFS) and true peak (linear) of the source itself."""
    loudness, true_peak = (
        LoudnessMeter(info.rate, info.channels),
        TruePeakMeter(info.rate, info.channels),
    )
    for dry, wet in _blocks(info, parts, frames):
        jobs = [pool.submit(part.measure, block) for part, block in zip(parts, wet, strict=True)]
        loudness.add(dry)
        true_peak.add(dry)
        for job in jobs:
            job.result()
        share.add(wet.shape[1])
    return loudness.integrated, true_peak.peak


def _gains(parts: Sequence[_Part], wishes: Wishes, reference: float) -> list[Gains]:
    """What each part is given. ``reference`` is the loudness of the source."""
    by_choice = {
        p.choice.name: _match(p, wishes.match, reference) for p in parts if p.signal == "receiving"
    }
    match = [by_choice[part.choice.name] for part in parts]
    makeup = wishes.makeup
    if makeup is None:
        makeup = _chosen_makeup(parts, match, reference)
    makeups = [makeup if part.signal == "drop" else 0.0 for part in parts]
    peaks = [
        part.true_peak.peak * amplitude(m + u)
        for part, m, u in zip(parts, match, makeups, strict=True)
        if part.wanted
    ]
    headroom = headroom_gain(peaks, CEILING)
    return [Gains(m, u, headroom) for m, u in zip(match, makeups, strict=True)]


def _match(receiving: _Part, match: Match, reference: float) -> float:
    if match == "installed":
        return 0.0
    if match == "loudness":
        return matching_gain(reference, receiving.loudness.integrated)
    solution = solve(receiving.choice.network, [float(match)])
    level = decibels(float(np.abs(solution.receiving[receiving.choice.listen][0])))
    return -level if math.isfinite(level) else 0.0  # silence cannot be matched


def _chosen_makeup(parts: Sequence[_Part], match: Sequence[float], reference: float) -> float:
    """Whole dB, one figure for all drops: brings the loudest up to the source, no peak over the ceiling."""
    limits = [MOST_MAKEUP]
    for part, gain in zip(parts, match, strict=True):
        if part.signal == "drop" and part.true_peak.peak > 0.0:
            limits.append(CEILING - decibels(part.true_peak.peak) - gain)
            if math.isfinite(part.loudness.integrated) and math.isfinite(reference):
                limits.append(reference - part.loudness.integrated - gain)
    return float(max(0, math.floor(min(limits))))


def _writer(info: AudioInfo, part: _Part, gains: Gains, depth: Depth, frames: int) -> AudioWriter:
    comment = describe(part.choice.name, part.signal, gains)
    return AudioWriter(
        part.path, info.rate, info.channels, depth, frames, comment, inputs=[info.path]
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


def describe(choice: str, signal: Signal, gains: Gains) -> str:
    """The comment that travels inside the file."""
    words = {"receiving": "receiving end", "drop": "drop", "sending": "sending end"}
    total, match, makeup, headroom = (
        rounded(gain, "+.2f") for gain in (gains.total, gains.match, gains.makeup, gains.headroom)
    )
    return (
        f"{words[signal]}, choice {choice}; gain {total} dB "
        f"(match {match}, make-up {makeup}, headroom {headroom})"
    )


def _output(part: _Part, gains: Gains, clipped: int) -> Output:
    return Output(
        path=part.path,
        choice=part.choice.name,
        label=part.choice.label,
        signal=part.signal,
        gains=gains,
        loudness=part.loudness.integrated + gains.total,
        true_peak=decibels(part.true_peak.peak) + gains.total,
        filter_error=part.fir.error,
        clipped=clipped,
    )


def _facts(rendered: Rendered, output: Output, choice: Choice, conductors: int) -> str:
    """The facts of one file, as JSON."""
    gains = {name: round(value, 4) for name, value in asdict(output.gains).items()}
    facts = {
        "file": output.path.name,
        "source": rendered.source.path.name,
        "source_loudness_lufs": _finite(rendered.source_loudness),
        "signal": output.signal,
        "drop_over_conductors": conductors if output.signal == "drop" else None,
        "choice": output.choice,
        "label": output.label,
        "runs": {name: run.words for name, run in choice.runs.items()},
        "match": rendered.match,
        "gain_db": {**gains, "total": round(output.gains.total, 4)},
        "loudness_lufs": _finite(output.loudness),
        "true_peak_dbtp": _finite(output.true_peak),
        "delay_samples": 0,
        "filter_error_db": _finite(output.filter_error),
        "clipped_samples": output.clipped,
    }
    return json.dumps(facts, indent=2, ensure_ascii=False) + "\n"


def _finite(level: float) -> float | None:
    """JSON has no infinity: the level of silence is null."""
    return round(level, 3) if math.isfinite(level) else None
