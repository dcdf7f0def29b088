"""Tables and sentences laid out for a terminal of 80 columns."""

from __future__ import annotations

import math
import re
import textwrap
from collections.abc import Sequence
from typing import Final

from auralize.units import rounded

WIDTH: Final = 80
"""Columns of a terminal."""
MANY: Final = 6
"""Runs, loads or transformers, over which not every one is named."""
_GAP: Final = 2
"""Spaces between two columns."""


def decibels_text(level: float) -> str:
    """A level as a cell of a table; that of silence in a word."""
    return rounded(level, ".2f") if math.isfinite(level) else "silent"


def factor_text(value: float) -> str:
    """A damping factor as a cell of a table."""
    return three_digits_text(value) if math.isfinite(value) else "no limit"


def three_digits_text(value: float) -> str:
    """A number from 0.0001 up as a cell of a table, its zeros kept and never with an exponent."""
    shown = three_digits(value)
    return f"{shown:#.3g}".rstrip(".") if shown < 1000.0 else f"{shown:.0f}"


def three_digits(value: float) -> float:
    """Rounded to three digits: a sweep has no more."""
    return float(f"{value:.3g}")


def wrapped(text: str, width: int = WIDTH) -> str:
    """A sentence under a heading, indented, within the width."""
    return textwrap.fill(text, width, initial_indent="  ", subsequent_indent="    ")


def hanging(text: str, width: int = WIDTH) -> str:
    """A sentence by itself, its further lines indented, within the width."""
    return textwrap.fill(text, width, subsequent_indent="    ")


_OF_A_LOAD: Final = re.compile(r"load (?P<name>.+?) (?P<what>is (?:typical|judged).*)", re.DOTALL)


def gathered(notes: Sequence[str]) -> list[str]:
    """Notes, those that say the same of many loads said once for all of them."""
    same: dict[str, list[str]] = {}
    for note in notes:
        found = _OF_A_LOAD.match(note)
        same.setdefault(found["what"] if found else note, []).append(found["name"] if found else "")
    told = []
    for what, names in same.items():
        if len(names) > MANY:
            told.append(f"each of the loads {names[0]} to {names[-1]} {what}")
        else:
            told += [f"load {name} {what}" if name else what for name in names]
    return told


def columns(rows: Sequence[Sequence[str]]) -> str:
    """Rows under each other, the first column to the left and all others to the right."""
    widths = [max(len(cell) for cell in column) for column in zip(*rows, strict=True)]
    lines = []
    for first, *others in rows:
        cells = [cell.rjust(width) for cell, width in zip(others, widths[1:], strict=True)]
        lines.append((" " * _GAP).join([first.ljust(widths[0]), *cells]).rstrip())
    return "\n".join(lines)


def pages(rows: Sequence[Sequence[str]]) -> str:
    """`columns`, with as many of the columns beside the first as the width has room for at a time."""
    first, *others = (max(map(len, column)) for column in zip(*rows, strict=True))

    def fits(each: int) -> bool:
        starts = range(0, len(others), each)
        return all(first + sum(_GAP + w for w in others[at : at + each]) <= WIDTH for at in starts)

    most = min(
        len(others), WIDTH // _GAP
    )  # no more can fit, so that many choices take no longer each
    each = next((each for each in range(most, 1, -1) if fits(each)), 1)
    return "\n\n".join(
        columns([(row[0], *row[at : at + each]) for row in rows])
        for at in range(1, len(others) + 1, each)
    )
