"""The levels of all that can be heard live: predicted at once after an edit, then measured.

From the same meters as those of a render; a prediction is what the programme's band energies say of a
response that has not been measured yet.
"""

from __future__ import annotations

import math
import threading
from collections.abc import Callable, Mapping, Sequence
from contextlib import closing
from dataclasses import dataclass, replace
from itertools import islice
from typing import Final

from auralize.audio.band_loudness import BandEnergies, BandMeter
from auralize.audio.loudness import STEPS_PER_SECOND
from auralize.audio.metering import Level, Meter
from auralize.circuit.signals import drops, voltage
from auralize.circuit.solution import Across, solve
from auralize.errors import AuralizeError
from auralize.filters.fir import Fir, RunFilters
from auralize.gains import DROP_GATED_AFTER, End, Heard
from auralize.live.pieces import Task, Workers, be_nice
from auralize.live.progress import PROGRAMME, Progress
from auralize.live.sources import Feed
from auralize.rig.choice import Choice
from auralize.units import amplitude

FIRST_LOOK: Final = 20.0
"""s of programme after which its band energies are told for the first time; then at each doubling."""


@dataclass(frozen=True)
class RunLevels:
    """What arrives, and the drops: over both conductors and, where each can be told, over each."""

    receiving: Level
    drops: Mapping[Across, Level]

    @property
    def drop(self) -> Level:
        """Over both conductors."""
        return self.drops["both"]

    @property
    def measured(self) -> bool:
        """Whether nothing of them is a prediction."""
        return all(level.measured for level in (self.receiving, *self.drops.values()))

    def by_end(self, choice: str) -> dict[Heard, Level]:
        """The same by what can be heard of a choice of that name."""
        dropped: dict[Heard, Level] = {
            End("drop", choice, across): level for across, level in self.drops.items()
        }
        return {End("receiving", choice): self.receiving, **dropped}


def predicted(
    choice: Choice, energies: BandEnergies, source: Level, before: RunLevels | None = None
) -> RunLevels:
    """Levels without a look at the programme, in under a millisecond.

    Loudness as exact as `BandEnergies` says. The true peak is taken to go with the loudness, from
    that of the choice ``before`` an edit, else from that of the source, which a drop may exceed by
    some dB: until it is measured, the limiter stands behind it.
    """
    solution = solve(choice.network, energies.centres)
    receiving = voltage(solution, choice.listen, "receiving")
    dropped = before.drops if before else {}
    return RunLevels(
        scaled_level(before.receiving if before else source, energies.predict(receiving)),
        {
            across: scaled_level(
                dropped.get(across, source), energies.predict(response, DROP_GATED_AFTER)
            )
            for across, response in drops(solution, choice.listen).items()
        },
    )


def scaled_level(known: Level, loudness: float) -> Level:
    """A signal of this loudness, with the crest factor of one that is known."""
    if not (math.isfinite(loudness) and math.isfinite(known.loudness)):
        return Level(loudness, known.peak, False)
    return Level(loudness, known.peak * amplitude(loudness - known.loudness), False)


# --- measuring in the background ------------------------------------------------------------------


@dataclass(frozen=True)
class SourceMeasured:
    """What is known of the programme: altogether where the level is measured, else so far."""

    energies: BandEnergies
    level: Level


