"""What is made of a source, on its way: each signal has its filter, and a meter for it before any gain."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from auralize.audio.loudness import LoudnessMeter
from auralize.audio.metering import Level, Meter
from auralize.filters.fir import Fir
from auralize.gains import DROP_GATED_AFTER, End, Heard, Match, match_gain
from auralize.renderer.take import Take
from auralize.rig.choice import Choice

Progress = Callable[[float], None]
"""Called with the share of the work that is done, 0 to 1."""


@dataclass(frozen=True)
class Part:
    """An output on its way: its filter, and a meter for the signal before any gain."""

    choice: Choice | None
    """None for the source."""
    heard: Heard
    fir: Fir
    meter: Meter

    @property
    def level(self) -> Level:
        """Before any gain."""
        drop = isinstance(self.heard, End) and self.heard.signal == "drop"
        return self.meter.level_before(DROP_GATED_AFTER if drop else 0.0)


class Share:
    """Turns frames done into a share of all the work, which never falls."""

    def __init__(self, progress: Progress, passes: int, frames: int) -> None:
        self._progress, self._frames = progress, frames
        self._all, self._done, self._told = passes * frames, 0, 0.0

    def add(self, frames: int) -> None:
        self._done += frames
        self._told = max(self._told, self._done / self._all)
        self._progress(self._told)

    def twice(self) -> None:
        """There are two passes to make, if that was not known before."""
        self._all = 2 * self._frames


def as_it_is(beside: Fir) -> Fir:
    """What leaves a signal alone, in step with another filter."""
    delay = beside.delay
    return Fir(np.eye(1, delay + 1, delay)[0], beside.rate, delay, -np.inf)


def meter_of(take: Take, first: int = 0) -> Meter:
    """For what is made of a take, from step ``first`` of 100 ms on."""
    rate, channels = take.info.rate, take.channels
    return Meter(rate, channels, LoudnessMeter(rate, channels, take.mask, first), first)


def matches(parts: Sequence[Part], match: Match, reference: float) -> dict[str, float]:
    """dB by choice that match its receiving end to a source of loudness ``reference``."""
    return {
        part.choice.name: match_gain(match, part.choice, reference, part.level)
        for part in parts
        if part.choice is not None
        and isinstance(part.heard, End)
        and part.heard.signal == "receiving"
    }
