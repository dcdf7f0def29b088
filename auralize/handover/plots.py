"""Curves over frequency as drawings of the page: told apart by dashes and marks, named at their ends."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Final
from xml.etree.ElementTree import Element, SubElement

import numpy as np

from auralize.circuit.conductor import Real
from auralize.figures.panels import Panel, PanelCurve
from auralize.figures.reference import SWEEP
from auralize.handover.svg import LETTER, cut, letters, line, number, path, sheet, written
from auralize.units import rounded, show_frequency

_WIDTH, _LEFT, _RIGHT, _TOP, _BOTTOM = 400.0, 34.0, 104.0, 26.0, 34.0
"""Units: of the sheet, and of what is kept free about the curves."""
_LOWEST: Final = 180.0
"""Height of the field of curves; higher where more names stand beside it."""
_LETTERS, _BETWEEN = 11.0, 13.0
"""Size of the letters, and from one name to the next."""
_HERTZ: Final = {
    20: "20", 50: "50", 100: "100", 200: "200", 500: "500", 1e3: "1k", 2e3: "2k", 5e3: "5k", 1e4: "10k",
    2e4: "20k",
}  # fmt: skip
_SPOKEN: Final = (100.0, 1000.0, 10_000.0)
"""Hz."""
_STEPS: Final = (0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0)
_MOST_LINES: Final = 7
"""Of the grid, from the lowest level to the highest."""
_EVERY: Final = 2
"""Points of the sweep that are drawn: of those left out, none is off the line by what can be seen."""
COLOURS: Final = 6
"""That the page's style has, and as many dashes; a choice beyond them has those of an earlier one."""
_MARKS: Final = (
    "M-3 0a3 3 0 1 0 6 0a3 3 0 1 0-6 0Z",
    "M-3-3h6v6h-6Z",
    "M0-4L4 3h-8Z",
    "M0-4L4 0 0 4-4 0Z",
    "M-3-3L3 3M-3 3L3-3",
    "M-4 0h8M0-4v8",
    "M-4-3h8L0 4Z",
)
"""One of each kind about the origin; seven, so that no two of 42 choices share both dash and mark."""
_MARKED: Final = 4
"""Marks on a line."""


@dataclass(frozen=True)
class _Field:
    """Where frequencies and levels lie on the sheet."""

    height: float
    low: float
    high: float

    def x(self, hertz: float) -> float:
        share = math.log(hertz / SWEEP[0]) / math.log(SWEEP[-1] / SWEEP[0])
        return _LEFT + share * (_WIDTH - _LEFT - _RIGHT)

    def y(self, level: float) -> float:
        return _TOP + (self.high - level) / (self.high - self.low) * self.height


def plot(panel: Panel, names: Sequence[str], words: Mapping[str, str]) -> str:
    """A panel as it is on the pages of `picture`, with the names of the choices at the ends of the curves."""
    field = _field(panel)
    root = sheet(_WIDTH, _TOP + field.height + _BOTTOM, _spoken(panel, names, words), "plot")
    letters(root, (0.0, 12.0), panel.words, kind="head")
    _grid(root, field)
    if panel.zero:
        line(root, [(_LEFT, field.y(0.0)), (_WIDTH - _RIGHT, field.y(0.0))], "zero")
    for curve in panel.curves:
        _curve(root, field, curve, len(names))
    _named(root, field, panel, names, words["silent"])
    return written(root)


def _spoken(panel: Panel, names: Sequence[str], words: Mapping[str, str]) -> str:
    """For whoever cannot see it: the levels of each choice at a few frequencies."""
    told = [f"{panel.words}."]
    for curve in panel.curves:
        if curve.number is not None:
            levels = (_level_at(curve, hertz, words) for hertz in _SPOKEN)
            told.append(f"{names[curve.number]}: {', '.join(levels)}.")
    return " ".join(told)


def _level_at(curve: PanelCurve, hertz: float, words: Mapping[str, str]) -> str:
    level = float(np.interp(hertz, SWEEP, curve.values))
    shown = rounded(level, ".2f") if math.isfinite(level) else words["silent"]
    return words["level"].format(level=shown, hertz=show_frequency(hertz))


def _field(panel: Panel) -> _Field:
    """Levels from the lowest to the highest that is drawn, over no less than the panel's least."""
    drawn = [v for c in panel.curves for v in (c.values, c.low, c.high) if v is not None]
    drawn += [np.zeros(1)] if panel.zero else []
    values = np.concatenate(drawn)
    values = values[np.isfinite(values)]
    low, high = (float(values.min()), float(values.max())) if values.size else (-panel.least, 0.0)
    half = max(1.08 * (high - low), panel.least) / 2.0
    middle = (low + high) / 2.0
    height = max(_LOWEST, _BETWEEN * len(panel.curves))
    return _Field(height, middle - half, middle + half)


