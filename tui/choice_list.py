"""The choices of the rig and their key figures: as many as there are, the chosen one always in sight."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from rich.text import Text
from textual.events import Click, MouseScrollDown, MouseScrollUp
from textual.message import Message
from textual.widgets import Static

from .words import key_figures, shortest_figures

if TYPE_CHECKING:
    from auralize.figures.headlines import Headline

PINS: Final = "AB"
"""Marks of the two that are pinned."""
_WHEEL: Final = 3
"""Choices that a turn of the wheel goes on."""
_SHORT: Final = 12
"""Columns of a name beside its figures."""


@dataclass(frozen=True)
class Listed:
    """What the list shows; the figures are asked for where they are seen alone."""

    names: Sequence[str]
    labels: Callable[[str], str]
    figures: Callable[[str], Headline]
    chosen: str
    pinned: Sequence[str] = ()


def window(first: int, count: int, chosen: int, room: int) -> int:
    """The first of ``count`` that is shown, moved no more than it takes to show the chosen one."""
    first = min(first, chosen) if chosen < first + room else chosen - room + 1
    return max(0, min(first, count - room))


class ChoiceList(Static):
    """The choices, two lines each, or one where there is no room; a click picks one."""

    can_focus = False

    @dataclass
    class Picked(Message):
        """A choice was clicked."""

        number: int
        """From 1; there may be no choice of that number."""

    def on_mount(self) -> None:
        self.border_title = "Choices"
        self._lines_each = 2
        self._first = 0
        self._listed: Listed | None = None

    def show(self, listed: Listed) -> None:
        """These choices, the chosen one in sight and marked."""
        self._listed = listed
        self._follow()

    def on_resize(self) -> None:
        """Find out what there is room for."""
        self._follow()

    def on_mouse_scroll_down(self, event: MouseScrollDown) -> None:
        """Look further down; what is heard stays."""
        self._look(_WHEEL)

    def on_mouse_scroll_up(self, event: MouseScrollUp) -> None:
        """Look further up."""
        self._look(-_WHEEL)

    def _look(self, steps: int) -> None:
        if self._listed:
            last = len(self._listed.names) - self._room
            self._first = max(0, min(self._first + steps, last))
            self._draw(self._listed)

    @property
    def _room(self) -> int:
        """Choices that fit."""
        return max(1, self.size.height // self._lines_each)

    def _follow(self) -> None:
        if self._listed is None:
            return
        names = self._listed.names
        self._lines_each = 2 if 2 * len(names) <= self.size.height else 1
        chosen = names.index(self._listed.chosen)
        self._first = window(self._first, len(names), chosen, self._room)
        self._draw(self._listed)

    def _draw(self, listed: Listed) -> None:
        count, width = len(listed.names), max(8, self.size.width)
        shown = range(self._first, min(count, self._first + self._room))
        lines = [line for at in shown for line in self._entry(listed, at, width)]
        self.update(Text("\n", no_wrap=True).join(lines))
        hidden = len(shown) < count
        self.border_subtitle = f"{shown[0] + 1} to {shown[-1] + 1} of {count}" if hidden else ""

    def _entry(self, listed: Listed, at: int, width: int) -> list[Text]:
        """The lines of one choice, none of them wider than the list."""
        name, figures = listed.names[at], listed.figures(listed.names[at])
        is_chosen = name == listed.chosen
        number = f"{'>' if is_chosen else ' '}{at + 1:>{len(str(len(listed.names)))}} "
        pin = f" {PINS[listed.pinned.index(name)]}" if name in listed.pinned else ""
        room = width - len(number) - len(pin)
        style = "bold" if is_chosen else ""
        if self._lines_each == 1:
            words = f"{_cut(name, _SHORT):<{_SHORT}} {shortest_figures(figures)}"
            return [self._line(number + _cut(words, room), pin, width, style)]
        label = listed.labels(name)
        words = name if label == name or len(name) + 2 >= room else f"{name}: {label}"
        return [
            self._line(number + _cut(words, room), pin, width, style),
            Text(" " * len(number) + _cut(key_figures(figures), width - len(number)), style),
        ]

    @staticmethod
    def _line(words: str, pin: str, width: int, style: str) -> Text:
        line = Text(words.ljust(width - len(pin)), style)
        return line.append(pin, "bold reverse") if pin else line

    def on_click(self, event: Click) -> None:
        """Tell which choice was clicked."""
        self.post_message(self.Picked(self._first + max(0, event.y - 1) // self._lines_each + 1))


def _cut(words: str, width: int) -> str:
    """So much of the words as there is room for, and a sign that there was more."""
    return words if len(words) <= width else f"{words[: width - 1].rstrip()}~"
