"""The analyser on the screen: what sounds now as bars, what is compared with it as lines, live."""

from __future__ import annotations

import math
import os
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

import numpy as np
from numpy.typing import NDArray
from rich.segment import Segment
from rich.style import Style
from rich.text import Text
from textual.events import Resize
from textual.geometry import Region
from textual.strip import Strip
from textual.widget import Widget

from auralize.circuit.signals import over
from auralize.gains import SOURCE, Source

from .canvas import Canvas, Scale, dots_of
from .curve_view import mark_of
from .words import clock

if TYPE_CHECKING:
    from auralize.audio.analyser import Fineness, Readings
    from auralize.gains import Heard
    from auralize.live.analysis import Spectrum

    from .canvas import Dots

Levels = NDArray[np.float64]
Mode = tuple[Literal["fast", "slow"], bool]

MODES: Final[tuple[Mode, ...]] = (
    ("fast", False),
    ("slow", False),
    ("fast", True),
    ("slow", True),
)
"""Averaging, and whether relative to the source, in the order that f goes round."""
RANGE: Final = 60.0
"""dB that are shown under the highest level."""
_STEP: Final = 10.0
"""dB; both ends of the scale lie on these."""
_SCALE: Final = 6
"""Columns beside the drawing."""
_LEAST: Final = (24, 6)
"""Columns and rows of a widget with room for a drawing."""
_MARKS: Final = {"sending": "A", "receiving": "R", "drop": "D"}
_STYLES: Final = ("#E69F00", "#009E73", "#CC79A7", "#F0E442", "#D55E00")
"""For lines, from the set of Okabe and Ito (2008, value from memory); each has its mark as well."""
_BARS: Final = "#56B4E9"
_LOWEST, _HIGHEST = 18.0, 22_500.0
"""Hz; the edges of the outermost third octaves."""


@dataclass(frozen=True, eq=False)
class AnalyserLine:
    """What one picture shows, in dB over Hz."""

    frequencies: Levels
    bars: Levels
    lines: dict[str, tuple[str, Levels]]
    """Words and levels, by mark."""


def marks_of(heard: Sequence[Heard], names: Sequence[str]) -> list[str]:
    """A character for each: S, R, D; of several choices the mark that each has in the curves too.

    ``names`` are the choices in the order of the list beside.
    """
    several = len({h.choice for h in heard if not isinstance(h, Source)}) > 1
    return [_mark(h, names if several else ()) for h in heard]


def _mark(heard: Heard, names: Sequence[str]) -> str:
    if isinstance(heard, Source):
        return "S"
    return mark_of(names.index(heard.choice) + 1) if heard.choice in names else _MARKS[heard.signal]


def words_of(heard: Heard, *, choice: bool) -> str:
    """A line's name, with its choice where there are several."""
    if isinstance(heard, Source):
        return "source"
    across = over(heard.signal, heard.across) if heard.signal == "drop" else ""
    return f"{heard.signal}{across}{f' {heard.choice}' if choice else ''}"


def drawn(
    spectrum: Spectrum, heard: Heard, mode: Mode, held: bool, names: Sequence[str] = ()
) -> AnalyserLine:
    """What there is to draw of a picture while ``heard`` sounds; ``held``: with the highest levels.

    ``names``: as of `marks_of`.
    """
    weighting, relative = mode

    def of(readings: Readings) -> Levels:
        return np.asarray(
            readings.highest if held and not relative else getattr(readings, weighting)
        )

    others = [h for h in spectrum.bare if not (relative and h == SOURCE)]
    several = len({h.choice for h in others if not isinstance(h, Source)}) > 1
    lines = {
        mark: (words_of(h, choice=several), of(_reading(spectrum, h, relative)))
        for mark, h in zip(marks_of(others, names), others, strict=True)
        if h != heard
    }
    known = heard if heard in spectrum.bare else SOURCE
    bars = of(_reading(spectrum, known, True)) if relative else of(spectrum.played)
    return AnalyserLine(spectrum.frequencies, bars, lines)


def _reading(spectrum: Spectrum, heard: Heard, relative: bool) -> Readings:
    return spectrum.re_source(heard) if relative else spectrum.as_heard(heard)


