"""Curves over a logarithmic frequency axis, drawn with characters that need no colour."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray
from rich.text import Text
from textual import work
from textual.widget import Widget

from auralize.circuit.signals import over
from auralize.errors import AuralizeError, RequestError
from auralize.figures.curves import Curves, curves

from .news import News

if TYPE_CHECKING:
    from auralize.circuit.conductor import Real
    from auralize.circuit.solution import Across
    from auralize.live.sources import Feed
    from auralize.rig.choice import Choice

Levels = NDArray[np.float64]

LOWEST, HIGHEST = 20.0, 20_000.0
"""Hz, the ends of the axis."""
_LOSS: Final = "loss from the amplifier's terminals, dB"
_DROP: Final = "drop{over}, dB re sending end"
_MARKS: Final = ((50.0, "50"), (200.0, "200"), (1e3, "1k"), (5e3, "5k"), (20e3, "20k"))
_BARS: Final = " ▁▂▃▄▅▆▇█"
_SCALE_WIDTH: Final = 6
_SPECTRUM_RANGE: Final = 48.0
"""dB from an empty to a full bar of the programme's spectrum."""


def columns_of(width: int) -> Levels:
    """Frequencies in Hz at the middle of each of ``width`` columns."""
    step = (np.arange(width) + 0.5) / width
    return np.asarray(LOWEST * (HIGHEST / LOWEST) ** step)


def column_at(frequency: float, width: int) -> int:
    """The column in which a frequency lies."""
    share = math.log(frequency / LOWEST) / math.log(HIGHEST / LOWEST)
    return min(width - 1, max(0, int(share * width)))


def nice_range(curves: Sequence[Levels]) -> tuple[float, float]:
    """Bottom and top in dB that hold all curves, on whole decibels, at least one apart."""
    values = np.concatenate(curves)
    values = values[np.isfinite(values)]
    if not len(values):
        return -1.0, 0.0
    bottom, top = math.floor(values.min() * 2.0) / 2.0, math.ceil(values.max() * 2.0) / 2.0
    return bottom, max(top, bottom + 1.0)


def draw(
    curves: Mapping[str, Levels],
    chosen: str,
    spectrum: Levels | None,
    width: int,
    height: int,
) -> list[str]:
    """Rows of text: each curve in its own mark, the chosen one on top, then spectrum and axis.

    ``curves`` are dB at `columns_of` the inner width, by the mark (one character) they are drawn in.
    """
    inner = max(8, width - _SCALE_WIDTH)
    rows = max(3, height - (3 if spectrum is not None else 2))
    bottom, top = nice_range(list(curves.values()))
    field = [[" "] * inner for _ in range(rows)]
    for mark, levels in sorted(curves.items(), key=lambda item: item[0] == chosen):
        for column, level in enumerate(levels[:inner]):
            if math.isfinite(level):
                row = round((top - level) / (top - bottom) * (rows - 1))
                field[min(rows - 1, max(0, row))][column] = mark
    scale = {0: f"{top:+.1f}", rows // 2: f"{(top + bottom) / 2:+.1f}", rows - 1: f"{bottom:+.1f}"}
    lines = [
        scale.get(i, "").rjust(_SCALE_WIDTH - 1) + "|" + "".join(r) for i, r in enumerate(field)
    ]
    if spectrum is not None:
        lines.append("prog".rjust(_SCALE_WIDTH - 1) + "|" + _bars(spectrum[:inner]))
    return [*lines, " " * (_SCALE_WIDTH - 1) + "+" + "-" * inner, _axis(inner)]


def _bars(levels: Levels) -> str:
    """The programme's spectrum: a bar a column, the loudest full."""
    peak = np.max(levels, initial=-np.inf)
    if not math.isfinite(float(peak)):
        return " " * len(levels)
    share = np.clip(1.0 + (levels - peak) / _SPECTRUM_RANGE, 0.0, 1.0)
    return "".join(_BARS[round(float(s) * (len(_BARS) - 1))] for s in share)


def _axis(inner: int) -> str:
    line = [" "] * (inner + _SCALE_WIDTH + 4)
    for frequency, text in _MARKS:
        start = (
            _SCALE_WIDTH + column_at(frequency, inner) - (len(text) if frequency >= HIGHEST else 0)
        )
        line[start : start + len(text)] = text
    return "Hz".ljust(_SCALE_WIDTH - 1) + "".join(line[_SCALE_WIDTH - 1 : inner + _SCALE_WIDTH])


def drawn(choice: Choice, across: Across) -> Curves:
    """The curves of a choice; without the drop where it cannot be told over one conductor."""
    try:
        return curves(choice, across)
    except RequestError:
        found = curves(choice)
        return replace(found, drop_db=np.full_like(found.drop_db, np.nan))


class CurvePanel(Widget):
    """Loss or drop of every choice over frequency, the programme's spectrum under it."""

    can_focus = False

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self._curves: Sequence[Curves] = ()
        self._chosen = 0
        self._drop = False
        self._across: Across = "both"
        self._spectrum: tuple[Levels, Levels] | None = None
        """Hz and dB of the programme."""

    def show(self, curves: Sequence[Curves], chosen: int, across: Across) -> None:
        """New curves, one a choice, the place of the chosen one among them; what drops are over."""
        self._curves, self._chosen, self._across = curves, chosen, across
        self.refresh()

    @work(thread=True, exclusive=True, group="spectrum")
    def read_spectrum(self, programme: Feed) -> None:
        """Show that of a programme as soon as it is read."""
        try:
            self._spectrum = programme.spectrum()
        except AuralizeError as error:
            self.app.call_from_thread(self.screen.query_one(News).say, str(error))
        else:
            self.app.call_from_thread(self.refresh)

    def turn(self) -> None:
        """The drop in place of the loss, or back."""
        self._drop = not self._drop
        self.refresh()

    def render(self) -> Text:
        """The drawing, fitted to the widget."""
        title = _DROP.format(over=over("drop", self._across)) if self._drop else _LOSS
        width, height = self.size.width, self.size.height - 1
        if not self._curves or width < 16 or height < 6:
            return Text(title)
        at = columns_of(max(8, width - _SCALE_WIDTH))
        fitted = {
            str(number): _over(at, c.frequency, c.drop_db if self._drop else c.loss_db)
            for number, c in enumerate(self._curves, 1)
        }
        spectrum = None if self._spectrum is None else _over(at, *self._spectrum)
        chosen = str(self._chosen + 1)
        text = Text(title + "\n")
        for line in draw(fitted, chosen, spectrum, width, height):
            row = Text(line)
            if "|" in line and not line.lstrip().startswith("prog"):
                row.highlight_words([chosen], "bold reverse")
                row.stylize("not bold not reverse", 0, _SCALE_WIDTH)
            text.append_text(row).append("\n")
        return text


def _over(at: Levels, frequency: Real, levels: Real) -> Levels:
    """Levels at other frequencies, on straight lines over the logarithm of frequency."""
    return np.interp(np.log(at), np.log(frequency), levels)
