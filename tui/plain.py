"""Whether the terminal can be trusted with no more than ASCII."""

from __future__ import annotations

import os
from typing import ClassVar, Final

from textual.scrollbar import ScrollBarRender

from .canvas import dots_of

KEYS: Final = {"←": "left", "→": "right", "↑": "up", "↓": "down"}
"""What keys are called where their signs cannot be shown."""


class PlainBars(ScrollBarRender):
    """A scroll bar without parts of blocks."""

    VERTICAL_BARS: ClassVar[list[str]] = [*"|||||||", " "]
    HORIZONTAL_BARS: ClassVar[list[str]] = [*"-------", " "]


def is_plain() -> bool:
    """As the curves decide it."""
    return dots_of(os.environ) == "plain"
