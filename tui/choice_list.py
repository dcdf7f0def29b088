"""The choices of the rig and their key figures."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from textual.events import Click
from textual.message import Message
from textual.widgets import Static

from .words import key_figures, shortest_figures

if TYPE_CHECKING:
    from auralize.figures.headlines import Headline


class ChoiceList(Static):
    """The choices, two lines each, or one where there is no room; a click picks one."""

    can_focus = False

    @dataclass
    class Picked(Message):
        """A choice was clicked."""

        number: int
        """From 1; there may be no choice of that number."""

    def on_mount(self) -> None:
        self._lines_each = 2
        self._entries: list[tuple[str, Headline]] = []
        self._chosen = ""

    def show(self, figures: Mapping[str, Headline], chosen: str) -> None:
        """Name and key figures of each choice, the chosen one marked."""
        self._entries, self._chosen = list(figures.items()), chosen
        self._draw()

    def on_resize(self) -> None:
        """Find out what there is room for."""
        self._draw()

    def _draw(self) -> None:
        self._lines_each = 2 if 2 * len(self._entries) <= self.size.height else 1
        lines = []
        for number, (name, figures) in enumerate(self._entries, 1):
            mark = ">" if name == self._chosen else " "
            if self._lines_each == 2:
                lines += [f"{mark}{number} {name}", f"   {key_figures(figures)}"]
            else:
                lines.append(f"{mark}{number} {name[:12]:<12} {shortest_figures(figures)}")
        self.update("\n".join(line[:32] for line in lines))

    def on_click(self, event: Click) -> None:
        """Tell which choice was clicked."""
        self.post_message(self.Picked(max(0, event.y - 1) // self._lines_each + 1))
