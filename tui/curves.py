"""The panel of curves: which are shown, what of them, zoom and cursor."""

from __future__ import annotations

import math
import os
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final, Literal

import numpy as np
from rich.text import Text
from textual import work
from textual.widget import Widget

from auralize.circuit.signals import over
from auralize.errors import AuralizeError, RequestError
from auralize.figures.curves import Curves, curves, less
from auralize.figures.reference import SWEEP
from auralize.units import show_frequency

from .canvas import dots_of
from .colours import colours_of
from .curve_view import HIGHEST, LOWEST, SMALLEST, WHOLE, CurveLine, Frame, picture
from .news import News
from .ranges import Ranges

if TYPE_CHECKING:
    from auralize.circuit.conductor import Real
    from auralize.circuit.signals import Signal
    from auralize.circuit.solution import Across
    from auralize.live.sources import Feed
    from auralize.rig.choice import Choice

View = Literal["heard", "loss", "drop", "difference"]
FEW: Final = 3
"""As many choices are all shown; of more, the chosen and the pinned ones."""
_ZOOMED: Final = 4.0
"""From the low to the high end of what zoom shows: two octaves."""
_LEAST_ZOOMED: Final = 0.2
"""dB that its scale spans at least."""
_START: Final = 1000.0
"""Hz at which the cursor appears."""
_CURSOR_STEPS: Final = 24.0
"""Of the cursor to an octave where the picture is zoomed; a fourth of it where it is whole."""


_LOOKS: Final = 0.2
"""s between two looks at whether a range has been found."""
_RANGE: Final = "dotted: what the lay leaves open"


@dataclass(frozen=True)
class Shown:
    """What there is to show."""

    choices: Mapping[str, Choice]
    curves: Mapping[str, Curves]
    chosen: str
    signal: Signal | None
    """That is heard; None: the source."""
    across: Across
    pinned: tuple[str, ...] = ()

    def names(self) -> list[str]:
        """The choices of which there are curves, in the rig's order."""
        wanted = {self.chosen, *self.pinned}
        return [n for n in self.choices if len(self.choices) <= FEW or n in wanted]


def drawn(choice: Choice, across: Across) -> Curves:
    """The curves of a choice; without the drop where it cannot be told over one conductor."""
    return _told(choice, across, SWEEP)


def _told(choice: Choice, across: Across, frequency: Real) -> Curves:
    try:
        return curves(choice, across, frequency)
    except RequestError:
        found = curves(choice, frequency=frequency)
        nowhere = np.full_like(found.drop_db, np.nan)
        return replace(found, drop_db=nowhere, kept_db=nowhere)


