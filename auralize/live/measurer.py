"""The gains of all that can be heard live: predicted at once after an edit, then measured.

The same gains as those of a render, from the same meters; a prediction is what the programme's band
energies say of a response that has not been measured yet.
"""

from __future__ import annotations

import math
import os
import sys
import threading
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final, Literal

import numpy as np

from auralize.audio.convolver import Convolver, offline_hop
from auralize.audio.loudness import (
    BandEnergies,
    BandMeter,
    LoudnessMeter,
    TruePeakMeter,
    headroom_gain,
    matching_gain,
)
from auralize.circuit.network import solve
from auralize.errors import AuralizeError
from auralize.filters.fir import RunFilters
from auralize.live.transport import Programme, Samples
from auralize.render import CEILING, MOST_MAKEUP, Gains, Match
from auralize.rig.choice import Choice
from auralize.units import amplitude, decibels

HeardSignal = Literal["source", "receiving", "drop"]

READ: Final = 1 << 15
"""Frames measured at once."""
FIRST_LOOK: Final = 20.0
"""s of programme after which its band energies are told for the first time; then at each doubling."""
NICENESS: Final = 10
"""Priority of the measuring thread below that of all others, where threads have one (Linux)."""


@dataclass(frozen=True)
class Heard:
    """What is listened to: the source, or one end of a choice."""

    signal: HeardSignal
    choice: str | None = None
    """None for the source."""
    conductors: int = 2
    """The drop over both, or over one."""

    def plain(self) -> Heard:
        """Without what makes no difference to this signal."""
        if self.signal == "source":
            return SOURCE
        return self if self.signal == "drop" else Heard(self.signal, self.choice)


SOURCE: Final = Heard("source")


@dataclass(frozen=True)
class Level:
    """A signal before any gain."""

    loudness: float
    """LUFS"""
    peak: float
    """True peak, linear."""
    measured: bool
    """False: predicted."""


@dataclass(frozen=True)
class RunLevels:
    """The two ends of what a choice does; the drop over both conductors."""

    receiving: Level
    drop: Level


def balance(
    source: Level,
    runs: Mapping[str, RunLevels],
    matches: Mapping[str, float],
    makeup: float | None,
) -> dict[Heard, Gains]:
    """The gains of everything: ``matches`` in dB by choice, ``makeup`` in dB on each drop.

    Make-up None: whole dB, the same for all choices, that bring the loudest drop up to the source
    without a peak over the ceiling. Headroom is one figure for all that can be compared.
    """
    plain: dict[Heard, tuple[float, float]] = {SOURCE: (0.0, 0.0)}
    peaks = [source.peak]
    for name, levels in runs.items():
        plain[Heard("receiving", name)] = (matches[name], 0.0)
        peaks.append(levels.receiving.peak * amplitude(matches[name]))
    for conductors in (1, 2):
        share = 0.5 * conductors
        lift = chosen_makeup(source, runs, matches, share) if makeup is None else makeup
        for name, levels in runs.items():
            plain[Heard("drop", name, conductors)] = (matches[name], lift)
            peaks.append(share * levels.drop.peak * amplitude(matches[name] + lift))
    headroom = headroom_gain(peaks, CEILING)
    return {heard: Gains(match, lift, headroom) for heard, (match, lift) in plain.items()}


def chosen_makeup(
    source: Level, runs: Mapping[str, RunLevels], matches: Mapping[str, float], share: float
) -> float:
    """Make-up in dB for drops of which ``share`` is heard (1 over both conductors)."""
    limits = [MOST_MAKEUP]
    for name, levels in runs.items():
        if levels.drop.peak > 0.0:
            gain = matches[name] + decibels(share)
            limits.append(CEILING - decibels(levels.drop.peak) - gain)
            if math.isfinite(levels.drop.loudness) and math.isfinite(source.loudness):
                limits.append(source.loudness - levels.drop.loudness - gain)
    return float(max(0, math.floor(min(limits))))


def match_gain(match: Match, choice: Choice, source: Level, receiving: Level) -> float:
    """dB that match what arrives at the loudspeaker."""
    if match == "installed":
        return 0.0
    if match == "loudness":
        return matching_gain(source.loudness, receiving.loudness)
    return level_gain(choice, match)


def level_gain(choice: Choice, frequency: float) -> float:
    """dB that bring the receiving end to the level of the source at a frequency in Hz."""
    solution = solve(choice.network, [float(frequency)])
    return -decibels(float(np.abs(solution.receiving[choice.listen][0])))


def predicted(
    choice: Choice, energies: BandEnergies, source: Level, before: RunLevels | None = None
) -> RunLevels:
    """Levels without a look at the programme, in under a millisecond.

    Loudness as exact as `BandEnergies` says. The true peak is taken to go with the loudness, from
    that of the choice ``before`` an edit, else from that of the source, which a drop may exceed by
    some dB: until it is measured, the limiter stands behind it.
    """
    solution = solve(choice.network, energies.centres)
    receiving, drop = solution.receiving[choice.listen], solution.drop(choice.listen)
    return RunLevels(
        _scaled(before.receiving if before else source, energies.predict(receiving)),
        _scaled(before.drop if before else source, energies.predict(drop)),
    )


