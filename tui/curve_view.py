"""The picture of a few curves over frequency, as lines of text: scale, grid, bands, labels, cursor."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from rich.text import Text

from .canvas import MARK_EVERY, Canvas, Dots, Scale, Values, axis_below, level_words
from .colours import NONE, Colours

LOWEST, HIGHEST = 20.0, 20_000.0
"""Hz, the ends of the whole axis."""
SMALLEST: Final = (16, 7)
"""Columns and rows under which there is no picture."""
SCALE_WIDTH: Final = 6
"""Columns of the labels of levels and the line beside them."""
_LABEL_SHARE: Final = 0.25
"""Of the width, for names at the ends of lines."""
_LEAST_PLOT: Final = 24
"""Columns that names leave to the curves."""
_SPECTRUM_RANGE: Final = 48.0
"""dB from an empty to a full bar of the programme's spectrum."""
_BARS: Final[Mapping[Dots, str]] = {
    "braille": " ▁▂▃▄▅▆▇█",
    "blocks": " ▁▂▃▄▅▆▇█",
    "plain": " .:-=+*#@",
}
_UPRIGHT: Final[Mapping[Dots, tuple[str, str]]] = {
    "braille": ("│", "┤"),
    "blocks": ("│", "┤"),
    "plain": ("|", "+"),
}
_MARKS: Final = "123456789abcdefghijklmnopqrstuvwxyz"


def mark_of(number: int) -> str:
    """The character of the choice of this number, from 1, in every picture."""
    return _MARKS[(number - 1) % len(_MARKS)]


@dataclass(frozen=True)
class CurveLine:
    """One curve; arrays have the shape of ``hertz``."""

    number: int
    """Of the choice, from 1."""
    name: str
    hertz: Values
    levels: Values
    """dB; not finite where there is none."""
    low: Values | None = None
    high: Values | None = None
    """What a lay leaves open."""
    chosen: bool = False

    @property
    def mark(self) -> str:
        """The one character that stands on the line."""
        return mark_of(self.number)

    @property
    def words(self) -> str:
        """What stands at its end."""
        mark, number = self.mark, str(self.number)
        return f"{number} {self.name}" if mark == number else f"{mark}={number} {self.name}"


@dataclass(frozen=True)
class Frame:
    """What of the curves is shown."""

    low: float = LOWEST
    high: float = HIGHEST
    """Hz"""
    least: float = 1.0
    """dB that the scale spans at least."""
    cursor: float | None = None
    """Hz"""


WHOLE: Final = Frame()


def nice_range(curves: Sequence[Values], least: float = 1.0) -> tuple[float, float]:
    """Bottom and top in dB that hold all curves, on halves of ``least``, which they are apart at least."""
    values = np.concatenate([np.zeros(0), *curves])
    values = values[np.isfinite(values)]
    if not len(values):
        return -least, 0.0
    half = least / 2.0
    bottom, top = (
        round(ends * half, 6)
        for ends in (math.floor(values.min() / half), math.ceil(values.max() / half))
    )
    return bottom, max(top, bottom + least)


def picture(
    lines: Sequence[CurveLine],
    spectrum: tuple[Values, Values] | None,
    size: tuple[int, int],
    frame: Frame = WHOLE,
    dots: Dots = "braille",
    colours: Colours = NONE,
) -> list[Text]:
    """Rows of text, as many as ``size`` (columns, rows) has: curves, then the programme and the axis.

    ``spectrum`` is Hz and dB of the programme's third octaves.
    """
    width, height = size
    names = _names_width(lines, width)
    inner, rows = width - SCALE_WIDTH - names, height - (1 if spectrum is None else 2)
    x = Scale(frame.low, frame.high, logarithmic=True)
    canvas = Canvas(inner, rows, x, Scale(*nice_range(_visible(lines, frame), frame.least)), dots)
    _draw(canvas, lines, frame, colours)
    labels = _labels(canvas, lines, names, colours)
    scale = _scale(canvas, colours)
    text = [
        Text.assemble(scale[row], line, labels.get(row, ""))
        for row, line in enumerate(canvas.rows())
    ]
    if spectrum is not None:
        side = "prog".rjust(SCALE_WIDTH - 1) + _UPRIGHT[dots][0]
        text.append(Text(side + _bars(spectrum, canvas), colours.muted))
    text.append(Text("Hz".ljust(SCALE_WIDTH) + axis_below(x, inner), colours.plain))
    return text


def _visible(lines: Sequence[CurveLine], frame: Frame) -> list[Values]:
    slack = 1e-9
    found = []
    for line in lines:
        inside = (line.hertz >= frame.low * (1 - slack)) & (line.hertz <= frame.high * (1 + slack))
        found += [v[inside] for v in (line.levels, line.low, line.high) if v is not None]
    return found


