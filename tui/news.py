"""News: what happened, and for how long it is worth a line."""

from __future__ import annotations

import math
from dataclasses import dataclass
from time import monotonic
from typing import TYPE_CHECKING, Final

from textual.widgets import Static

if TYPE_CHECKING:
    from auralize.live.status import Event

LASTS: Final = 20.0
"""s that news stay on the screen; what is wrong with the device stays until it is right again."""
_LINES: Final = 2


@dataclass(frozen=True)
class _Item:
    words: str
    until: float
    """As `time.monotonic` counts."""


class News(Static):
    """The last two lines of news, the latest above."""

    def on_mount(self) -> None:
        self._items: list[_Item] = []
        self.instead = ""
        """What is shown in place of all news, if it is not empty."""

    def say(self, words: str, lasts: float = LASTS) -> None:
        """News, above those before, for ``lasts`` seconds."""
        self._items.insert(0, _Item(words, monotonic() + lasts))
        self.show()

    def tell(self, event: Event) -> None:
        """What the engine has to tell."""
        if event.kind == "device":  # whatever was wrong with it is not any more
            self._items = [item for item in self._items if math.isfinite(item.until)]
        self.say(event.text, math.inf if event.kind == "fault" else LASTS)

    def show(self) -> None:
        """Show what has not gone yet."""
        now = monotonic()
        self._items = [item for item in self._items if item.until > now][:_LINES]
        self.update(self.instead or "\n".join(item.words for item in self._items))
