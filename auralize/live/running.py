"""Gains of a live input: predicted from the bands of what came in so far, and changed slowly.

There is no programme to measure as a whole. Loudness and bands are those of the last half minute, and all
choices are predicted from them (see `auralize.live.measurer.predicted`).
"""

from __future__ import annotations

import math
import threading
from collections import deque
from collections.abc import Callable
from typing import Final

import numpy as np

from auralize.audio.band_loudness import BandEnergies, BandMeter
from auralize.audio.metering import Level, Meter
from auralize.filters.fir import RunFilters
from auralize.live.measurer import SourceMeasured
from auralize.live.pieces import be_nice
from auralize.live.progress import Progress
from auralize.live.ring import Ring

LOOK: Final = 0.25
"""s between two looks at what has come in."""
PIECE: Final = 3.0
"""s measured in one go. The gating blocks across two of them are left out, 3 of 30."""
PIECES: Final = 10
"""That the gains rest on, with the one that is being measured."""
SLOPE: Final = 2.0
"""dB/s that the gain that changes most goes at."""


class RunningLevels:
    """Bands and level of the last `PIECES` pieces and of the one under way. For one thread."""

    def __init__(self, rate: int, channels: int) -> None:
        self._rate, self._channels = rate, channels
        self._done: deque[tuple[BandEnergies, float]] = deque(maxlen=PIECES)
        self._begin()

    def _begin(self) -> None:
        self._frames = 0
        self._bands = BandMeter(self._rate, self._channels)
        self._meter = Meter(self._rate, self._channels, self._bands)

    def add(self, samples: np.ndarray) -> None:
        """The next (frames, channels)."""
        self._meter.add(samples)
        self._frames += len(samples)
        if self._frames >= PIECE * self._rate:
            self._done.append((self._bands.energies, self._meter.level.peak))
            self._begin()

    @property
    def measured(self) -> SourceMeasured | None:
        """None before there is enough for one gating block."""
        found = list(self._done)
        if self._frames:
            now = self._bands.energies
            if now.gated:
                found.append((now, self._meter.level.peak))
        if not found:
            return None
        energies = BandEnergies(
            found[0][0].centres, np.concatenate([bands.blocks for bands, _ in found]), True
        )
        loudness = energies.predict(np.ones(len(energies.centres)))
        return SourceMeasured(energies, Level(loudness, max(peak for _, peak in found), False))


class Running:
    """The `auralize.live.measurer.Measurer` of a live input: a thread that listens to ``tapped``."""

    def __init__(
        self, tapped: Ring, rate: int, channels: int, on_source: Callable[[SourceMeasured], None]
    ) -> None:
        self._tapped, self._on_source = tapped, on_source
        self._levels = RunningLevels(rate, channels)
        self.progress = Progress()
        self.progress.rest()  # what comes in is never measured as a whole
        self._closing = threading.Event()
        self.thread = threading.Thread(target=self._work, name="running levels", daemon=True)
        self.thread.start()

    def want(self, name: str, filters: RunFilters) -> None:
        """Nothing to do: every choice is predicted from the same bands."""

    def close(self) -> None:
        """End soon."""
        self._closing.set()

    def _work(self) -> None:
        be_nice()
        while not self._closing.wait(LOOK):
            came = self._tapped.take(self._tapped.filling)
            if len(came):
                self._levels.add(came)
                measured = self._levels.measured
                if measured is not None and math.isfinite(measured.level.loudness):
                    self._on_source(measured)
