"""The bench: choices and their figures, what is heard now, curves, levels, position."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from typing import Final

from textual import on
from textual.app import ComposeResult
from textual.containers import Horizontal
from textual.events import Resize
from textual.widgets import Static

from auralize.circuit.signals import ACROSS_WORDS, Signal
from auralize.circuit.solution import ACROSS, Across
from auralize.errors import AuralizeError, RequestError
from auralize.figures.curves import Curves
from auralize.figures.numbers import Headline, headline
from auralize.gains import INSTALLED, LOUDNESS, SOURCE, End, Match
from auralize.live.protocol import EngineLike
from auralize.rig.editing import RigDraft
from auralize.rig.fields import Change
from auralize.trials.preparing import Preparation

from .bindings import BENCH
from .choice_list import ChoiceList
from .curves import CurvePanel, drawn
from .edit import EditScreen
from .keyline import KeyLine
from .news import News
from .panels import Meters, Now
from .player import PlayerScreen
from .setup import TrialSetup

SMALLEST: Final = (76, 21)
"""Columns and rows under which the bench only says what it needs."""
CAUTION: Final = "Starts quiet: raise the volume slowly, loud sound damages hearing"
_POLL: Final = 0.1
"""s between two looks at the engine."""


class BenchScreen(PlayerScreen):
    """The main screen."""

    BINDINGS = BENCH

    def __init__(self, draft: RigDraft, source: Path, engine: EngineLike, log_folder: Path) -> None:
        super().__init__(engine)
        self.draft, self.source, self.log_folder = draft, source, log_folder
        self.names = list(draft.rig.choices)
        self.chosen = self.names[0]
        self.signal: Signal | None = "receiving"
        """None: the source is heard."""
        self.match = INSTALLED
        self.across: Across = "both"
        self.figures: dict[str, Headline] = {}
        self.curves: dict[str, Curves] = {}

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
        self._solve(*self.names)
        self.query_one(CurvePanel).read_spectrum(self.source)
        self._hear()
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
        self._draw()

    # ---- what is shown ----------------------------------------------------------------------------

    def _solve(self, *names: str) -> None:
        for name in names:
            choice = self.draft.rig.choices[name]
            self.figures[name], self.curves[name] = headline(choice), drawn(choice, self.across)

    def _draw(self) -> None:
        title = f"{self.draft.rig.title}{' (not saved)' if self.draft.unsaved else ''}"
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
        self.query_one(Now).show(status)
        self.query_one(Meters).show(status)
        news = self.query_one(News)
        for event in self.engine.events():
            news.tell(event)
        news.show()

    # ---- what can be done -------------------------------------------------------------------------

    def on_screen_resume(self) -> None:
        """Back from another screen: hear openly again what is chosen, as it was matched."""
        if self.engine.status().match != self.match:
            self.engine.set_match(self.match)
        self._hear()
        self.call_after_refresh(self.engine.settle)

    def _hear(self) -> None:
        """What is chosen; the drop over both conductors, and why, where it cannot be told over one."""
        if not self.signal:
            self.engine.hear(SOURCE)
            return
        heard = End(self.signal, self.chosen, self.across).plain
        try:
            self.draft.rig.choices[heard.choice].check_signal(heard.signal, heard.across)
            self.engine.hear(heard)
        except RequestError as error:
            self.say(f"{error}; the drop is heard {ACROSS_WORDS['both']}")
            self.across = "both"
            self._solve(*self.names)
            self.engine.hear(replace(heard, across="both"))

    @on(ChoiceList.Picked)
    def pick(self, event: ChoiceList.Picked) -> None:
        """Hear the choice that was clicked."""
        self.action_choose(event.number)

    def action_choose(self, number: int) -> None:
        """Hear another choice."""
        if number > len(self.names):
            self.say(f"There is no choice {number}: this rig has {len(self.names)}")
            return
        self.chosen = self.names[number - 1]
        self.signal = self.signal or "receiving"
        self._hear()
        self._draw()

    def action_hear(self, signal: Signal | None) -> None:
        """Hear another signal of the chosen choice, or (None) the source."""
        self.signal = signal
        self._hear()

    def action_across(self) -> None:
        """The drop over both conductors, over plus, over minus."""
        if self.signal != "drop":
            self.say(f"c is for the drop: {', '.join(ACROSS_WORDS.values())}")
            return
        self.across = ACROSS[(ACROSS.index(self.across) + 1) % len(ACROSS)]
        self._hear()
        self._solve(*self.names)
        self._draw()

    def action_match(self) -> None:
        """Next way of matching levels: as installed, in loudness, at the frequency of the figures."""
        level = Match.at(self.figures[self.chosen].reference_hz)
        self.match = {INSTALLED: LOUDNESS, LOUDNESS: level}.get(self.match, INSTALLED)
        self.engine.set_match(self.match)

    def action_curves(self) -> None:
        """Curves of the loss, or of the drop."""
        self.query_one(CurvePanel).turn()

    def action_edit(self) -> None:
        """Edit the chosen choice."""
        self.app.push_screen(EditScreen(self.draft, self.chosen), self._edited)

    def _edited(self, change: Change | None) -> None:
        if change is not None:
            self._changed(change.words)

    def action_undo(self) -> None:
        """Take the last edit back."""
        if self.draft.undo():
            self._changed("The last edit is taken back")
        else:
            self.say("There is no edit to take back")

    def _changed(self, words: str) -> None:
        """Hear, solve and draw what an edit made of the rig."""
        heard = self.engine.choices
        edited = [n for n, choice in self.draft.rig.choices.items() if heard.get(n) != choice]
        for name in edited:
            self.engine.update_choice(self.draft.rig.choices[name])  # first, as ears wait for it
        self._solve(*edited)
        self.say(words)
        if self.across != "both":
            self._hear()  # it may be parted now
        if self.draft.unkept:
            self.say(f"A crash would lose this: {self.draft.unkept}")
        self._draw()

    def action_write(self) -> None:
        """Write the rig file."""
        if not self.draft.unsaved:
            self.say("Nothing to write: the file is as it is here")
            return
        try:
            self.draft.save()
        except AuralizeError as error:
            self.say(str(error))
            return
        self.say(f"Written to {self.draft.path}")
        self._draw()

    def action_blind(self) -> None:
        """Set up a blind trial."""
        if len(self.names) < 2:
            self.say("A blind trial needs two choices; this rig has one")
            return
        self.engine.pause()
        prepared = Preparation(self.draft.rig, self.source, self.log_folder, self.engine)
        self.app.push_screen(TrialSetup(prepared, self.engine))
