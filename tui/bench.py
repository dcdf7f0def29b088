"""The bench: choices and their figures, what is heard now, curves, levels, position."""

from __future__ import annotations

import math
from typing import Final

from textual.app import ComposeResult
from textual.containers import Horizontal
from textual.events import Resize
from textual.widgets import Static

from .bindings import VIEWING
from .choice_list import ChoiceList
from .curves import CurvePanel
from .keyline import KeyLine
from .news import News
from .panels import Meters, Now
from .working import Working

SMALLEST: Final = (76, 21)
"""Columns and rows under which the bench only says what it needs."""
CAUTION: Final = "Starts quiet: raise the volume slowly, loud sound damages hearing"
_POLL: Final = 0.1
"""s between two looks at the engine."""


class BenchScreen(Working):
    """The main screen."""

    BINDINGS = VIEWING

    def compose(self) -> ComposeResult:
        yield Static(id="title", markup=False)
        with Horizontal(id="top"):
            yield ChoiceList(id="choices", markup=False)
            yield CurvePanel(id="curves")
        yield Now(id="now", markup=False)
        yield Meters(id="meters", markup=False)
        yield News(id="message", markup=False)
        yield Static(CAUTION, id="caution", markup=False)
        yield KeyLine(markup=False)

    def on_mount(self) -> None:
        self.solve(*self.names)
        self.query_one(CurvePanel).read_spectrum(self.source)
        if self.source.caution:
            self.say(f"{self.source.name}: {self.source.caution}")
        self.hear()
        if self.draft.recovered:
            found = "Unsaved work was found and is in use; w writes it, u goes back to the file"
            self.say(found, math.inf)
            if self.draft.stale:
                self.say("Mind: the rig file has been changed since that work", math.inf)
        self.set_interval(_POLL, self._look)
        self._fit()

    def on_resize(self, event: Resize) -> None:
        """Say what is needed where the terminal is too small."""
        self._fit()

    def _fit(self) -> None:
        (width, height), (wide, high) = self.app.size, SMALLEST
        fits = width >= wide and height >= high
        for name in ("#top", "#now", "#meters"):
            self.query_one(name).display = fits
        news = self.query_one(News)
        needs = f"This terminal is {width} x {height}; the bench needs {wide} x {high}"
        news.instead = "" if fits else needs
        news.show()
        self.draw()

    # ---- what is shown ----------------------------------------------------------------------------

    def draw(self) -> None:
        """Title, choices and curves."""
        title = f"{self.draft.rig.title}{' (not saved)' if self.draft.unsaved else ''}"
        live = self.engine.status().live_input
        title += f", live input {live.name}" if live else ""
        self.query_one("#title", Static).update(title)
        self.query_one(ChoiceList).show(self.figures, self.chosen)
        found = [self.curves[name] for name in self.names]
        chosen = self.names.index(self.chosen)
        self.query_one(CurvePanel).show(found, chosen, self.across)

    def _look(self) -> None:
        """Show what the engine does now."""
        if self.app.screen is not self:
            return
        status = self.engine.status()
        self._follow(status.programme)
        self.query_one(Now).show(status)
        self.query_one(Meters).show(status, self.source.name)
        news = self.query_one(News)
        for event in self.engine.events():
            news.tell(event)
        news.show()

    def _follow(self, programme: int) -> None:
        """Show, and name, the programme that is heard now."""
        if programme == self._programme:
            return
        self._programme, self.source = programme, self.engine.programmes[programme]
        self.query_one(CurvePanel).read_spectrum(self.source)
        caution = f"; {self.source.caution}" if self.source.caution else ""
        self.say(f"Now playing {self.source.name}{caution}")

    def on_screen_resume(self) -> None:
        """Back from another screen: hear openly again what is chosen, as it was matched."""
        if self.engine.status().match != self.match:
            self.engine.set_match(self.match)
        self.hear()
        self.call_after_refresh(self.engine.settle)

    def action_curves(self) -> None:
        """Curves of the loss, or of the drop."""
        self.query_one(CurvePanel).turn()
