"""Calls that may never return, such as those into an audio library whose server hangs."""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import Generic, TypeVar

T = TypeVar("T")


class StuckError(Exception):
    """A call did not return in time; it goes on in a thread of its own."""


class Call(Generic[T]):
    """One call in a daemon thread. If it is given up and ends later, ``late`` gets its result."""

    def __init__(self, work: Callable[[], T], late: Callable[[T], None] | None = None) -> None:
        self._work, self._late = work, late
        self._lock = threading.Lock()
        self._given_up = False
        self._result: list[T] = []
        self._error: BaseException | None = None
        self._thread = threading.Thread(target=self._run, name="device call", daemon=True)
        self._thread.start()

    @property
    def running(self) -> bool:
        return self._thread.is_alive()

    def result(self, seconds: float) -> T:
        """What came of it; raises what it raised, or StuckError."""
        self._thread.join(seconds)
        with self._lock:
            if self._error is not None:
                raise self._error
            if not self._result:
                self._given_up = True
                raise StuckError
            return self._result[0]

    def _run(self) -> None:
        try:
            result = self._work()
        except Exception as error:
            with self._lock:
                self._error = error
            return
        with self._lock:
            self._result.append(result)
            late = self._late if self._given_up else None
        if late is not None:
            late(result)
