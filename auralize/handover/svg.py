"""Drawings as SVG inside a page: their text stays text, and ink is what the page makes it."""

from __future__ import annotations

import re
from typing import Final
from xml.etree.ElementTree import Element, SubElement, tostring

LETTER: Final = 0.58
"""Width of a letter over its size, a little more than the mean of usual faces."""


def sheet(width: float, height: float, words: str, kind: str) -> Element:
    """A drawing of that size in units of the page; ``words`` are told to whoever cannot see it."""
    return Element(
        "svg",
        {
            "class": kind,
            "viewBox": f"0 0 {number(width)} {number(height)}",
            "width": number(width),
            "height": number(height),
            "role": "img",
            "aria-label": plain(words),
        },
    )


def line(parent: Element, points: list[tuple[float, float]], kind: str) -> None:
    """A line through points, in the ink of its class."""
    SubElement(parent, "path", {"class": kind, "d": path(points)})


def path(points: list[tuple[float, float]]) -> str:
    """What a path through points is written as."""
    return "M" + "L".join(f"{number(x)} {number(y)}" for x, y in points)


def letters(
    parent: Element, at: tuple[float, float], words: str, anchor: str = "start", kind: str = ""
) -> None:
    """Words at a point: it is where they start, their middle or their end."""
    attributes = {"x": number(at[0]), "y": number(at[1]), "text-anchor": anchor}
    if kind:
        attributes["class"] = kind
    SubElement(parent, "text", attributes).text = plain(words)


def cut(words: str, room: float, size: float) -> str:
    """As much of the words as there is room for, in letters of that size."""
    most = max(1, int(room / (LETTER * size)))
    return words if len(words) <= most else f"{words[: most - 1]}…"


_NOT_TEXT: Final = re.compile(
    "[\x00-\x08\x0b-\x1f\x7f-\x9f\ud800-\udfff\ufdd0-\ufdef"
    + "".join(
        f"{chr(plane + 0xFFFE)}{chr(plane + 0xFFFF)}" for plane in range(0, 0x110000, 0x10000)
    )
    + "]"
)
"""Controls, halves of letters, and what is no letter: HTML has none of it (its standard, 13.2.3.5)."""


def plain(words: str) -> str:
    """Words of anybody's, as a page may have them."""
    return _NOT_TEXT.sub("\ufffd", words)


def number(value: float) -> str:
    """A tenth of a unit is less than anybody sees."""
    text = f"{value:.1f}".removesuffix(".0")
    return "0" if text == "-0" else text


def written(root: Element) -> str:
    """The drawing as the page takes it, everything in it escaped."""
    return tostring(root, encoding="unicode")