def _scaled(known: Level, loudness: float) -> Level:
    """A signal of this loudness, with the crest factor of one that is known."""
    if not (math.isfinite(loudness) and math.isfinite(known.loudness)):
        return Level(loudness, known.peak, False)
    return Level(loudness, known.peak * amplitude(loudness - known.loudness), False)


# --- measuring in the background ------------------------------------------------------------------


@dataclass(frozen=True)
class SourceMeasured:
    """What is known of the programme, so far or (``whole``) altogether."""

    energies: BandEnergies
    level: Level
    whole: bool


class Measurer:
    """A thread of low priority that measures the source, then the choices that are wanted.

    Tells what it found, in its own thread, by ``on_source``, ``on_run`` and ``on_fault``.
    """

    def __init__(
        self,
        path: Path,
        rate: int,
        on_source: Callable[[SourceMeasured], None],
        on_run: Callable[[str, RunFilters, RunLevels], None],
        on_fault: Callable[[str], None],
    ) -> None:
        self._path, self._rate = path, rate
        self._on_source, self._on_run, self._on_fault = on_source, on_run, on_fault
        self._wanted: dict[str, RunFilters] = {}
        self._lock = threading.Lock()
        self._wake = threading.Event()
        self._closing = False
        self.thread = threading.Thread(target=self._work, name="measurer", daemon=True)
        self.thread.start()

    def want(self, name: str, filters: RunFilters) -> None:
        """Measure this choice with these filters; older ones of that name are given up."""
        with self._lock:
            self._wanted[name] = filters
        self._wake.set()

    def close(self) -> None:
        """End soon."""
        self._closing = True
        self._wake.set()

    def _work(self) -> None:
        if sys.platform == "linux":
            os.setpriority(os.PRIO_PROCESS, threading.get_native_id(), NICENESS)
        try:
            self._measure_source()
            while not self._closing:
                self._wake.wait()
                self._wake.clear()
                while not self._closing and self._wanted:
                    self._measure_runs()
        except AuralizeError as error:
            self._on_fault(str(error))

    def _blocks(self, programme: Programme) -> Iterator[Samples]:
        for start in range(0, programme.frames, READ):
            if self._closing:
                return
            yield programme.read(start, min(READ, programme.frames - start))

    def _measure_source(self) -> None:
        programme = Programme(self._path, self._rate)
        bands, peak = (
            BandMeter(self._rate, programme.channels),
            TruePeakMeter(self._rate, programme.channels),
        )
        done, look = 0, FIRST_LOOK * self._rate
        for block in self._blocks(programme):
            bands.add(block)
            peak.add(block)
            done += len(block)
            if done >= look:
                look *= 2.0
                self._tell_source(bands, peak, whole=False)
        programme.close()
        if not self._closing:
            self._tell_source(bands, peak, whole=True)

    def _tell_source(self, bands: BandMeter, peak: TruePeakMeter, whole: bool) -> None:
        level = Level(bands.integrated, peak.peak, whole)
        self._on_source(SourceMeasured(bands.energies, level, whole))

    def _measure_runs(self) -> None:
        """One pass over the programme for all that is wanted now."""
        with self._lock:
            wanted = dict(self._wanted)
        found = self._levels(list(wanted.values()), lambda: self._still_wanted(wanted))
        if found is None:
            return
        for (name, filters), levels in zip(wanted.items(), found, strict=True):
            with self._lock:
                current = self._wanted.get(name) is filters
                if current:
                    del self._wanted[name]
            if current:
                self._on_run(name, filters, levels)

    def _still_wanted(self, wanted: Mapping[str, RunFilters]) -> bool:
        with self._lock:
            return any(self._wanted.get(n) is filters for n, filters in wanted.items())

    def _levels(
        self, runs: Sequence[RunFilters], wanted: Callable[[], bool]
    ) -> list[RunLevels] | None:
        programme = Programme(self._path, self._rate)
        try:
            return self._metered(programme, runs, wanted)
        finally:
            programme.close()

    def _metered(
        self, programme: Programme, runs: Sequence[RunFilters], wanted: Callable[[], bool]
    ) -> list[RunLevels] | None:
        firs = [fir for run in runs for fir in (run.receiving, run.drop)]
        taps = max(len(fir.taps) for fir in firs)
        impulses = np.stack([np.pad(fir.taps, (0, taps - len(fir.taps))) for fir in firs])
        convolver = Convolver(impulses, programme.channels, offline_hop(taps))
        meters = [
            (
                LoudnessMeter(self._rate, programme.channels),
                TruePeakMeter(self._rate, programme.channels),
            )
            for _ in firs
        ]
        early = firs[0].delay
        for block in self._blocks(programme):
            if not wanted():
                return None
            early = _add(meters, convolver.process(block), early)
        if self._closing:
            return None
        _add(meters, convolver.flush(firs[0].delay), early)
        levels = [Level(loudness.integrated, peak.peak, True) for loudness, peak in meters]
        return [RunLevels(*pair) for pair in zip(levels[::2], levels[1::2], strict=True)]


def _add(
    meters: Sequence[tuple[LoudnessMeter, TruePeakMeter]],
    wet: np.ndarray[tuple[int, int, int], np.dtype[np.float64]],
    early: int,
) -> int:
    """Feed each meter its row without the first ``early`` frames; how many of them are to come."""
    for (loudness, peak), block in zip(meters, wet[:, early:], strict=True):
        if len(block):
            loudness.add(block)
            peak.add(block)
    return max(0, early - wet.shape[1])
