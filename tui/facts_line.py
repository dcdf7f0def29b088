"""The line under what is heard: what the chosen choice is, and how many cautions there are."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from textual import on, work
from textual.content import Content
from textual.message import Message
from textual.widgets import Static

from auralize.figures.facts import facts, short_facts
from auralize.figures.numbers import figures
from auralize.figures.sentences import is_caution, sentences

from .news import shorten

if TYPE_CHECKING:
    from auralize.rig.choice import Choice

_STAYED: Final = 0.4
"""s that a choice must stay chosen before its figures are worked out."""


class FactsLine(Static):
    """Facts at once; cautions as soon as they are worked out, which a coil of many turns makes long."""

    @dataclass
    class Found(Message):
        """What is to be said of a choice was worked out."""

        choice: Choice
        told: list[str]

    def on_mount(self) -> None:
        self._known: dict[str, tuple[Choice, list[str]]] = {}
        self._choice: Choice | None = None
        self._busy = False

    def show(self, choice: Choice) -> None:
        """This choice is the chosen one."""
        if choice is not self._choice:
            self._choice = choice
            self.set_timer(_STAYED, self._begin)
        self._draw()

    def on_resize(self) -> None:
        """Fit the line anew."""
        self._draw()

    def told(self, choice: Choice) -> list[str] | None:
        """The sentences of the figures of a choice; None while they are not known."""
        known = self._known.get(choice.name)
        return known[1] if known and known[0] == choice else None

    def _begin(self) -> None:
        if self._choice and not self._busy and self.told(self._choice) is None:
            self._busy = True
            self._work_out(self._choice)

    @work(thread=True, group="sentences")
    def _work_out(self, choice: Choice) -> None:
        self.post_message(self.Found(choice, sentences(figures(choice, ()))))

    @on(Found)
    def _keep(self, event: Found) -> None:
        self._known[event.choice.name] = event.choice, event.told
        self._busy = False
        self._draw()
        self._begin()

    def _draw(self) -> None:
        if self._choice is None:
            return
        mark, style = caution_mark(self.told(self._choice))
        width = self.size.width or self.app.size.width
        room = max(8, width - len(mark) - 2)
        whole = facts(self._choice)
        words = whole if len(whole) <= room else shorten(short_facts(self._choice), room)
        self.update(Content.assemble(words.ljust(width - len(mark)), (mark, style)))


def caution_mark(told: list[str] | None) -> tuple[str, str]:
    """The mark at the end of the line, and how it stands out."""
    if told is None:
        return "i: more", ""
    count = sum(map(is_caution, told))
    if not count:
        return "i: more", ""
    return f"! {count} caution{'s' if count > 1 else ''}: i", "bold $warning reverse"
