"""Edits, designed in a thread of their own; what is heard goes on meanwhile."""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import Final

from auralize.filters.fir import RunFilters, design_run
from auralize.filters.quality import check_run
from auralize.rig.choice import Choice

DESIGN_LIMIT: Final = 2.0
"""s that the design of a filter is waited for; it takes 0.1 at 48 kHz, 0.45 at 192."""


def designed(choice: Choice, rate: int) -> RunFilters:
    """The filters of a choice at ``rate`` Hz, as files get them too; raises DesignError."""
    filters = design_run(choice.network, choice.listen, rate)
    check_run(choice.name, filters)
    return filters


class Designer:
    """Designs what is wanted; of several edits of one choice that wait, the last one counts.

    ``on_design`` and, whatever went wrong in either, ``on_fault`` are called in its thread.
    """

    def __init__(
        self,
        rate: int,
        on_design: Callable[[Choice, RunFilters], None],
        on_fault: Callable[[Choice, Exception], None],
    ) -> None:
        self._rate, self._on_design, self._on_fault = rate, on_design, on_fault
        self._lock = threading.Lock()
        self._waiting: dict[str, Choice] = {}
        self._designing = self._closing = False
        self._wake = threading.Event()
        self.thread = threading.Thread(target=self._work, name="designer", daemon=True)
        self.thread.start()

    @property
    def busy(self) -> bool:
        """True while an edit waits or is being designed."""
        with self._lock:
            return self._designing or bool(self._waiting)

    def want(self, choice: Choice) -> None:
        """Design this."""
        with self._lock:
            self._waiting[choice.name] = choice
        self._wake.set()

    def close(self) -> None:
        """End soon."""
        self._closing = True
        self._wake.set()

    def join(self) -> dict[str, Choice]:
        """After `close`: wait for the edit that is being designed; what still waits then."""
        self.thread.join(DESIGN_LIMIT)
        with self._lock:
            return dict(self._waiting)

    def _work(self) -> None:
        while not self._closing:
            self._wake.wait()
            self._wake.clear()
            while not self._closing and (choice := self._next()):
                try:
                    self._on_design(choice, designed(choice, self._rate))
                except Exception as error:  # whatever it is, this thread must go on
                    self._on_fault(choice, error)
                self._designing = False

    def _next(self) -> Choice | None:
        with self._lock:
            if not self._waiting:
                return None
            self._designing = True
            return self._waiting.pop(next(iter(self._waiting)))