def scale_of(levels: Sequence[Levels], relative: bool) -> Scale:
    """On whole tens of dB, the highest level inside, `RANGE` below it; half of that relative to a source."""
    finite = np.concatenate([one[np.isfinite(one)] for one in levels] or [np.zeros(0)])
    highest = float(finite.max(initial=-100.0 if not relative else -20.0))
    top = _STEP * math.ceil((highest + 1.0) / _STEP)
    return Scale(top - (RANGE if not relative else 0.5 * RANGE), top)


def picture(
    now: AnalyserLine, kept: AnalyserLine | None, scale: Scale, width: int, height: int, dots: Dots
) -> list[Text]:
    """Rows of a drawing with its scale and axis."""
    across = Scale(_LOWEST, _HIGHEST, logarithmic=True)
    canvas = Canvas(width - _SCALE, height - 1, across, scale, dots)
    ticks = scale.ticks(max(2, height // 2))
    hertz = [50.0, 100.0, 200.0, 500.0, 1e3, 2e3, 5e3, 10e3]
    canvas.grid(hertz, ticks, "dim")
    middles = np.sqrt(now.frequencies[1:] * now.frequencies[:-1])
    ends = now.frequencies[[0, -1]] ** 2 / middles[[0, -1]]
    canvas.bars(np.concatenate([ends[:1], middles, ends[1:]]), now.bars, _BARS)
    for phase, (mark, style, levels) in enumerate(_lines(now, kept)):
        frequencies = kept.frequencies if mark == "k" and kept else now.frequencies
        canvas.line(frequencies, levels, style, mark, 3 + 4 * phase)
    rows = canvas.rows()
    labels = {canvas.row_of(t): f"{t:+.0f}" if t else "0" for t in ticks}
    for number, row in enumerate(rows):
        rows[number] = Text.assemble(labels.get(number, "").rjust(_SCALE - 1) + " ", row)
    axis = [" "] * (width + 4)
    for frequency, words in ((50.0, "50"), (200.0, "200"), (1e3, "1k"), (5e3, "5k"), (10e3, "10k")):
        start = _SCALE + canvas.column_of(frequency)
        axis[start : start + len(words)] = words
    return [*rows, Text("Hz".ljust(_SCALE - 1) + "".join(axis[_SCALE - 1 : width]))]


def _lines(now: AnalyserLine, kept: AnalyserLine | None) -> list[tuple[str, str, Levels]]:
    found = [
        (mark, style, levels)
        for style, (mark, (_, levels)) in zip(_STYLES, now.lines.items(), strict=False)
    ]
    return [*([("k", "bold", kept.bars)] if kept else []), *found]


class AnalyserPanel(Widget):
    """Draws the pictures it is shown."""

    can_focus = False

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self.mode: Mode = MODES[0]
        self.fineness: Fineness = "thirds"
        self.held = False
        self._highest: AnalyserLine | None = None
        self._now: AnalyserLine | None = None
        self._kept: tuple[AnalyserLine, str] | None = None
        self._scale: Scale | None = None
        self._dots = dots_of(os.environ)
        self._why = ""
        self._rows: list[Text] | None = None
        """As drawn; None: all of it is to be drawn anew."""
        self._strips: list[Strip] = []
        self._style = Style.null()
        """Of the widget, as drawn."""

    # ---- keys

    def turn(self) -> None:
        """The next way of averaging, in dBFS and then relative to the source."""
        self.mode = MODES[(MODES.index(self.mode) + 1) % len(MODES)]
        self._kept = self._highest = self._scale = None
        self._draw()

    def show_as(self, fineness: Fineness) -> None:
        """Third octaves, or a fine line."""
        self.fineness = fineness
        self._now = self._kept = self._highest = self._scale = None
        self._why = "just a moment"
        self._draw()

    def hold(self) -> str:
        """Highest levels from now on, or no more; says which."""
        self.held, self._highest = not self.held, None
        return "Highest levels are held; h lets them go" if self.held else "Levels as they are"

    def keep(self) -> str:
        """Keep what sounds now in the picture, or let it go; says which."""
        if self._kept is not None:
            self._kept = None
            return "The kept picture is let go"
        if self._now is None:
            return "There is no picture to keep yet"
        self._kept = self._now, self._words
        return f"Kept: {self._words}; k lets it go"

    # ---- pictures

    def show(
        self,
        spectrum: Spectrum | None,
        heard: Heard,
        names: Sequence[str] = (),
        blind: bool = False,
    ) -> None:
        """A new picture, while this is heard; None: there is none. ``names``: as of `marks_of`."""
        if spectrum is None:
            self._now = None
            self._why = (
                "nothing is shown of what is heard blind" if blind else "no sound is being made"
            )
        elif spectrum.fineness == self.fineness:
            self._now = self._with_highest(drawn(spectrum, heard, self.mode, self.held, names))
            place = "" if spectrum.position is None else f" at {clock(spectrum.position)}"
            self._words = words_of(heard, choice=True) + place
        self._draw()

    def _with_highest(self, now: AnalyserLine) -> AnalyserLine:
        """Where levels are held: at least as high as they were, line by line."""
        before = self._highest
        if self.held and before is not None and len(before.bars) == len(now.bars):
            bars = np.fmax(now.bars, before.bars)
            lines = {
                mark: (words, np.fmax(levels, before.lines[mark][1]))
                if before.lines.get(mark, ("",))[0] == words
                else (words, levels)
                for mark, (words, levels) in now.lines.items()
            }
            now = AnalyserLine(now.frequencies, bars, lines)
        self._highest = now
        return now

    def title(self) -> str:
        """What is shown, in words."""
        weighting, relative = self.mode
        what = "third octaves" if self.fineness == "thirds" else "fine line"
        averaged = "highest" if self.held and not relative else weighting
        held = ", highest" if self.held and relative else ""
        return f"{what}, {averaged}{held}, {'dB over source' if relative else 'dBFS'}"

    def legend(self) -> Text:
        """Marks and names."""
        words = Text(no_wrap=True, end="")
        words.append("bars: heard now", _BARS)
        if self._kept:
            words.append("  k kept", "bold")
        if self._now:
            for style, (mark, (name, _)) in zip(_STYLES, self._now.lines.items(), strict=False):
                words.append(f"  {mark} {name}", style)
        return words

    def _steady(self, scale: Scale) -> Scale:
        """The scale of before, unless levels are above it or far below: one that jumps cannot be read."""
        before = self._scale
        if before is None or not before.high - 2.0 * _STEP <= scale.high <= before.high:
            self._scale = before = scale
        return before

    def rows(self) -> list[Text]:
        """Title, legend and drawing, fitted to the widget."""
        width, height = self.size.width, self.size.height
        title = Text(self.title()[:width])
        if self._now is None or width < _LEAST[0] or height < _LEAST[1]:
            return [title, Text(self._why[:width] if self._now is None else "")]
        kept = self._kept[0] if self._kept else None
        levels = [self._now.bars, *(line for _, line in self._now.lines.values())]
        scale = self._steady(scale_of([*levels, *([kept.bars] if kept else [])], self.mode[1]))
        legend = self.legend()
        legend.truncate(width)
        return [title, legend, *picture(self._now, kept, scale, width, height - 2, self._dots)]

    # ---- drawing: line by line, as most of them stay as they are from one picture to the next

    def _draw(self) -> None:
        """Draw the lines that differ from those of before."""
        before, self._rows = self._rows, self.rows()
        style, self._style = self._style, self.visual_style.rich_style
        if before is None or len(before) != len(self._rows) or style != self._style:
            self._strips = [_strip(row, self._style) for row in self._rows]
            self.refresh()
            return
        changed = [
            n for n, pair in enumerate(zip(before, self._rows, strict=True)) if _differ(*pair)
        ]
        for number in changed:
            self._strips[number] = _strip(self._rows[number], self._style)
        if changed:
            self.refresh(*(Region(0, number, self.size.width, 1) for number in changed))

    def on_resize(self, event: Resize) -> None:
        """Fit the drawing anew."""
        self._rows = None
        self._draw()

    def render_line(self, y: int) -> Strip:
        """A line as it was drawn."""
        return self._strips[y] if y < len(self._strips) else Strip.blank(self.size.width)


def _differ(before: Text, now: Text) -> bool:
    return before.plain != now.plain or before.spans != now.spans


def _strip(row: Text, style: Style) -> Strip:
    """A row whose spans follow each other, on the style of the widget."""
    words, segments, end = row.plain, [], 0
    for span in row.spans:
        if span.start > end:
            segments.append(Segment(words[end : span.start], style))
        segments.append(Segment(words[span.start : span.end], style + Style.parse(str(span.style))))
        end = span.end
    if end < len(words):
        segments.append(Segment(words[end:], style))
    return Strip(segments, len(words))
