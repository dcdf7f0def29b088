"""Choices that come, are edited and go while others are heard."""

from __future__ import annotations

import threading
from collections.abc import Callable

from auralize.filters.fir import RunFilters
from auralize.filters.quality import run_caution
from auralize.gains import SOURCE, End, Heard
from auralize.live.designer import Designer
from auralize.live.known import Known
from auralize.live.status import Event
from auralize.live.wanted import Wanted
from auralize.rig.choice import Choice


class Coming:
    """What was asked for and is not there yet, and what is not wanted any more.

    ``lock`` is held for all that is done to ``known`` and ``wanted``. ``anew`` is called (in it) where
    something else is wanted to be heard, ``wake`` (out of it) where what sounds may have changed, and
    ``measure`` with what there is to be measured.
    """

    def __init__(
        self,
        rate: int,
        known: Known,
        wanted: Wanted,
        lock: threading.Lock,
        anew: Callable[[], None],
        wake: Callable[[], None],
        measure: Callable[[str, RunFilters], None],
        tell: Callable[[Event], None],
    ) -> None:
        self._known, self._wanted, self._lock = known, wanted, lock
        self._anew, self._wake, self._measure, self._tell = anew, wake, measure, tell
        self._gone: set[str] = set()
        self._asked: set[str] = set()
        """What is being designed."""
        self._awaited: End | None = None
        """What is heard as soon as it is there."""
        self._leaving: list[str] = []
        """What is heard until then, and is not wanted any more."""
        self.designer = Designer(rate, self._designed, self._not_designed)

    def update(self, choice: Choice) -> None:
        """A choice as edited, or a new one, which is there at once if it is just as another one."""
        with self._lock:
            self._gone.discard(choice.name)
            new = choice.name not in self._wanted.choices
            like = self._known.like(choice) if new else None
            if like is None:
                self._asked.add(choice.name)
            else:
                filters = self._known.adopt(choice, like)
        if like is None:
            self.designer.want(choice)
        else:
            self._measure(choice.name, filters)

    def remove(self, name: str) -> None:
        """A choice that is not wanted any more.

        Where it is heard, it is until what waits is there; with nothing waiting, the source is heard.
        """
        with self._lock:
            self._gone.add(name)
            self._asked.discard(name)
            self._leaving.append(name)
            if self._awaited is None or not self._is_heard(name):
                self._leave()
        self._wake()

    def _is_heard(self, name: str) -> bool:
        heard = self._wanted.heard
        return isinstance(heard, End) and heard.choice == name

    def _leave(self) -> None:
        for name in self._leaving:
            if name not in self._gone:
                continue  # it was asked for again
            self._known.forget(name)
            if self._is_heard(name):
                self._wanted.heard = SOURCE
                self._anew()
        self._leaving = []

    def waits(self, heard: Heard) -> bool:
        """Whether this cannot be heard yet, as its choice is new and being designed; then it waits.

        To be called with the lock held.
        """
        self._awaited = None
        if isinstance(heard, End) and heard.choice not in self._wanted.choices:
            self._awaited = heard if heard.choice in self._asked else None
        if self._awaited is None:
            self._leave()
        return self._awaited is not None

    # ---- from the thread that designs

    def _designed(self, choice: Choice, filters: RunFilters) -> None:
        name = choice.name
        with self._lock:
            self._asked.discard(name)
            if name in self._gone:
                return
            self._known.edit(choice, filters)
            if self._awaited is not None and self._awaited.choice == name:
                self._wanted.heard, self._awaited = self._awaited, None
                self._anew()
                self._leave()
            lost = self._wanted.settle()
        self._wake()
        self._measure(name, filters)
        told = run_caution(name, filters)
        heard = f"{name}: the change is heard{lost}"
        self._tell(Event("edit", f"{heard}. {told}" if told else heard))

    def _not_designed(self, choice: Choice, error: Exception) -> None:
        with self._lock:
            self._asked.discard(choice.name)
            if self._awaited is not None and self._awaited.choice == choice.name:
                self._awaited = None
                self._leave()
        self._wake()
        self._tell(Event("refused", f"{choice.name} stays as it was: {error}"))
