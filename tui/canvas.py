"""A small canvas of characters: lines, bands, bars and a grid over two scales, in dots finer than a cell.

    canvas = Canvas(width, height, Scale(20.0, 20e3, logarithmic=True), Scale(-6.0, 0.0), dots_of(os.environ))
    canvas.grid(canvas.x.ticks(6), canvas.y.ticks(5), "dim")
    canvas.band(hertz, low, high, "dim")
    canvas.line(hertz, level, "#56B4E9", mark="1")
    canvas.text(3, 0, "words", "bold")
    Text("\\n").join(canvas.rows())

Widths, heights, rows and columns are cells, from the top left; what is drawn is given in values of the two
scales, and what lies outside of them is cut. Two planes: the ground (grid, band, bars, cursor), of which the
last drawn covers a cell, and lines over it, whose dots join and of which the last gives a cell its style.
Text stands over both. Nothing here knows a widget.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, Final, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from rich.text import Span, Text

Dots = Literal["braille", "blocks", "plain"]
"""8 dots a cell, 2 dots a cell, or one character of ASCII."""
Values = NDArray[np.floating[Any]]
_Mask = NDArray[np.bool_]

_FINENESS: Final[Mapping[Dots, tuple[int, int]]] = {
    "braille": (4, 2),
    "blocks": (2, 1),
    "plain": (1, 1),
}
"""Dots a cell, down and across."""
_BIT: Final = ((0, 1, 2, 6), (3, 4, 5, 7))
"""Of a cell's dots, in the left column and in the right: so Unicode numbers its braille from U+2800 on."""
_GLYPHS: Final[Mapping[Dots, str]] = {
    "braille": " " + "".join(chr(0x2800 + bits) for bits in range(1, 256)),
    "blocks": " ▀▄█",
    "plain": " *",
}
_GRID: Final[Mapping[Dots, str]] = {"braille": "", "blocks": "·", "plain": "."}
_BAND: Final[Mapping[Dots, str]] = {"braille": "", "blocks": "░", "plain": ":"}
_BAR: Final[Mapping[Dots, str]] = {"braille": "", "blocks": "", "plain": "#"}
_CURSOR: Final[Mapping[Dots, str]] = {"braille": "", "blocks": "│", "plain": "|"}
"""In place of dots, where these would be too coarse to tell one from another."""
MARK_EVERY: Final = 16
"""Cells from one mark on a line to the next."""
_PLAIN_TERMINALS: Final = ("vt", "linux", "dumb", "ansi", "unknown")
_COERCED: Final = ("C.UTF-8", "C.utf8")
"""LC_CTYPE as Python itself sets it where the locale is C (PEP 538)."""


def dots_of(environment: Mapping[str, str], *, windows: bool = False) -> Dots:
    """The finest dots that a terminal of this environment can be trusted with.

    AURALIZE_DOTS says it outright: no program can ask which signs the font of a terminal has.
    """
    for kind in _FINENESS:
        if environment.get("AURALIZE_DOTS") == kind:
            return kind
    if windows:
        return "braille" if "WT_SESSION" in environment else "blocks"
    if environment.get("TERM", "").startswith(_PLAIN_TERMINALS) or not _is_utf8(environment):
        return "plain"
    return "braille"


def _is_utf8(environment: Mapping[str, str]) -> bool:
    every, of_letters, language = (environment.get(n, "") for n in ("LC_ALL", "LC_CTYPE", "LANG"))
    if of_letters in _COERCED and language in ("", "C", "POSIX"):
        of_letters = language
    locale = every or of_letters or language
    return locale.upper().replace("-", "").endswith("UTF8")


