"""A small drawing of the installation on the way to what is heard, in characters; pure functions."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from textual.widgets import Static

from auralize.circuit.network import PERFECT
from auralize.circuit.signals import ACROSS_WORDS, Signal
from auralize.circuit.solution import Across
from auralize.figures.way import WayPart, away_at_amplifier, folded, way_parts
from auralize.units import show_length

from .plain import is_plain

if TYPE_CHECKING:
    from auralize.rig.choice import Choice

ROWS: Final = 5
"""Of the drawing."""
LEAST: Final = 40
"""Columns under which nothing is drawn."""
_AMPLIFIER: Final = "amp"
_LONGEST_NAME: Final = 12
_SHORTEST_RUN: Final = 9
_TRANSFORMER: Final = 7
"""Columns."""
_COIL: Final = "@@@"
_TOP, _PLUS, _MINUS, _BOTTOM, _MEASURE = range(ROWS)


@dataclass(frozen=True)
class _Pen:
    """The characters that lines are made of."""

    level: str
    heavy: str
    upright: str
    corners: str
    """Top left, top right, bottom left, bottom right, out of a box to the right, into one."""
    ends: str
    """Of a measure."""
    here: str
    node: str


_FINE: Final = _Pen("─", "━", "│", "┌┐└┘├┤", "├┤", "▲", "●")
_PLAIN: Final = _Pen("-", "=", "|", "++++||", "||", "^", "o")


def drawing(
    choice: Choice, signal: Signal | None, across: Across, width: int, *, plain: bool
) -> list[str]:
    """`ROWS` lines of ``width`` columns at most; none where there is no room for a drawing.

    Amplifier, the runs and transformers on the way, and the loudspeaker; x: a joint or terminal with
    resistance, @@@: a coil, ): a transformer; what goes off to other loudspeakers; and where that is
    taken which is heard (``signal`` None: the source). ``plain``: in ASCII alone.
    """
    if width < LEAST:
        return []
    pen = _PLAIN if plain else _FINE
    name = _cut(choice.listen, _LONGEST_NAME)
    first, last = len(_AMPLIFIER) + 2, width - len(name) - 2
    sheet = [[" "] * width for _ in range(ROWS)]
    _box(sheet, 0, _AMPLIFIER, pen, pen.corners[4], "")
    _box(sheet, last, name, pen, "", pen.corners[5])
    heavy = {"both": (_PLUS, _MINUS), "plus": (_PLUS,), "minus": (_MINUS,)}[across]
    for row in (_PLUS, _MINUS):
        line = pen.heavy if signal == "drop" and row in heavy else pen.level
        _put(sheet, row, first, line * (last - first))
    _ends(sheet, choice, first, last)
    room = last - first - 4
    parts = folded(way_parts(choice), lambda shown: sum(map(_least, shown)) <= room)
    if parts:
        _lay_out(sheet, parts, first + 2, last - 2, pen)
    else:
        _put(sheet, _TOP, first + 1, "no cable")
    _put(sheet, _BOTTOM, first + 1, _cut(away_at_amplifier(choice), last - first - 1))
    _measure(sheet, signal, across, (first, last), pen)
    return ["".join(row).rstrip() for row in sheet]


def _put(sheet: list[list[str]], row: int, column: int, text: str) -> None:
    for at, sign in enumerate(text, column):
        if 0 <= at < len(sheet[row]):
            sheet[row][at] = sign


def _cut(text: str, width: int) -> str:
    return text if len(text) <= width else f"{text[: max(0, width - 1)]}~"[: max(0, width)]


def _box(sheet: list[list[str]], at: int, name: str, pen: _Pen, out: str, into: str) -> None:
    wide = len(name)
    corners = pen.corners
    _put(sheet, _TOP, at, corners[0] + pen.level * wide + corners[1])
    _put(sheet, _PLUS, at, (into or pen.upright) + name + (out or pen.upright))
    _put(sheet, _MINUS, at, (into or pen.upright) + " " * wide + (out or pen.upright))
    _put(sheet, _BOTTOM, at, corners[2] + pen.level * wide + corners[3])


def _ends(sheet: list[list[str]], choice: Choice, first: int, last: int) -> None:
    """Plus and minus at both ends, swapped where the loudspeaker has them so; its terminals."""
    connected = choice.network.loads[choice.listen]
    _put(sheet, _PLUS, first, "+")
    _put(sheet, _MINUS, first, "-")
    _put(sheet, _PLUS, last - 1, "-" if connected.reversed else "+")
    _put(sheet, _MINUS, last - 1, "+" if connected.reversed else "-")
    if connected.contact != PERFECT:
        for row in (_PLUS, _MINUS):
            _put(sheet, row, last - 2, "x")


def _least(part: WayPart) -> int:
    if part.kind == "transformer":
        return max(_TRANSFORMER, min(len(part.words[0]) + 1, _LONGEST_NAME))
    return _SHORTEST_RUN


def _lay_out(
    sheet: list[list[str]], parts: Sequence[WayPart], first: int, last: int, pen: _Pen
) -> None:
    """The parts beside each other, runs sharing what transformers leave."""
    spare = last - first - sum(map(_least, parts))
    growing = [part for part in parts if part.kind != "transformer"] or list(parts)
    at = first
    for number, part in enumerate(parts):
        wide = _least(part)
        if part in growing:
            wide += spare // len(growing)
        if number == len(parts) - 1:
            wide = last - at
        _draw_part(sheet, part, at, wide, pen, ends=number == len(parts) - 1)
        at += wide


def _draw_part(
    sheet: list[list[str]], part: WayPart, at: int, wide: int, pen: _Pen, *, ends: bool
) -> None:
    words = next((w for w in part.words if len(w) < wide), _cut(part.words[-1], wide - 1))
    _put(sheet, _TOP, at + (wide - len(words)) // 2, words)
    middle = at + wide // 2
    for row in (_PLUS, _MINUS):
        if part.kind == "transformer":
            _put(sheet, row, middle - 1, ")(")
        if part.kind == "more":
            _put(sheet, row, middle - 1, "...")
        if part.coiled:
            _put(sheet, row, middle - 1, _COIL)
        if part.near:
            _put(sheet, row, at + 1, "x")
        if part.far:
            _put(sheet, row, at + wide - 2, "x")
        if part.away and not ends:
            _put(sheet, row, at + wide - 1, pen.node)
    if part.away:
        away = _cut(part.away, wide - 1)
        _put(sheet, _BOTTOM, at + wide - len(away), away)


def _measure(
    sheet: list[list[str]],
    signal: Signal | None,
    across: Across,
    ends: tuple[int, int],
    pen: _Pen,
) -> None:
    """Where what is heard is taken."""
    first, last = ends
    if signal == "drop":
        wide = last - first
        words = f" the drop {ACROSS_WORDS[across]} "
        _put(sheet, _MEASURE, first, pen.ends[0] + pen.level * (wide - 2) + pen.ends[1])
        _put(sheet, _MEASURE, first + (wide - len(words)) // 2, words)
    elif signal == "receiving":
        words = f"heard here: the receiving end {pen.here}"
        _put(sheet, _MEASURE, last + 2 - len(words), words)
    else:
        what = "the source" if signal is None else "the sending end"
        _put(sheet, _MEASURE, 2, f"{pen.here} heard here: {what}")


def tree(choice: Choice) -> list[str]:
    """All of the installation, one part a line, each under what feeds it."""
    network = choice.network
    behind: dict[str | None, list[str]] = {}
    for part in (*network.runs, *network.transformers):
        behind.setdefault(network.feeder(part), []).append(part)
    here: dict[str | None, list[str]] = {}
    for load, connected in network.loads.items():
        here.setdefault(connected.at, []).append(load)
    lines: list[str] = []
    waiting: list[tuple[str | None, int]] = [(None, 0)]
    while waiting:  # a line of many runs is deeper than calls may go
        name, depth = waiting.pop()
        lines.append("  " * depth + ("amplifier" if name is None else _part_words(choice, name)))
        lines += ["  " * (depth + 1) + _load_words(choice, load) for load in here.get(name, ())]
        waiting += [(part, depth + 1) for part in reversed(behind.get(name, []))]
    return lines


def _load_words(choice: Choice, load: str) -> str:
    swapped = ", plus and minus swapped" if choice.network.loads[load].reversed else ""
    return f"loudspeaker {load}{swapped}{', heard here' if load == choice.listen else ''}"


def _part_words(choice: Choice, name: str) -> str:
    if name in choice.runs:
        return f"run {name}, {show_length(choice.network.runs[name].length)}"
    tap = choice.transformers[name].tap
    return f"transformer {name}" + (f", tapped at {tap:.3g} W" if tap is not None else "")


class Drawing(Static):
    """The drawing, fitted to the widget."""

    def on_mount(self) -> None:
        self._shown: tuple[Choice, Signal | None, Across] | None = None

    def show(self, choice: Choice, signal: Signal | None, across: Across) -> None:
        """The installation of this choice, and where this signal is taken."""
        before = self._shown
        self._shown = choice, signal, across
        if before is None or before[0] is not choice or before[1:] != self._shown[1:]:
            self._draw()

    def on_resize(self) -> None:
        """Draw to the new width."""
        self._draw()

    def _draw(self) -> None:
        if self._shown:
            lines = drawing(*self._shown, self.size.width, plain=is_plain())
            self.update("\n".join(lines))
