"""How far long work has come, for a person who watches."""

from __future__ import annotations

import sys
import time
from typing import Final

PATIENCE: Final = 2.0
"""s of work that nobody needs to be told of."""
EVERY: Final = 0.2
"""s between two looks."""


class ProgressLine:
    """Share done and time left on stderr, for work of over two seconds, if a person watches."""

    def __init__(self) -> None:
        self._start = time.monotonic()
        self._shown = 0.0
        self._watched = sys.stderr.isatty()

    def __enter__(self) -> ProgressLine:
        return self

    def __exit__(self, *exception: object) -> None:
        if self._shown:
            print("\r\033[K", end="", file=sys.stderr, flush=True)

    def __call__(self, share: float) -> None:
        now = time.monotonic()
        spent = now - self._start
        if not self._watched or spent < PATIENCE or now - self._shown < EVERY or share <= 0.0:
            return
        self._shown = now
        left = spent / share - spent
        print(f"\r\033[K{share:4.0%} done, {left:.0f} s left", end="", file=sys.stderr, flush=True)
