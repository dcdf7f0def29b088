"""How far long work has come, and what it is, for a person who watches."""

from __future__ import annotations

import argparse
import functools
import shutil
import sys
import threading
import time
from collections.abc import Callable
from typing import Final

from auralize.errors import one_line

PATIENCE: Final = 2.0
"""s of work that nobody needs to be told of."""
EVERY: Final = 0.2
"""s between two looks."""
_WIPE: Final = "\r\033[K"


class ProgressLine:
    """Share done and time left on stderr, for work of over two seconds, if a person watches."""

    def __init__(self) -> None:
        self._start = time.monotonic()
        self._shown = 0.0
        self._watched = sys.stderr.isatty()

    def __enter__(self) -> ProgressLine:
        return self

    def __exit__(self, *exception: object) -> None:
        self.wipe()

    def wipe(self) -> None:
        """Make the line free for something else."""
        if self._shown:
            print(_WIPE, end="", file=sys.stderr, flush=True)

    def __call__(self, share: float) -> None:
        now = time.monotonic()
        spent = now - self._start
        if not self._watched or spent < PATIENCE or now - self._shown < EVERY or share <= 0.0:
            return
        self._shown = now
        left = spent / share - spent
        print(f"{_WIPE}{share:4.0%} done, {left:.0f} s left", end="", file=sys.stderr, flush=True)


class WorkLine:
    """What is being worked out, on stderr, once a command has taken over two seconds.

    Called with words as work begins and with none as it ends, the inner one first. The work itself does
    not come back to tell, so a timer does.
    """

    def __init__(self) -> None:
        self._begun = time.monotonic()
        self._works: list[str] = []
        self._lock = threading.Lock()
        self._timer: threading.Timer | None = None
        self._shown = False

    def __call__(self, words: str) -> None:
        with self._lock:
            if words:
                self._works.append(words)
            else:
                self._works.pop()
            self._wait()

    def _wait(self) -> None:
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None
        if self._works:
            spent = time.monotonic() - self._begun
            self._timer = threading.Timer(max(PATIENCE - spent, EVERY), self._show)
            self._timer.daemon = True
            self._timer.start()
        elif self._shown:
            print(_WIPE, end="", file=sys.stderr, flush=True)
            self._shown = False

    def _show(self) -> None:
        with self._lock:
            if self._timer is not threading.current_thread():
                return  # something else has begun meanwhile
            room = shutil.get_terminal_size().columns - 5  # in one line, which can be wiped
            line = one_line(f"working out {self._works[-1]}")[:room]
            print(f"{_WIPE}{line} ...", end="", file=sys.stderr, flush=True)
            self._shown = True


Run = Callable[[argparse.Namespace], None]


def telling(run: Run) -> Run:
    """Let a command tell what takes it long, if a person watches."""

    @functools.wraps(run)
    def told(arguments: argparse.Namespace) -> None:
        if not sys.stderr.isatty():
            run(arguments)
            return
        from auralize.rig.work import told_to

        with told_to(WorkLine()):
            run(arguments)

    return told