@dataclass(frozen=True)
class Scale:
    """An axis from ``low`` to ``high``, which is above it."""

    low: float
    high: float
    logarithmic: bool = False

    def share(self, values: ArrayLike) -> Values:
        """Where values lie: 0 at the low end, 1 at the high end; not a number where there is no place."""
        given = np.asarray(values, dtype=np.float64)
        if not self.logarithmic:
            return (given - self.low) / (self.high - self.low)
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.log(given / self.low) / math.log(self.high / self.low)

    def value(self, share: ArrayLike) -> Values:
        """What stands at a share of the way from the low end."""
        part = np.asarray(share, dtype=np.float64)
        if self.logarithmic:
            return np.asarray(self.low * (self.high / self.low) ** part)
        return np.asarray(self.low + (self.high - self.low) * part)

    def ticks(self, most: int) -> list[float]:
        """At most so many round values, on steps of 1-2-5; on a long logarithmic scale 1, 2, 5, 10, 20."""
        if self.logarithmic and self.high / self.low > 10.0:
            decades = range(math.floor(math.log10(self.low)), math.ceil(math.log10(self.high)) + 1)
            for steps in ((1, 2, 5), (1, 3), (1,)):
                ticks = self._within([float(f"{s}e{d}") for d in decades for s in steps])
                if len(ticks) <= most:
                    return ticks
            return ticks[:: math.ceil(len(ticks) / max(1, most))]
        step = self.step(most)
        first, last = math.ceil(self.low / step - 1e-9), math.floor(self.high / step + 1e-9)
        return [round(n * step, 10) for n in range(first, last + 1)]

    def step(self, most: int) -> float:
        """The smallest of 1, 2 or 5 times a power of ten that gives at most so many values."""
        rough = (self.high - self.low) / max(1, most)
        power = 10.0 ** math.floor(math.log10(rough))
        for step in (power, 2.0 * power, 5.0 * power, 10.0 * power, 20.0 * power):
            if math.floor(self.high / step) - math.ceil(self.low / step) + 1 <= most:
                return step
        return 50.0 * power

    def _within(self, values: Sequence[float]) -> list[float]:
        slack = 1e-9 * self.high
        return [v for v in values if self.low - slack <= v <= self.high + slack]


def hertz_words(hertz: float) -> str:
    """``50``, ``1k``, ``2.5k``"""
    return f"{hertz / 1e3:g}k" if hertz >= 1e3 else f"{hertz:g}"


def level_words(levels: Sequence[float], step: float) -> list[str]:
    """Levels with their sign, and the decimals that their step needs."""
    decimals = max(0, math.ceil(-math.log10(step) - 1e-9))
    return [f"{level:+.{decimals}f}" if level else f"{0:.{decimals}f}" for level in levels]


