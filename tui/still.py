"""Words in a place of fixed size, said again many times a second: only what differs is drawn."""

from __future__ import annotations

from textual.visual import VisualType
from textual.widgets import Static


class Still(Static):
    """A `Static` whose size the stylesheet gives, whatever it says."""

    said: VisualType | None = None

    def update(self, content: VisualType = "", *, layout: bool = False) -> None:
        """Nothing at all where it says so already."""
        # A layout, which `Static` asks for each time, finds places for all widgets of the screen anew.
        if content != self.said:
            self.said = content
            super().update(content, layout=layout)
