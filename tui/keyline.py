"""The keys of a screen in its last line.

A widget of our own: each time a screen opens above, Textual's footer builds its keys anew and keeps the
old ones (8.2, 4000 objects a time), so that collections of garbage get longer and longer.
"""

from __future__ import annotations

from rich.text import Text
from textual.events import Click
from textual.widgets import Static


class KeyLine(Static):
    """Every key that is worth a hint, and what it does; a click does the same."""

    DEFAULT_CSS = "KeyLine { height: 1; background: $panel; }"

    def on_mount(self) -> None:
        """Read the bindings of the screen, which stay as they are."""
        line = Text(no_wrap=True)
        self._places: list[tuple[int, str]] = []
        for active in self.screen.active_bindings.values():
            binding = active.binding
            if binding.id and binding.show:
                line.append(f" {self.app.get_key_display(binding)} ", "bold reverse")
                line.append(f"{binding.description} ")
                self._places.append((len(line), binding.key))
        self.update(line)

    async def on_click(self, event: Click) -> None:
        """Press the key that was clicked."""
        for end, key in self._places:
            if event.x < end:
                self.app.simulate_key(key)
                return
