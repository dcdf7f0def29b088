"""How far measuring has come, and how long it will still take."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from typing import Final, TypedDict

PROGRAMME: Final = 2
"""Signals as whose work that of the programme itself, with its bands, counts: about (measured)."""
FIRST_WORD: Final = 0.5
"""s of work after which how long it takes is told."""


class Told(TypedDict):
    """See `auralize.live.status.ListeningStatus`."""

    measured: float
    measured_in: float | None


class Progress:
    """Work counted in signals times frames of a programme; from any thread."""

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock, self._lock = clock, threading.Lock()
        self._signals: float = PROGRAMME
        self._frames: int | None = None
        self._done = 0.0
        self._began = clock()

    def begin(self, frames: int) -> None:
        """So long is the programme; the first work on it is on itself."""
        with self._lock:
            self._frames, self._began = frames, self._clock()

    def expect(self, signals: int) -> None:
        """So many more signals are to be measured, beside what has been done."""
        with self._lock:
            done = self._done / self._frames if self._frames else PROGRAMME
            if not self._signals:  # after a rest
                self._done, done, self._began = 0.0, 0.0, self._clock()
            self._signals = done + signals

    def did(self, frames: float) -> None:
        """So many frames have been measured, times their signals."""
        with self._lock:
            self._done += frames

    def rest(self) -> None:
        """Nothing is left to be measured."""
        with self._lock:
            self._signals = 0

    @property
    def told(self) -> Told:
        """As a status has it."""
        return {"measured": self.share, "measured_in": self.seconds}

    @property
    def share(self) -> float:
        """Of all that is to be measured: 0 to 1, and 1 when nothing is."""
        with self._lock:
            if not self._signals:
                return 1.0
            if not self._frames:
                return 0.0
            return min(1.0, self._done / (self._signals * self._frames))

    @property
    def seconds(self) -> float | None:
        """s that it will still take as fast as it went; None: nobody knows yet."""
        share = self.share
        if share == 1.0:
            return 0.0
        spent = self._clock() - self._began
        if not share or spent < FIRST_WORD:
            return None
        return spent * (1.0 - share) / share
