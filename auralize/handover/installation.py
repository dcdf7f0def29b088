"""A drawing of the installation on the way to the loudspeaker that is heard."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final
from xml.etree.ElementTree import Element, SubElement

from auralize.circuit.network import PERFECT
from auralize.figures.way import WayPart, away_at_amplifier, folded, way_parts
from auralize.handover.svg import cut, letters, line, number, path, sheet, written
from auralize.rig.choice import Choice

_MOST_PARTS: Final = 5
"""Of which each is drawn by itself."""
_MARGIN, _LETTERS = 4.0, 12.0
_BOX, _SPEAKER = 46.0, 58.0
_WIDTHS: Final = {"run": 132.0, "more": 100.0, "transformer": 72.0}
_HEIGHT: Final = 126.0
_HEAD, _PLUS, _MINUS, _FOOT, _MEASURE = 24.0, 44.0, 72.0, 98.0, 118.0
"""Units; where words, conductors and measures lie."""


def installation(choice: Choice, words: Mapping[str, str]) -> str:
    """Amplifier, runs and transformers, and the loudspeaker, with where each signal is taken.

    A cross is a joint or terminal with resistance, a row of loops a coil, a dot with words below where
    something goes off to other loudspeakers.
    """
    parts = folded(way_parts(choice), lambda shown: len(shown) <= _MOST_PARTS)
    whole = sum(_WIDTHS[part.kind] for part in parts) or _WIDTHS["more"]
    first = _MARGIN + _BOX
    last = first + whole + 24.0
    told = "; ".join([words["amplifier"], *(part.words[0] for part in parts), choice.listen])
    root = sheet(last + _SPEAKER + _MARGIN, _HEIGHT, told, "installation")
    for name, height in (("plus", _PLUS), ("minus", _MINUS)):
        line(root, [(first, height), (last, height)], f"wire {name}")
    _amplifier(root, words["amplifier"])
    _loudspeaker(root, choice, last)
    at = first + 12.0
    for number_, part in enumerate(parts):
        _part(root, part, at, ends=number_ == len(parts) - 1)
        at += _WIDTHS[part.kind]
    if not parts:
        letters(root, ((first + last) / 2.0, _HEAD), words["no_cable"], "middle")
    away = away_at_amplifier(choice)
    if away:
        room = whole / 2.0 if parts and parts[0].away else whole
        letters(root, (first + 4.0, _FOOT), cut(away, room, _LETTERS), kind="aside")
    _measures(root, words, first, last)
    return written(root)


def _amplifier(root: Element, words: str) -> None:
    _box(root, _MARGIN, _BOX)
    letters(root, (_MARGIN, _HEAD), words)
    for sign, height in (("+", _PLUS), ("−", _MINUS)):
        letters(root, (_MARGIN + _BOX - 9.0, height + 4.0), sign, "middle")


def _box(root: Element, left: float, wide: float) -> None:
    attributes = {"class": "box", "x": number(left), "y": number(_PLUS - 12.0), "rx": "3"}
    attributes |= {"width": number(wide), "height": number(_MINUS - _PLUS + 24.0)}
    SubElement(root, "rect", attributes)


def _loudspeaker(root: Element, choice: Choice, left: float) -> None:
    """The usual sign of one, its name above; its terminals, swapped where they are."""
    connected = choice.network.loads[choice.listen]
    _box(root, left, 24.0)
    horn = [(left + 24.0, _PLUS), (left + 44.0, _PLUS - 14.0)]
    horn += [(left + 44.0, _MINUS + 14.0), (left + 24.0, _MINUS)]
    SubElement(root, "path", {"class": "box", "d": path(horn)})
    name = cut(choice.listen, _SPEAKER + 20.0, _LETTERS)
    letters(root, (left + _SPEAKER, _HEAD), name, "end")
    signs = ("−", "+") if connected.reversed else ("+", "−")
    for sign, height in zip(signs, (_PLUS, _MINUS), strict=True):
        letters(root, (left + 12.0, height + 4.0), sign, "middle")
        if connected.contact != PERFECT:
            _cross(root, left - 6.0, height)


def _part(root: Element, part: WayPart, left: float, *, ends: bool) -> None:
    wide = _WIDTHS[part.kind]
    middle, right = left + wide / 2.0, left + wide
    room = wide - 6.0
    fitting = (word for word in part.words if cut(word, room, _LETTERS) == word)
    words = next(fitting, cut(part.words[-1], room, _LETTERS))
    letters(root, (middle, _HEAD), words, "middle")
    for height in (_PLUS, _MINUS):
        if part.kind == "more":
            _hide(root, middle, height, 24.0)
            letters(root, (middle, height + 4.0), "· · ·", "middle")
        if part.kind == "transformer":
            _hide(root, middle, height, 20.0)
        if part.coiled:
            _coil(root, middle, height)
        for there, x in ((part.near, left + 10.0), (part.far, right - 14.0)):
            if there:
                _cross(root, x, height)
        if part.away and not ends:
            spot = {"class": "node", "cx": number(right), "cy": number(height), "r": "3"}
            SubElement(root, "circle", spot)
    if part.kind == "transformer":
        _windings(root, middle)
    if part.away:
        letters(root, (right, _FOOT), cut(part.away, room, _LETTERS), "end", "aside")


def _hide(root: Element, middle: float, height: float, wide: float) -> None:
    """Paper over a conductor."""
    attributes = {"class": "paper", "x": number(middle - wide / 2.0), "y": number(height - 3.0)}
    SubElement(root, "rect", attributes | {"width": number(wide), "height": "6"})


def _coil(root: Element, middle: float, height: float) -> None:
    for turn in range(4):
        spot = {"class": "turn", "cx": number(middle - 12.0 + 8.0 * turn), "r": "6"}
        SubElement(root, "circle", spot | {"cy": number(height - 3.0)})


def _windings(root: Element, middle: float) -> None:
    """Two windings that face each other between the conductors, the core between them."""
    for side, sweep in ((-1, 1), (1, 0)):
        x = middle + side * 10.0
        step = (_MINUS - _PLUS) / 4.0
        arcs = f"a{number(step / 2.0)} {number(step / 2.0)} 0 0 {sweep} 0 {number(step)}"
        SubElement(root, "path", {"class": "turn", "d": f"M{number(x)} {number(_PLUS)}{arcs * 4}"})
    line(root, [(middle, _PLUS), (middle, _MINUS)], "turn")


def _cross(root: Element, x: float, y: float) -> None:
    for slope in (-4.0, 4.0):
        line(root, [(x - 4.0, y - slope), (x + 4.0, y + slope)], "joint")


def _measures(root: Element, words: Mapping[str, str], first: float, last: float) -> None:
    """Where the drop and what arrives are taken."""
    group = SubElement(root, "g", {"class": "measure of-drop"})
    line(group, [(first, _MEASURE - 12.0), (last - 4.0, _MEASURE - 12.0)], "dimension")
    for x in (first, last - 4.0):
        line(group, [(x, _MEASURE - 16.0), (x, _MEASURE - 8.0)], "dimension")
    letters(group, ((first + last) / 2.0, _MEASURE + 4.0), words["drop"], "middle")
    group = SubElement(root, "g", {"class": "measure of-receiving"})
    line(group, [(last + 12.0, _MINUS + 16.0), (last + 12.0, _MEASURE - 8.0)], "dimension")
    letters(group, (last + _SPEAKER, _MEASURE + 4.0), words["receiving"], "end")