class Measurer:
    """A thread of low priority that measures the source, then the choices that are wanted.

    Tells what it found, in its own thread, by ``on_source``, ``on_run`` and ``on_fault``.
    """

    def __init__(
        self,
        feed: Feed,
        rate: int,
        on_source: Callable[[SourceMeasured], None],
        on_run: Callable[[str, RunFilters, RunLevels], None],
        on_fault: Callable[[str], None],
    ) -> None:
        self._feed, self._rate = feed, rate
        self._on_source, self._on_run, self._on_fault = on_source, on_run, on_fault
        self._wanted: dict[str, RunFilters] = {}
        self.progress = Progress()
        self._known = False  # whether the programme itself has been measured
        self._lock = threading.Lock()
        self._wake = threading.Event()
        self._closing = False
        self.thread = threading.Thread(target=self._work, name="measurer", daemon=True)
        self.thread.start()

    def want(self, name: str, filters: RunFilters) -> None:
        """Measure this choice with these filters; older ones of that name are given up."""
        with self._lock:
            self._wanted[name] = filters
            self._expect()
        self._wake.set()

    def _expect(self) -> None:
        """Tell the progress what is to be measured beside what has been; with the lock."""
        signals = sum(len(_distinct(run)) for run in self._wanted.values())
        self.progress.expect(signals if self._known else PROGRAMME + signals)

    def close(self) -> None:
        """End soon."""
        self._closing = True
        self._wake.set()

    def _work(self) -> None:
        be_nice()
        self._pool = pool = Workers()
        try:
            self._measure_source(pool)
            while not self._closing:
                self._wake.wait()
                self._wake.clear()
                while not self._closing and self._wanted:
                    self._measure_runs()
        except AuralizeError as error:
            self.progress.rest()
            self._on_fault(str(error))
        finally:
            pool.close()

    def _measure_source(self, pool: Workers) -> None:
        with closing(self._feed.opened(self._rate)) as programme:
            self.progress.begin(programme.stretch)
        look = FIRST_LOOK * STEPS_PER_SECOND
        task = Task(self._feed, self._rate)
        did = self.progress.did
        for (meter,), piece in pool.measure(task, self._is_open, lambda n: did(PROGRAMME * n)):
            if piece.stop is None:
                self._known = True
                self._tell_source(meter, whole=True)
            elif piece.stop >= look:
                while piece.stop >= look:
                    look *= 2.0
                self._tell_source(meter, whole=False)

    def _is_open(self) -> bool:
        return not self._closing

    def _tell_source(self, meter: Meter, whole: bool) -> None:
        level = replace(meter.level, measured=whole)
        assert isinstance(meter.loudness, BandMeter)  # see `Task.meters`
        self._on_source(SourceMeasured(meter.loudness.energies, level))

    def _measure_runs(self) -> None:
        """One pass over the programme for all that is wanted now."""
        with self._lock:
            wanted = dict(self._wanted)
            self._expect()
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
        with self._lock:
            if not self._wanted:
                self.progress.rest()

    def _still_wanted(self, wanted: Mapping[str, RunFilters]) -> bool:
        with self._lock:
            return any(self._wanted.get(n) is filters for n, filters in wanted.items())

    def _levels(
        self, runs: Sequence[RunFilters], wanted: Callable[[], bool]
    ) -> list[RunLevels] | None:
        distinct = [_distinct(run) for run in runs]
        firs = [fir for run in distinct for fir in run]
        task = Task(self._feed, self._rate, firs)
        meters: list[Meter] | None = None
        measuring = self._pool.measure(
            task,
            lambda: self._is_open() and wanted(),
            lambda frames: self.progress.did(frames * len(firs)),
        )
        for found, piece in measuring:
            if piece.stop is None:
                meters = found
        if meters is None:
            return None
        gates = [g for run in distinct for g in (0.0, *(len(run) - 1) * [DROP_GATED_AFTER])]
        levels = (meter.level_before(gain) for meter, gain in zip(meters, gates, strict=True))
        return [
            _run_levels(run, list(islice(levels, len(of_run))))
            for run, of_run in zip(runs, distinct, strict=True)
        ]


def _distinct(run: RunFilters) -> list[Fir]:
    """What has to be measured of a run: over conductors that are alike the drop is half of the whole."""
    dropped = [run.drop] if run.alike else list(run.drops.values())
    return [run.receiving, *dropped]


def _run_levels(run: RunFilters, levels: Sequence[Level]) -> RunLevels:
    """From those of what is `_distinct`."""
    receiving, *dropped = levels
    if run.alike:
        half = dropped[0].scaled(0.5)
        dropped += [half, half]
    return RunLevels(receiving, dict(zip(run.drops, dropped, strict=True)))
