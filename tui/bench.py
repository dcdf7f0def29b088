"""The bench: what is heard now above all, choices and their curves, level and position, news and keys."""

from __future__ import annotations

from typing import Final

from textual.app import ComposeResult
from textual.containers import Container, Horizontal, Vertical
from textual.events import Resize
from textual.widgets import Static

from auralize.circuit.signals import Signal
from auralize.gains import End
from auralize.live.status import Status

from .analyser import AnalyserPanel
from .analysing import PICTURES, Analysing
from .big import Big
from .choice_list import ChoiceList, Listed
from .curves import CurvePanel
from .drawing import Drawing
from .facts_line import FactsLine
from .hints import AFTERWARDS, hint
from .keyline import KeyLine
from .news import News
from .panels import Meters, Now
from .words import big_words

SMALLEST: Final = (76, 21)
"""Columns and rows under which the bench only says what it needs."""
CAUTION: Final = "Starts quiet: raise the volume slowly, loud sound damages hearing"


class BenchScreen(Analysing):
    """The main screen."""

    def compose(self) -> ComposeResult:
        with Horizontal(id="head"):
            yield Static(id="title", markup=False)
            yield Static(id="programme", markup=False)
        with Vertical(id="heard"):
            yield Big(id="big", markup=False)
            with Container(id="hearing"):
                yield Now(id="now", markup=False)
                yield Drawing(id="drawing", markup=False)
            yield FactsLine(id="facts", markup=False)
        with Horizontal(id="top"):
            yield ChoiceList(id="choices", markup=False)
            yield CurvePanel(id="curves")
            yield AnalyserPanel(id="analyser")
        yield Meters(id="meters", markup=False)
        with Vertical(id="news"):
            yield News(id="message", markup=False)
            yield Static(id="hint", markup=False)
        yield Static(CAUTION, id="caution", markup=False)
        yield KeyLine(markup=False)

    def on_mount(self) -> None:
        self._done: set[str] = set()
        self._programme = 0
        self._hint = ""
        self._first = self.chosen
        self.solve(*self.names)
        self.query_one(CurvePanel).read_spectrum(self.source)
        if self.source.caution:
            self.say(f"{self.source.name}: {self.source.caution}")
        self.hear()
        self.set_interval(1.0 / PICTURES, self._look)  # one for all: what changes is drawn at once
        self._fit()
        self.begin_work()

    def on_resize(self, event: Resize) -> None:
        """Say what is needed where the terminal is too small."""
        self._fit()

    def _fit(self) -> None:
        (width, height), (wide, high) = self.app.size, SMALLEST
        fits = width >= wide and height >= high
        for name in ("#top", "#heard", "#meters"):
            self.query_one(name).display = fits
        news = self.query_one(News)
        needs = f"This terminal is {width} x {height}; the bench needs {wide} x {high}"
        news.instead = "" if fits else needs
        news.show()
        self.draw()

    # ---- what is shown ----------------------------------------------------------------------------

    def draw(self) -> None:
        """Title, choices, what the chosen one is, and curves."""
        choices = self.draft.rig.choices
        title = f"{'(not saved) ' if self.draft.unsaved else ''}{self.draft.rig.title}"
        live = self.engine.status().live_input
        title += f", live input {live.name}" if live else ""
        self.query_one("#title", Static).update(title)
        self.query_one("#programme", Static).update(self._programme_words())
        self.pinned = [name for name in self.pinned if name in choices]
        self.query_one(ChoiceList).show(
            Listed(
                self.names,
                self.label,
                self.figures.__getitem__,
                self.chosen,
                self.pinned,
            )
        )
        self.query_one(FactsLine).show(choices[self.chosen])
        self.query_one(CurvePanel).show(
            choices, self.curves, self.chosen, self.signal, self.across, self.pinned
        )
        if not self.draft.unsaved:
            self.query_one(News).answer("work")

    def _programme_words(self) -> str:
        """What sounds; of several, which of them, and the key to the next."""
        count = len(self.engine.programmes)
        which = f" ({self._programme + 1} of {count}; n: next)" if count > 1 else ""
        return f"{self.source.name}{which}"

    def _look(self) -> None:
        """Show what the engine does now."""
        if self.app.screen is not self:
            return
        status = self.engine.status()
        self._follow(status.programme)
        self.query_one(Now).show(status, self.steps())
        self.query_one(Big).show(*big_words(status.heard))
        self._draw_installation(status)
        self.query_one(Meters).show(status)
        self.look_closely(status)
        news = self.query_one(News)
        for event in self.engine.events():
            news.tell(event)
        self._note(status)
        told = hint(self._done)
        news.rows_below = int(told != AFTERWARDS)
        news.show()
        if told != self._hint:
            self._hint = told
            self.query_one("#hint", Static).update(told)

    def _draw_installation(self, status: Status) -> None:
        heard, choice = status.heard, self.draft.rig.choices[self.chosen]
        if isinstance(heard, End):
            choice = self.draft.rig.choices.get(heard.choice, choice)
            self.query_one(Drawing).show(choice, heard.signal, heard.across)
        else:
            self.query_one(Drawing).show(choice, None, "both")

    def _note(self, status: Status) -> None:
        """Which of a newcomer's first steps were done."""
        if status.playing:
            self._done.add("play")
        if self.signal == "drop":
            self._done.add("drop")
        if self.chosen != self._first:
            self._done.add("other")
        if "loud" not in self._done and (
            status.drops == "equal" or "g" not in self.active_bindings
        ):
            self._done.add("loud")

    def _follow(self, programme: int) -> None:
        """Show, and name, the programme that is heard now."""
        if programme == self._programme:
            return
        self._programme, self.source = programme, self.engine.programmes[programme]
        self.draw()
        self.query_one(CurvePanel).read_spectrum(self.source)
        caution = f"; {self.source.caution}" if self.source.caution else ""
        news = self.query_one(News)
        news.answer("programme")
        news.say(f"Now playing {self.source.name}{caution}")

    def on_screen_resume(self) -> None:
        """Back from another screen: hear openly again what is chosen, as it was matched."""
        self.set_levels()
        self.hear()
        self.call_after_refresh(self.engine.settle)

    def action_hear(self, signal: Signal | None) -> None:
        """Hear another signal, and see its curves."""
        super().action_hear(signal)
        self.draw()

    def action_curves(self) -> None:
        """Next curves: of what is heard, loss, drop, difference to the pinned choice."""
        self.query_one(CurvePanel).turn()

    def action_zoom(self) -> None:
        """Two octaves of the curves, or all."""
        self.query_one(CurvePanel).zoom()

    def action_cursor(self, steps: int) -> None:
        """Read the curves at another frequency."""
        self.query_one(CurvePanel).move_cursor(steps)
