"""News: what happened, and for how long it is worth a line. One place, one queue.

What waits for an answer stands first, until a key or the event that answers it takes it away.
"""

from __future__ import annotations

import math
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from time import monotonic
from typing import TYPE_CHECKING, Final, Literal

from rich.text import Text
from textual.widget import Widget
from textual.widgets import Static

if TYPE_CHECKING:
    from auralize.live.status import Event

LASTS: Final = 20.0
"""s that news stay on the screen which nobody needs to answer."""
_KEPT: Final = 30
"""News that the card of all news goes back to."""
_WHOLE: Final = " ... (i: all)"
"""Behind what is shortened: the key that shows the whole."""
_STYLES: Final = {"waits": "bold", "passes": ""}


@dataclass(frozen=True)
class Item:
    """One piece of news."""

    words: str
    until: float
    """As `time.monotonic` counts; inf: until it is answered."""
    about: str = ""
    """What can answer it besides a key."""
    yields: bool = False
    """Whether it leaves room for what is told below it; what answers a key, or warns, does not."""

    @property
    def waits(self) -> bool:
        """Whether it stays until it is answered."""
        return math.isinf(self.until)


@dataclass(frozen=True)
class NewsLine:
    """One line of the screen."""

    words: str
    kind: Literal["waits", "passes"]


def laid_out(items: Sequence[Item], width: int, rows: int) -> list[NewsLine]:
    """The lines of the screen: first what waits, then what passes.

    Each is wrapped, or shortened at a word where others need the room.
    """
    waiting = [item for item in items if item.waits]
    told: list[tuple[str, str, Literal["waits", "passes"]]] = []
    if waiting:
        more = len(waiting) - 1
        key = f" (Enter: next, {more} more)" if more else " (Enter: seen)"
        told.append((waiting[0].words, key, "waits"))
    told += [(item.words, "", "passes") for item in items if not item.waits]
    lines: list[NewsLine] = []
    for number, (words, key, kind) in enumerate(told):
        left = rows - len(lines)
        if left <= 0:
            break
        if kind == "waits" and number + 1 < len(told):
            left = max(1, left - 1)  # one line for what happens meanwhile
        wrapped = _wrapped(words + key, width)
        if len(wrapped) > left:
            wrapped = _shortened(words, key, width, left)
        lines += [NewsLine(line, kind) for line in wrapped]
    return lines


def _wrapped(words: str, width: int) -> list[str]:
    return textwrap.wrap(words, max(8, width), break_on_hyphens=False) or [""]


def _shortened(words: str, key: str, width: int, rows: int) -> list[str]:
    """As much of ``words`` as ``rows`` hold, at a word, with what says where the whole is."""
    parts = words.split(" ")
    for kept in range(len(parts) - 1, 0, -1):
        lines = _wrapped(" ".join(parts[:kept]) + _WHOLE + key, width)
        if len(lines) <= rows:
            return lines
    return _wrapped(words, width)[:rows]


def shorten(words: str, width: int) -> str:
    """One line of ``width`` columns, ended at a word where there are more."""
    if len(words) <= width:
        return words
    at = words.rfind(" ", 0, width - 3)
    return f"{words[:at] if at > 0 else words[: max(0, width - 4)]} ..."[:width]


class News(Static):
    """What waits to be answered, then the latest news."""

    def on_mount(self) -> None:
        self._items: list[Item] = []
        self._past: list[str] = []
        self.instead = ""
        """What is shown in place of all news, if it is not empty."""
        self.rows_below = 0
        """Rows that news which yield leave to what is told below them."""
        self._shown: list[NewsLine] | None = None

    def say(
        self, words: str, lasts: float = LASTS, about: str = "", *, yields: bool = False
    ) -> None:
        """News, above those before, for ``lasts`` seconds; inf: until answered, behind what waits.

        ``about`` is what `answer` can name, and takes what passes and was said about it before away;
        ``yields``: where there is little room, it is shortened.
        """
        item = Item(words, monotonic() + lasts, about, yields)
        if item.waits and any(other.words == words for other in self._items):
            return
        self._items = [
            other
            for other in self._items
            if other.waits or (other.words != words and (not about or other.about != about))
        ]
        self._past = [*self._past, words][-_KEPT:]
        at = sum(other.waits for other in self._items) if item.waits and about != "device" else 0
        self._items.insert(at, item)
        self.show()

    def tell(self, event: Event) -> None:
        """What the engine has to tell; a fault of the device stays until it is right again,
        and what was refused until it is seen.
        """
        if event.kind == "device":
            self.answer("device")
        if event.kind in ("fault", "refused"):
            self.say(event.text, math.inf, "device" if event.kind == "fault" else "")
        else:
            self.say(event.text, yields=event.kind != "programme")  # which may ask, or warn

    def answer(self, about: str) -> None:
        """Take away what waits for this."""
        self._items = [item for item in self._items if item.about != about]
        self.show()

    def seen(self) -> None:
        """Take away the first of what waits."""
        first = next((item for item in self._items if item.waits), None)
        self._items = [item for item in self._items if item is not first]
        self.show()

    def all_of_it(self) -> list[str]:
        """All that waits or was said, the latest last."""
        return self._past

    def on_resize(self) -> None:
        """Lay it out anew."""
        self.show()

    def show(self) -> None:
        """Show what has not gone yet."""
        now = monotonic()
        self._items = [item for item in self._items if item.until > now]
        waiting = [item for item in self._items if item.waits]
        items = waiting + [item for item in self._items if not item.waits][:_KEPT]
        room = self.parent.size if isinstance(self.parent, Widget) else self.size
        width, rows = room.width or self.app.size.width, room.height or 2
        firm = laid_out([item for item in items if not item.yields], width, rows)
        lines = laid_out(items, width, max(1, len(firm), rows - self.rows_below))
        if self.instead:
            lines = [NewsLine(line, "waits") for line in _wrapped(self.instead, width)]
        if lines != self._shown:  # looked at ten times a second
            self._shown = lines
            self.update(Text("\n").join(Text(line.words, _STYLES[line.kind]) for line in lines))
