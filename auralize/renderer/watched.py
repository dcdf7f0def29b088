"""A render that somebody watches: how far it has come, the time left, and a way to stop it."""

from __future__ import annotations

import time

from auralize.errors import RequestError


class StoppedError(RequestError):
    """It was stopped; nothing partial is left behind."""


class Watched:
    """Is the `progress` of a render; may be asked and stopped from another thread."""

    def __init__(self) -> None:
        self._begun = time.monotonic()
        self._stopped = False
        self.share = 0.0
        """Of the work that is done, 0 to 1."""

    def __call__(self, share: float) -> None:
        if self._stopped:
            raise StoppedError("the render was stopped; nothing was written")
        self.share = share

    def stop(self) -> None:
        """Have it end at its next step."""
        self._stopped = True

    @property
    def words(self) -> str:
        """Share done, and time left once that can be told."""
        if self.share <= 0.0:
            return "begun"
        left = (time.monotonic() - self._begun) * (1.0 / self.share - 1.0)
        return f"{self.share:.0%} done, {left:.0f} s left"
