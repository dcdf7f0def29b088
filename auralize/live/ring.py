"""A ring of samples between two threads: one puts, one takes, neither waits. No lock.

Each side moves a counter of its own, which only ever grows; setting it is one step for the interpreter.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from auralize.audio.metering import Samples


class Ring:
    """Room for so many frames, which come at ``rate`` Hz."""

    def __init__(self, frames: int, channels: int, rate: int) -> None:
        self.lost = 0
        """Times that what was put found no room."""
        self._held = np.zeros((frames, channels))
        self._taken, self._rate = 0, rate
        self._put: tuple[int, float] = (0, 0.0)  # frames, and when the last of them came

    @property
    def filling(self) -> int:
        """Frames that can be taken."""
        return self._put[0] - self._taken

    def due(self, now: float, block: float) -> float:
        """Frames that would lie there if they came one by one, at ``now``.

        ``block``: frames that may be on their way at most, so that an input that has stopped does not
        seem to go on.
        """
        put, at = self._put
        return put - self._taken + min(max(now - at, 0.0) * self._rate, block)

    def put(self, samples: ArrayLike, now: float) -> None:
        """These have come; all of them find room, or none."""
        given = np.asarray(samples)
        start = self._put[0]
        if start + len(given) - self._taken > len(self._held):
            self.lost += 1
            return
        at = start % len(self._held)
        first = min(len(given), len(self._held) - at)
        self._held[at : at + first] = given[:first]
        self._held[: len(given) - first] = given[first:]
        self._put = (start + len(given), now)

    def take(self, count: int) -> Samples:
        """The next ``count`` frames, a copy; there must be so many."""
        at = self._taken % len(self._held)
        first = min(count, len(self._held) - at)
        out = np.concatenate([self._held[at : at + first], self._held[: count - first]])
        self._taken += count
        return out

    def skip(self, count: int) -> None:
        """Leave out so many frames, of those that can be taken."""
        self._taken += min(max(count, 0), self.filling)