class CurvePanel(Widget):
    """Curves of the chosen and the pinned choices, the programme's spectrum under them."""

    can_focus = False

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self._shown: Shown | None = None
        self._view: View = "heard"
        self._frame = WHOLE
        self._spectrum: tuple[Real, Real] | None = None
        """Hz and dB of the programme."""
        self._ranges = Ranges()
        self._dots = dots_of(os.environ, windows=sys.platform == "win32")

    def on_mount(self) -> None:
        self.set_interval(_LOOKS, self._look)

    def show(
        self,
        choices: Mapping[str, Choice],
        curves: Mapping[str, Curves],
        chosen: str,
        signal: Signal | None,
        across: Across,
        pinned: Sequence[str] = (),
    ) -> None:
        """Choices and their curves by name, which is chosen, what is heard of it, which are pinned."""
        kept = tuple(name for name in pinned if name in choices)
        self._shown = Shown(choices, curves, chosen, signal, across, kept)
        if self._view == "difference" and not kept:
            self._view = "heard"
        self._find_ranges()
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

    # ---- what keys do -----------------------------------------------------------------------------

    def turn(self) -> None:
        """What is heard, the loss, the drop, the difference to the pinned choice, in turn."""
        views: list[View] = ["heard", "loss", "drop"]
        if self._shown is not None and self._shown.pinned:
            views.append("difference")
        self._view = views[(views.index(self._view) + 1) % len(views)]
        self.refresh()

    def zoom(self) -> None:
        """Two octaves round the cursor, or all."""
        if self._frame.high / self._frame.low < HIGHEST / LOWEST * 0.999:
            self._frame = replace(WHOLE, cursor=self._frame.cursor)
        else:
            self._frame = _zoomed(self._frame.cursor or _START)
        self.refresh()

    def move_cursor(self, steps: int) -> None:
        """Higher or lower; it appears at 1 kHz, and is gone beyond the ends of the axis."""
        frame = self._frame
        if frame.cursor is None:
            middle = math.sqrt(frame.low * frame.high)
            cursor = _START if frame.low <= _START <= frame.high else middle
        else:
            per_octave = _CURSOR_STEPS / (
                4.0 if frame.low == LOWEST and frame.high == HIGHEST else 1.0
            )
            cursor = _round(frame.cursor * 2.0 ** (steps / per_octave))
        if not LOWEST <= cursor <= HIGHEST:
            self._frame = replace(frame, cursor=None)
        elif frame.low <= cursor <= frame.high:
            self._frame = replace(frame, cursor=cursor)
        else:
            self._frame = _zoomed(cursor)
        self.refresh()

    # ---- what is shown ----------------------------------------------------------------------------

    def render(self) -> Text:
        """The drawing, fitted to the widget."""
        shown, colours = self._shown, colours_of(self.app)
        width, height = self.size.width, self.size.height - 1
        title = Text(
            self._title(width),
            colours.plain,
            no_wrap=True,
            overflow="crop" if self._dots == "plain" else "ellipsis",
        )
        if shown is None or (width, height + 1) < SMALLEST or height + 1 < SMALLEST[1]:
            return title
        rows = [title]
        if self._frame.cursor is not None:
            rows.append(Text(self.reading(), colours.plain, no_wrap=True))
            height -= 1
        size = (width, height)
        rows += picture(self.lines(), self._spectrum, size, self._frame, self._dots, colours)
        return Text("\n").join(rows)

    def _title(self, width: int) -> str:
        whole = f"{self.words()}; {_RANGE}"
        has_range = self._shown is not None and any(one.low is not None for one in self.lines())
        return whole if has_range and len(whole) <= width else self.words()

    def words(self) -> str:
        """What the curves are."""
        if self._shown is None:
            return ""
        what, across = self._what(), self._shown.across
        if self._view == "difference":
            words = "what arrives" if what == "loss" else f"drop{over('drop', across)}"
            return f"{words}, dB over {self._shown.pinned[0]}"
        if what == "loss":
            return "loss from the amplifier's terminals, dB"
        return f"drop{over('drop', across)}, dB re sending end"

    def _what(self) -> Literal["loss", "drop"]:
        heard = self._shown.signal if self._shown else None
        if self._view in ("loss", "drop"):
            return "loss" if self._view == "loss" else "drop"
        return "drop" if heard == "drop" else "loss"

    def lines(self) -> list[CurveLine]:
        """The curves that are shown."""
        shown = self._shown
        assert shown is not None
        return [self._line(shown, name) for name in shown.names()]

    def _line(self, shown: Shown, name: str) -> CurveLine:
        found = shown.curves[name]
        low, high = self._ranges.of(shown.choices[name], shown.across) or (None, None)
        return CurveLine(
            number=list(shown.choices).index(name) + 1,
            name=name,
            hertz=found.frequency,
            levels=self._levels(shown, name, found),
            low=None if low is None else self._levels(shown, name, low),
            high=None if high is None else self._levels(shown, name, high),
            chosen=name == shown.chosen,
        )

    def _levels(self, shown: Shown, name: str, found: Curves) -> Real:
        """dB of what the panel shows."""
        is_drop = self._what() == "drop"
        if self._view != "difference":
            return found.drop_db if is_drop else found.loss_db
        load, against = shown.choices[name].listen, shown.choices[shown.pinned[0]]
        if load not in against.loads:  # there is nothing to compare it with
            return np.full_like(found.frequency, np.nan)
        other = _told(against.at(load), shown.across, found.frequency)
        if is_drop:
            return less(found.kept_db, other.kept_db)
        return less(found.received_db, other.received_db)

    def reading(self) -> str:
        """Frequency at the cursor, and dB of each curve there, worked out for it."""
        shown, hertz = self._shown, self._frame.cursor
        if shown is None or hertz is None:
            return ""
        at = np.array([hertz])
        read = [show_frequency(hertz)]
        for line in self.lines():
            found = _told(shown.choices[line.name], shown.across, at)
            level = float(self._levels(shown, line.name, found)[0])
            read.append(
                f"{line.mark} {level:+.2f}" if math.isfinite(level) else f"{line.mark} none"
            )
        return "  ".join(read)

    # ---- what lays leave open ---------------------------------------------------------------------

    def _find_ranges(self) -> None:
        """Of what is shown, one after the other."""
        shown = self._shown
        if shown is not None:
            self._ranges.want([shown.choices[name] for name in shown.names()], shown.across)

    def _look(self) -> None:
        if self._ranges.take():
            self._find_ranges()
            self.refresh()


def _zoomed(round_it: float) -> Frame:
    """Two octaves with a frequency in the middle, or as near to it as the ends of the axis let it be."""
    half = math.sqrt(_ZOOMED)
    low = min(max(LOWEST, round_it / half), HIGHEST / _ZOOMED)
    return Frame(low, low * _ZOOMED, _LEAST_ZOOMED, round_it)


def _round(hertz: float) -> float:
    """To what the screen shows of it: three figures."""
    return float(f"{hertz:.3g}")
