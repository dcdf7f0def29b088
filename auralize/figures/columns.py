"""Tables and sentences laid out for a terminal of 80 columns."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Sequence
from typing import Final

from auralize.units import rounded

WIDTH: Final = 80
"""Columns of a terminal."""


def decibels_text(level: float) -> str:
    """A level as a cell of a table; that of silence in a word."""
    return rounded(level, ".2f") if math.isfinite(level) else "silent"


def wrapped(text: str) -> str:
    """A sentence under a heading, indented, within the width."""
    return textwrap.fill(text, WIDTH, initial_indent="  ", subsequent_indent="    ")


def columns(rows: Sequence[Sequence[str]]) -> str:
    """Rows under each other, the first column to the left and all others to the right."""
    widths = [max(len(cell) for cell in column) for column in zip(*rows, strict=True)]
    lines = []
    for first, *others in rows:
        cells = [cell.rjust(width) for cell, width in zip(others, widths[1:], strict=True)]
        lines.append("  ".join([first.ljust(widths[0]), *cells]).rstrip())
    return "\n".join(lines)


def pages(rows: Sequence[Sequence[str]]) -> str:
    """`columns`, with as many of the columns beside the first as the width has room for at a time."""
    count = len(rows[0]) - 1
    for each in range(count, 0, -1):
        pages = [
            columns([(row[0], *row[at : at + each]) for row in rows])
            for at in range(1, count + 1, each)
        ]
        if all(len(line) <= WIDTH for page in pages for line in page.splitlines()):
            break
    return "\n\n".join(pages)