def axis_below(scale: Scale, width: int) -> str:
    """Frequencies under their columns, as many as there is room for; at the edges they are moved in."""
    line, free = [" "] * width, 0
    for hertz in scale.ticks(max(2, width // 4)):
        words = hertz_words(hertz)
        middle = float(scale.share(hertz)) * width
        start = min(width - len(words), max(0, round(middle - len(words) / 2.0)))
        if start >= free:
            line[start : start + len(words)], free = words, start + len(words) + 1
    return "".join(line)


class Canvas:
    """Cells of characters under two scales; see above."""

    def __init__(self, width: int, height: int, x: Scale, y: Scale, dots: Dots = "braille") -> None:
        self.width, self.height, self.x, self.y, self.dots = width, height, x, y, dots
        self._down, self._across = _FINENESS[dots]
        self._ground, self._lines = _Plane(height, width), _Plane(height, width)
        self._over = _Plane(height, width)
        self._styles = [""]

    # ---- places -----------------------------------------------------------------------------------

    def xs(self) -> Values:
        """The values of x at the middle of each column of dots."""
        return self.x.value(self._shares())

    def _shares(self) -> Values:
        across = self.width * self._across
        return np.asarray((np.arange(across) + 0.5) / across)

    def column_of(self, x: float) -> int:
        """The cell in which an x lies; at the edge where it lies outside."""
        return int(min(self.width - 1.0, max(0.0, float(self.x.share(x)) * self.width)))

    def row_of(self, y: float) -> int:
        """The cell in which a y is drawn; at the edge where it lies outside."""
        return int(min(self.height - 1.0, max(0.0, float(self._dot_rows(y)) // self._down)))

    def _dot_rows(self, y: ArrayLike) -> Values:
        """The nearest row of dots: the ends of the scale are the middles of the first and the last."""
        return np.rint((1.0 - self.y.share(y)) * (self.height * self._down - 1))

    # ---- the ground -------------------------------------------------------------------------------

    def grid(self, xs: Sequence[float], ys: Sequence[float], style: str) -> None:
        """A line of dots at each of these values."""
        mask = self._empty()
        for y in ys:
            self._set_row(mask, int(self._dot_rows(y)), slice(None, None, self._across))
        for x in xs:
            mask[:: max(1, self._down // 2), self._dot_column(x)] = True
        self._lay(mask, style, _GRID[self.dots])

    def band(self, xs: ArrayLike, low: ArrayLike, high: ArrayLike, style: str) -> None:
        """All between two curves over rising ``xs``, sprinkled with dots."""
        top, bottom = self._dot_rows(self._at(xs, high)), self._dot_rows(self._at(xs, low))
        mask = self._between(top, bottom)
        if self.dots == "braille":
            mask[1::2] = mask[::4, 1::2] = mask[2::4, ::2] = False
        self._lay(mask, style, _BAND[self.dots])

    def bars(self, edges: ArrayLike, levels: ArrayLike, style: str) -> None:
        """A bar from the foot to each of the levels, between rising edges (one more than levels)."""
        given, heights = np.asarray(edges), np.asarray(levels, dtype=np.float64)
        number = np.searchsorted(given, self.xs(), side="right") - 1
        inside = (number >= 0) & (number < len(heights))
        top = np.where(inside, heights[np.clip(number, 0, len(heights) - 1)], np.nan)
        foot = np.full(top.shape, float(self.height * self._down - 1))
        self._lay(self._between(self._dot_rows(top), foot), style, _BAR[self.dots])

    def cursor(self, x: float, style: str) -> None:
        """A line from top to foot."""
        mask = self._empty()
        mask[:, self._dot_column(x)] = True
        self._lay(mask, style, _CURSOR[self.dots])

    # ---- over it ----------------------------------------------------------------------------------

    def line(
        self, xs: ArrayLike, ys: ArrayLike, style: str, mark: str = "", phase: int = 0
    ) -> None:
        """A curve over rising ``xs``, straight between its points; a gap where it is not finite.

        In each column of dots it fills what lies between the middles to its neighbours, so that it holds
        together however steep it is. ``mark`` (one character) stands on it every `MARK_EVERY` cells from
        ``phase`` on, or is what it is drawn in where there are no dots.
        """
        levels = self._at(xs, ys)
        rows = self._dot_rows(levels)
        last, following = np.roll(rows, 1), np.roll(rows, -1)
        last[0] = following[-1] = np.nan
        halves = [np.where(np.isfinite(n), (rows + n) / 2.0, rows) for n in (last, following)]
        top, foot = np.ceil(np.min([rows, *halves], 0)), np.floor(np.max([rows, *halves], 0))
        sign = mark[:1] if self.dots == "plain" else ""
        self._lines.join(self._bits(self._between(top, foot)), self._style(style), sign)
        if mark and self.dots != "plain":
            for column in range(phase % MARK_EVERY, self.width, MARK_EVERY):
                level = levels[column * self._across + self._across // 2]
                if self.y.low <= level <= self.y.high:
                    self.text(column, self.row_of(level), mark[:1], style)

    def text(self, column: int, row: int, words: str, style: str = "") -> None:
        """Words from a cell on, cut at the edges."""
        if 0 <= row < self.height:
            start, end = max(0, column), min(self.width, column + len(words))
            self._over.write(row, start, words[start - column : end - column], self._style(style))

    def rows(self) -> list[Text]:
        """What was drawn, line by line."""
        glyphs = np.array(list(_GLYPHS[self.dots]))
        signs = np.full((self.height, self.width), " ")
        styles = np.zeros((self.height, self.width), dtype=np.intp)
        for plane in (self._ground, self._lines, self._over):
            drawn = plane.bits > 0
            own = np.where(plane.signs == "", glyphs[plane.bits], plane.signs)
            signs, styles = np.where(drawn, own, signs), np.where(drawn, plane.styles, styles)
        return [self._row(*row) for row in zip(signs, styles, strict=True)]

    def _row(self, signs: NDArray[np.str_], styles: NDArray[np.intp]) -> Text:
        starts = [0, *(np.flatnonzero(np.diff(styles)) + 1).tolist(), self.width]
        numbers = styles[starts[:-1]].tolist()
        spans = [
            Span(start, end, self._styles[number])
            for (start, end), number in zip(pairwise(starts), numbers, strict=True)
            if number
        ]
        return Text("".join(signs.tolist()), no_wrap=True, end="", spans=spans)

    # ---- dots -------------------------------------------------------------------------------------

    def _empty(self) -> _Mask:
        return np.zeros((self.height * self._down, self.width * self._across), dtype=np.bool_)

    def _dot_column(self, x: float) -> int:
        across = self.width * self._across
        return int(min(across - 1.0, max(0.0, float(self.x.share(x)) * across)))

    def _set_row(self, mask: _Mask, row: int, columns: slice) -> None:
        if 0 <= row < len(mask):
            mask[row, columns] = True

    def _at(self, xs: ArrayLike, ys: ArrayLike) -> Values:
        """A curve at the middle of each column of dots; not a number outside of what it spans."""
        places, wanted = self.x.share(xs), self._shares()
        levels = np.asarray(ys, dtype=np.float64)
        found = np.interp(wanted, places, np.where(np.isfinite(levels), levels, np.nan))
        slack = 0.5 / (self.width * self._across)
        outside = (wanted < places[0] - slack) | (wanted > places[-1] + slack)
        return np.where(outside, np.nan, found)

    def _between(self, top: Values, foot: Values) -> _Mask:
        """In each column the dots of these rows and all between; none where one is not a number."""
        row = np.arange(self.height * self._down)[:, None]
        return np.asarray((row >= top) & (row <= foot))

    def _bits(self, mask: _Mask) -> NDArray[np.uint8]:
        dots = mask.view(np.uint8)
        bits = np.zeros((self.height, self.width), dtype=np.uint8)
        for down in range(self._down):
            for across in range(self._across):
                bits |= dots[down :: self._down, across :: self._across] << _BIT[across][down]
        return bits

    def _lay(self, mask: _Mask, style: str, sign: str) -> None:
        self._ground.cover(self._bits(mask), self._style(style), sign)

    def _style(self, style: str) -> int:
        if style not in self._styles:
            self._styles.append(style)
        return self._styles.index(style)


class _Plane:
    """Dots of cells, or signs in their place, and styles."""

    def __init__(self, height: int, width: int) -> None:
        self.bits = np.zeros((height, width), dtype=np.uint8)
        self.signs = np.full((height, width), "", dtype="<U1")
        self.styles = np.zeros((height, width), dtype=np.intp)

    def cover(self, bits: NDArray[np.uint8], style: int, sign: str) -> None:
        """In place of what is in these cells."""
        self._keep(bits, np.where(bits > 0, bits, self.bits), style, sign)

    def join(self, bits: NDArray[np.uint8], style: int, sign: str) -> None:
        """Together with the dots of these cells."""
        self._keep(bits, self.bits | bits, style, sign)

    def _keep(
        self, drawn: NDArray[np.uint8], bits: NDArray[np.uint8], style: int, sign: str
    ) -> None:
        self.bits = bits
        self.signs[drawn > 0], self.styles[drawn > 0] = sign, style

    def write(self, row: int, column: int, words: str, style: int) -> None:
        """Signs from a cell on."""
        place = (row, slice(column, column + len(words)))
        self.bits[place], self.signs[place], self.styles[place] = 1, list(words), style