def _draw(canvas: Canvas, lines: Sequence[CurveLine], frame: Frame, colours: Colours) -> None:
    canvas.grid(
        canvas.x.ticks(max(2, canvas.width // 4)),
        canvas.y.ticks(_most(canvas.height)),
        colours.muted,
    )
    below_chosen = sorted(enumerate(lines), key=lambda item: item[1].chosen)
    for _, line in below_chosen:
        if line.low is not None and line.high is not None:
            canvas.band(line.hertz, line.low, line.high, colours.muted)
    if frame.cursor is not None:
        canvas.cursor(frame.cursor, colours.plain)
    for place, line in below_chosen:
        style = _style(place, line, colours)
        phase = MARK_EVERY // 4 + place * MARK_EVERY // max(1, len(lines))
        canvas.line(line.hertz, line.levels, style, line.mark, phase)


def _style(place: int, line: CurveLine, colours: Colours) -> str:
    colour = colours.curves[place % len(colours.curves)]
    return f"bold {colour}".strip() if line.chosen else colour


def _most(rows: int) -> int:
    """Labels of levels: in every second row of a low picture, in every fourth of a high one."""
    return min(rows // 2 + 1, rows // 4 + 4)


def _scale(canvas: Canvas, colours: Colours) -> list[Text]:
    """The labels of levels, each in the row in which its value is drawn, and the line beside them."""
    upright, tick = _UPRIGHT[canvas.dots]
    side = [" " * (SCALE_WIDTH - 1) + upright for _ in range(canvas.height)]
    most = _most(canvas.height)
    ticks, step = canvas.y.ticks(most), canvas.y.step(most)
    for level, words in zip(ticks, level_words(ticks, step), strict=True):
        side[canvas.row_of(level)] = words.rjust(SCALE_WIDTH - 1) + tick
    return [Text(row, colours.plain, end="") for row in side]


def _names_width(lines: Sequence[CurveLine], width: int) -> int:
    longest = max((len(line.words) + 1 for line in lines), default=0)
    room = min(int(width * _LABEL_SHARE), width - SCALE_WIDTH - _LEAST_PLOT)
    return min(longest, room) if room >= 3 else 0


def _labels(
    canvas: Canvas, lines: Sequence[CurveLine], width: int, colours: Colours
) -> dict[int, Text]:
    """The words of each line by the row of its end; rows of their own where ends lie close."""
    if not width:
        return {}
    ends = [(end, place) for place, line in enumerate(lines) if (end := _end(canvas, line)) >= 0]
    rows = apart([row for row, _ in sorted(ends)], canvas.height)
    found = {}
    for row, (_, place) in zip(rows, sorted(ends), strict=True):
        words = " " + lines[place].words
        cut = words if len(words) <= width else words[: width - 1] + "~"
        found[row] = Text(cut, _style(place, lines[place], colours), end="")
        if lines[place].chosen:
            found[row].stylize("reverse", 1)
    return found


def _end(canvas: Canvas, line: CurveLine) -> int:
    """The row in which a line ends; -1 for one that is nowhere."""
    inside = (line.hertz <= canvas.x.high * 1.000001) & np.isfinite(line.levels)
    return canvas.row_of(float(line.levels[inside][-1])) if inside.any() else -1


def apart(rows: Sequence[int], height: int) -> list[int]:
    """Rising rows moved as little as needed, down and then up, for each to be alone; the first ``height``."""
    placed: list[int] = []
    for row in rows[:height]:
        placed.append(max(row, placed[-1] + 1) if placed else row)
    limit = height - 1
    for n in reversed(range(len(placed))):
        placed[n] = min(placed[n], limit)
        limit = placed[n] - 1
    return placed


def _bars(spectrum: tuple[Values, Values], canvas: Canvas) -> str:
    """The programme's spectrum: a bar a column, the loudest full; none where it is not known."""
    hertz, levels = spectrum
    signs = _BARS[canvas.dots]
    peak = float(np.max(levels, initial=-np.inf))
    if not math.isfinite(peak):
        return " " * canvas.width
    at = canvas.x.value((np.arange(canvas.width) + 0.5) / canvas.width)
    there = np.interp(np.log(at), np.log(hertz), levels)
    share = np.clip(
        1.0 + (np.nan_to_num(there, nan=-1e9, neginf=-1e9) - peak) / _SPECTRUM_RANGE, 0.0, 1.0
    )
    return "".join(signs[round(float(s) * (len(signs) - 1))] for s in share)
