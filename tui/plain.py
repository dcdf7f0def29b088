"""Whether the terminal can be trusted with no more than ASCII."""

from __future__ import annotations

import os

from .canvas import dots_of


def is_plain() -> bool:
    """As the curves decide it."""
    return dots_of(os.environ) == "plain"
