"""Loudness and true peak together: the level of a signal, measured while it streams past."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from auralize.audio.loudness import LoudnessMeter
from auralize.audio.true_peak import TruePeakMeter
from auralize.units import decibels

Samples = NDArray[np.float64]


@dataclass(frozen=True)
class Level:
    """A signal before any gain."""

    loudness: float
    """LUFS; minus infinity for silence."""
    peak: float
    """True peak, linear."""
    measured: bool = True
    """False: predicted."""

    def scaled(self, share: float) -> Level:
        """The level of that part of the signal."""
        return replace(self, loudness=self.loudness + decibels(share), peak=share * self.peak)


class Meter:
    """One signal of ``channels`` at ``rate`` Hz; ``loudness``: a meter that finds out more than that.

    Of a part of the signal, from its step ``first`` of 100 ms on: see `append`. Each for one thread at a
    time; several in several threads run at once, as their products let go of the interpreter.
    """

    def __init__(
        self, rate: int, channels: int, loudness: LoudnessMeter | None = None, first: int = 0
    ) -> None:
        self.loudness = loudness or LoudnessMeter(rate, channels, first=first)
        self._peak = TruePeakMeter(rate, channels, goes_on=first > 0)

    def add(self, block: NDArray[Any]) -> None:
        """The next (n, channels), any n, in single or double precision."""
        if len(block):
            self.loudness.add(block)
            self._peak.add(block)

    def close(self, last: bool = True) -> None:
        """Find the level of what was added, of all of a signal or of its ``last`` part, to which nothing is
        added any more; of another part what is appended."""
        self.loudness.close()
        self._peak.close(last)

    def append(self, part: Meter, first: int, stop: int | None) -> None:
        """Take steps ``first`` (the next) to ``stop`` from a part, which is closed, or (None) all to the end.

        The part began `WARM_STEPS` before, or with the signal, and goes on to ``stop``, a step further for a
        meter of bands.
        """
        self.loudness.append(part.loudness, first, stop)
        self._peak.append(part._peak)

    @property
    def level(self) -> Level:
        """Of what was added so far."""
        return self.level_before(0.0)

    def level_before(self, gain: float) -> Level:
        """Of what was added so far, its loudness gated as it will be after ``gain`` in dB."""
        return Level(self.loudness.integrated_before(gain), self._peak.peak)