def _grid(root: Element, field: _Field) -> None:
    foot, right = _TOP + field.height, _WIDTH - _RIGHT
    for hertz, words in _HERTZ.items():
        x = field.x(hertz)
        line(root, [(x, _TOP), (x, foot)], "grid")
        letters(root, (x, foot + 14.0), words, "middle")
    letters(root, ((_LEFT + right) / 2.0, foot + 29.0), "Hz", "middle")
    for level, words in _levels(field):
        line(root, [(_LEFT, field.y(level)), (right, field.y(level))], "grid")
        letters(root, (_LEFT - 5.0, field.y(level) + 4.0), words, "end")


def _levels(field: _Field) -> Iterator[tuple[float, str]]:
    """Round levels, and how they are written."""
    span = field.high - field.low
    step = next((step for step in _STEPS if span / step <= _MOST_LINES), span)
    decimals = 1 if step < 1.0 else 0
    for times in range(math.ceil(field.low / step), math.floor(field.high / step) + 1):
        yield times * step, f"{times * step:.{decimals}f}".replace("-", "−")


def _curve(root: Element, field: _Field, curve: PanelCurve, of: int) -> None:
    """The band of what is open below it, the line, its marks."""
    group = SubElement(root, "g", {"class": _ink(curve.number)})
    if curve.low is not None and curve.high is not None:
        for piece in _pieces(curve.low - curve.high):
            outline = _points(field, curve.high, piece) + _points(field, curve.low, piece[::-1])
            SubElement(group, "path", {"class": "open", "d": path(outline) + "Z"})
    for piece in _pieces(curve.values):
        line(group, _points(field, curve.values, piece), "curve")
    if curve.number is None:
        return
    for share in range(_MARKED):
        # Each choice has its marks at places of its own, so that none hides another's.
        place = (share + (curve.number % of + 0.5) / of) / _MARKED
        (point,) = _points(field, curve.values, [round(place * (len(SWEEP) - 1))])
        if math.isfinite(point[1]):
            _mark(group, point, curve.number)


def _ink(choice: int | None) -> str:
    return "for-all" if choice is None else f"c{choice % COLOURS}"


def _pieces(values: Real) -> Iterator[list[int]]:
    """Places of the sweep without a gap between them."""
    places = range(0, len(values), _EVERY)
    for drawn, piece in groupby(places, key=lambda at: bool(np.isfinite(values[at]))):
        if drawn:
            yield list(piece)


def _points(field: _Field, values: Real, places: Sequence[int]) -> list[tuple[float, float]]:
    return [(field.x(float(SWEEP[at])), field.y(float(values[at]))) for at in places]


def _mark(parent: Element, at: tuple[float, float], choice: int) -> None:
    place = f"translate({number(at[0])} {number(at[1])})"
    shape = {"class": "mark", "transform": place, "d": _MARKS[choice % len(_MARKS)]}
    SubElement(parent, "path", shape)


def _named(root: Element, field: _Field, panel: Panel, names: Sequence[str], silent: str) -> None:
    """The names beside the ends of the lines, apart from each other, a thin line from each to its own."""
    right, foot = _WIDTH - _RIGHT, _TOP + field.height
    ends = []
    for curve in panel.curves:
        if curve.number is not None:
            end = field.y(float(curve.values[-1]))
            ends.append((end if math.isfinite(end) else foot, curve.number, curve.values))
    ends.sort(key=lambda end: end[:2])
    places = _apart([end for end, _, _ in ends], _TOP + 4.0, foot - 2.0)
    for (end, choice, values), place in zip(ends, places, strict=True):
        group = SubElement(root, "g", {"class": _ink(choice)})
        if np.isfinite(values[-1]):
            line(group, [(right + 1.0, end), (right + 8.0, place)], "leader")
        _mark(group, (right + 14.0, place), choice)
        heard = "" if np.isfinite(values).any() else f": {silent}"
        room = _RIGHT - 21.0 - LETTER * _LETTERS * len(heard)
        words = f"{cut(f'{choice + 1} {names[choice]}', room, _LETTERS)}{heard}"
        letters(root, (right + 21.0, place + 4.0), words)


def _apart(wanted: Sequence[float], top: float, foot: float) -> list[float]:
    """Heights as near to those wanted, which rise, as the room for letters lets them."""
    places: list[float] = []
    for height in wanted:
        places.append(max(height, top if not places else places[-1] + _BETWEEN))
    for at in range(len(places) - 1, -1, -1):
        below = foot if at == len(places) - 1 else places[at + 1] - _BETWEEN
        places[at] = min(places[at], below)
    return places
