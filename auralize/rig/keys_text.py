"""The reference as text: every table and key of a rig file, for a terminal of 80 columns."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable
from typing import Final

from auralize.rig.key import Key, Section
from auralize.rig.keys import SECTIONS
from auralize.units import EXAMPLES, units_of

_WIDTH: Final = 80
_BESIDE: Final = 36
"""Columns for mark, key and example; the words stand beside, or below where these take more."""
MARKS: Final = "* is needed, + one of those marked so (or one set); [default in brackets]"


def as_reference(table: str | None = None) -> str:
    """All tables, or those that begin with this word ("runs"), and the units of what they take."""
    chosen = [s for s in SECTIONS if table in (None, s.word)]
    blocks = [f"{MARKS}\n"]
    before = None
    for section in chosen:
        blocks.append(_section(section, again=section.table == before))
        before = section.table
    takes = {key.takes for section in chosen for key in section.keys}
    blocks.append("\n".join(_units(takes)))
    return "\n".join(blocks)


def _section(section: Section, again: bool) -> str:
    head = f"... {section.words}" if again else f"{section.table} {section.words}".strip()
    return "\n".join([_wrapped(head, "    "), *map(_row, section.keys), ""])


def _row(key: Key) -> str:
    left = f"{key.need or ' '} {key.name} = {key.example}"
    right = _words(key)
    if len(left) >= _BESIDE:
        return "\n".join([left, _wrapped(" " * _BESIDE + right, " " * _BESIDE)])
    return _wrapped(f"{left:<{_BESIDE}}{right}", " " * _BESIDE)


def _words(key: Key) -> str:
    right = ", ".join(f'"{name}"' for name in key.among)
    said = (key.words, right) if key.among else (key.takes, key.words)
    words = ": ".join(text for text in said if text)
    return f"{words} [{key.default}]" if key.default else words


def _units(takes: Iterable[str]) -> list[str]:
    """What each of these quantities may be written in."""
    asked = set(takes)
    rows = [
        f"{kind}: {', '.join(units_of(kind))}; {example}"
        for kind, example in EXAMPLES.items()
        if kind in asked
    ]
    return ["Units", *(_wrapped(f"  {row}", "    ") for row in rows)] if rows else []


def _wrapped(text: str, indent: str) -> str:
    return textwrap.fill(
        text,
        _WIDTH,
        subsequent_indent=indent,
        drop_whitespace=True,
        break_long_words=False,
        break_on_hyphens=False,
    ).rstrip()
