"""The keys of a screen in its last line: the most needed ones, more of them where there is room.

A widget of our own: each time a screen opens above, Textual's footer builds its keys anew and keeps the
old ones (8.2, 4000 objects a time), so that collections of garbage get longer and longer.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from rich.text import Text
from textual.events import Click
from textual.widgets import Static

_ALWAYS: Final = "help"
"""The key that is shown whatever there is room for: it tells all others."""
_NEXT: Final = (
    "drops",
    "card",
    "pin",
    "other",
    "curves",
    "analyser",
    "find",
    "output",
    "loop",
    "undo",
    "write",
)
"""Those worth room next, by the ends of their names."""


@dataclass(frozen=True)
class KeyHint:
    """A key, as it is written, what it does, and whether it is worth room that is scarce."""

    key: str
    shown: str
    words: str
    needed: bool
    always: bool = False
    rank: int = 0
    """Which of those that are not needed comes first."""

    @property
    def width(self) -> int:
        """Columns that it takes."""
        return len(self.shown) + len(self.words) + 3


def fitted(keys: Sequence[KeyHint], width: int) -> list[KeyHint]:
    """Those that fit whole into ``width`` columns: needed ones before others."""
    taken: set[KeyHint] = set()
    for key in sorted(keys, key=lambda key: (not key.always, not key.needed, key.rank)):
        if sum(one.width for one in taken) + key.width <= width:
            taken.add(key)
        elif key.needed:
            continue
        else:
            break
    return sorted(
        (key for key in keys if key in taken), key=lambda k: (k.always, not k.needed, k.rank)
    )


def _rank(name: str) -> int:
    bare = name.rpartition(".")[2]
    return _NEXT.index(bare) if bare in _NEXT else len(_NEXT)


class KeyLine(Static):
    """Every key that there is room for, and what it does; a click does the same."""

    DEFAULT_CSS = "KeyLine { height: 1; background: $panel; }"

    def on_mount(self) -> None:
        """Read the bindings of the screen, which stay as they are."""
        self._keys = [
            KeyHint(
                binding.key,
                self.app.get_key_display(binding),
                binding.description,
                binding.show,
                binding.id == _ALWAYS,
                _rank(binding.id),
            )
            for active in self.screen.active_bindings.values()
            if (binding := active.binding).id and (binding.show or binding.tooltip)
        ]
        self._places: list[tuple[int, str]] = []
        self._draw()

    def on_resize(self) -> None:
        """Find out what there is room for."""
        self._draw()

    def _draw(self) -> None:
        line = Text(no_wrap=True)
        self._places = []
        for key in fitted(self._keys, self.size.width or self.app.size.width):
            line.append(f" {key.shown} ", "bold reverse").append(f"{key.words} ")
            self._places.append((len(line), key.key))
        self.update(line)

    async def on_click(self, event: Click) -> None:
        """Press the key that was clicked."""
        for end, key in self._places:
            if event.x < end:
                self.app.simulate_key(key)
                return
