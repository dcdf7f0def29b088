"""The bench: choices and their figures, what is heard now, curves, levels, position."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from time import monotonic
from typing import TYPE_CHECKING, Final

import numpy as np
from textual import work
from textual.app import ComposeResult
from textual.binding import Binding
from textual.containers import Horizontal
from textual.events import Click, Resize
from textual.screen import Screen
from textual.widgets import Static

from auralize.audio.spectrum import third_octaves
from auralize.circuit.levels import drop_db, loss_db
from auralize.circuit.signals import Signal
from auralize.circuit.solution import solve
from auralize.errors import AuralizeError
from auralize.figures.numbers import Headline, headline
from auralize.gains import INSTALLED, LOUDNESS, SOURCE, End, Match
from auralize.rig.choice import Choice
from auralize.rig.editing import RigDraft

from .curves import Curves, Levels
from .edit import Change, EditScreen
from .keyline import KeyLine
from .setup import TrialSetup
from .words import (
    clock,
    gain_words,
    heard_words,
    key_figures,
    level_bar,
    shortest_figures,
)

if TYPE_CHECKING:
    from auralize.live.engine import Engine
    from auralize.live.status import Event, Status

SMALLEST: Final = (76, 21)
"""Columns and rows under which the bench only says what it needs."""
CAUTION: Final = "Starts quiet: raise the volume slowly, loud sound damages hearing"
_POLL: Final = 0.1
"""s between two looks at the engine."""
_NEWS_LASTS: Final = 20.0
"""s that news stay on the screen; what is wrong with the device stays until it is right again."""
_SEEK: Final = 5.0
_VOLUME_STEP: Final = 1.0
_MATCHES: Final = (INSTALLED, LOUDNESS, Match.at(1000.0))
_CURVE_WORDS: Final = {
    "loss": "loss from the amplifier's terminals, dB",
    "drop": "drop, dB re sending end",
}
_FREQUENCY: Final = np.geomspace(20.0, 20_000.0, 300)


@dataclass(frozen=True)
class News:
    """A line of news, and the time (`time.monotonic`) when it goes."""

    words: str
    until: float


class ChoiceList(Static):
    """The choices, two lines each, or one where there is no room; a click hears one."""

    can_focus = False

    def on_mount(self) -> None:
        self.lines_each = 2
        self._entries: list[tuple[str, Headline]] = []
        self._chosen = ""

    def show(self, figures: Mapping[str, Headline], chosen: str) -> None:
        """Name and key figures of each choice, the chosen one marked."""
        self._entries, self._chosen = list(figures.items()), chosen
        self._draw()

    def on_resize(self) -> None:
        """Find out what there is room for."""
        self._draw()

    def _draw(self) -> None:
        self.lines_each = 2 if 2 * len(self._entries) <= self.size.height else 1
        lines = []
        for number, (name, figures) in enumerate(self._entries, 1):
            mark = ">" if name == self._chosen else " "
            if self.lines_each == 2:
                lines += [f"{mark}{number} {name}", f"   {key_figures(figures)}"]
            else:
                lines.append(f"{mark}{number} {name[:12]:<12} {shortest_figures(figures)}")
        self.update("\n".join(line[:32] for line in lines))

    def on_click(self, event: Click) -> None:
        """Hear the choice that was clicked."""
        screen = self.screen
        if isinstance(screen, BenchScreen):
            screen.action_choose(max(0, event.y - 1) // self.lines_each + 1)


class BenchScreen(Screen[None]):
    """The main screen."""

    BINDINGS = [
        Binding("space", "play", "Play", tooltip="Play or pause", id="bench.play"),
        *(
            Binding(
                str(n),
                f"choose({n})",
                f"Choice {n}",
                show=False,
                tooltip="Hear choice 1 (2 to 9: the others)" if n == 1 else "",
                id=f"bench.choice{n}",
            )
            for n in range(1, 10)
        ),
        Binding("s", "source", "Source", tooltip="Hear the source", id="bench.source"),
        Binding(
            "r", "hear('receiving')", "Receiving", tooltip="Hear the receiving end", id="bench.rec"
        ),
        Binding("d", "hear('drop')", "Drop", tooltip="Hear the drop", id="bench.drop"),
        Binding(
            "c",
            "conductors",
            "1/2",
            show=False,
            tooltip="Drop over one conductor or both",
            id="bench.cond",
        ),
        Binding("m", "match", "Match", tooltip="Next way of matching levels", id="bench.match"),
        Binding(
            "p",
            "curves",
            "Curves",
            show=False,
            tooltip="Curves of loss or of drop",
            id="bench.curves",
        ),
        Binding("left", "seek(-1)", "Back", show=False, tooltip="Back 5 s", id="bench.back"),
        Binding("right", "seek(1)", "On", show=False, tooltip="On 5 s", id="bench.on"),
        Binding("up", "volume(1)", "Louder", show=False, tooltip="1 dB louder", id="bench.up"),
        Binding("down", "volume(-1)", "Softer", show=False, tooltip="1 dB softer", id="bench.down"),
        Binding(
            "l",
            "loop",
            "Loop",
            show=False,
            tooltip="Loop: start, then end, then off",
            id="bench.loop",
        ),
        Binding("e", "edit", "Edit", tooltip="Edit the run of the chosen choice", id="bench.edit"),
        Binding(
            "u", "undo", "Undo", show=False, tooltip="Take the last edit back", id="bench.undo"
        ),
        Binding("w", "write", "Write", show=False, tooltip="Write the rig file", id="bench.write"),
        Binding(
            "o", "device", "Output", show=False, tooltip="Next output device", id="bench.device"
        ),
        Binding("b", "blind", "Blind", tooltip="Set up a blind trial", id="bench.blind"),
    ]

    def __init__(self, draft: RigDraft, source: Path, engine: Engine, log_folder: Path) -> None:
        super().__init__()
        self.draft, self.source, self.engine, self.log_folder = draft, source, engine, log_folder
        self.names = list(draft.rig.choices)
        self.chosen = self.names[0]
        self.signal: Signal | None = "receiving"
        """None: the source is heard."""
        self.match = INSTALLED
        self.conductors = 2
        self.shown = "loss"
        self.found: dict[str, Headline] = {}
        self.curves: dict[str, dict[str, Levels]] = {}
        self.spectrum: tuple[Levels, Levels] | None = None
        self.loop_from: float | None = None
        self.news: list[News] = []

    def compose(self) -> ComposeResult:
        yield Static(id="title", markup=False)
        with Horizontal(id="top"):
            yield ChoiceList(id="choices", markup=False)
            yield Curves(id="curves")
        yield Static(id="now", markup=False)
        yield Static(id="meters", markup=False)
        yield Static(id="message", markup=False)
        yield Static(CAUTION, id="caution", markup=False)
        yield KeyLine(markup=False)

    def on_mount(self) -> None:
        self._solve_all()
        self._read_spectrum()
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

    @property
    def _fits(self) -> bool:
        width, height = self.app.size
        return width >= SMALLEST[0] and height >= SMALLEST[1]

    def _fit(self) -> None:
        fits = self._fits
        for name in ("#top", "#now", "#meters"):
            self.query_one(name).display = fits
        self._show_news()
        self._draw()

    # ---- what is shown ----------------------------------------------------------------------------

    def _solve_all(self) -> None:
        for name, choice in self.draft.rig.choices.items():
            self._solve(name, choice)

    def _solve(self, name: str, choice: Choice) -> None:
        self.found[name] = headline(choice)
        solution = solve(choice.network, _FREQUENCY)
        self.curves[name] = {
            "loss": np.asarray(loss_db(solution, choice.listen), dtype=np.float64),
            "drop": np.asarray(drop_db(solution, choice.listen), dtype=np.float64),
        }

    @work(thread=True, exclusive=True, group="spectrum")
    def _read_spectrum(self) -> None:
        try:
            spectrum = third_octaves(self.source)
        except AuralizeError as error:
            self.app.call_from_thread(self.say, str(error))
            return
        self.app.call_from_thread(self._take_spectrum, spectrum)

    def _take_spectrum(self, spectrum: tuple[Levels, Levels]) -> None:
        self.spectrum = spectrum
        self._draw()

    def _draw(self) -> None:
        title = f"{self.draft.rig.title}{' (not saved)' if self.draft.unsaved else ''}"
        self.query_one("#title", Static).update(title)
        self.query_one(ChoiceList).show(self.found, self.chosen)
        marks = {str(n): self.curves[name][self.shown] for n, name in enumerate(self.names, 1)}
        words = _CURVE_WORDS[self.shown]
        chosen = str(self.names.index(self.chosen) + 1)
        self.query_one(Curves).show(words, _FREQUENCY, marks, chosen, self.spectrum)

    def say(self, words: str, lasts: float = _NEWS_LASTS) -> None:
        """News, above those before, for ``lasts`` seconds."""
        self.news.insert(0, News(words, monotonic() + lasts))
        self._show_news()

    def _tell(self, event: Event) -> None:
        if event.kind == "device":  # whatever was wrong with it is not any more
            self.news = [news for news in self.news if math.isfinite(news.until)]
        self.say(event.text, math.inf if event.kind == "fault" else _NEWS_LASTS)

    def _show_news(self) -> None:
        now = monotonic()
        self.news = [news for news in self.news if news.until > now][:2]
        words = "\n".join(news.words for news in self.news)
        if not self._fits:
            (width, height), (wide, high) = self.app.size, SMALLEST
            words = f"This terminal is {width} x {height}; the bench needs {wide} x {high}"
        self.query_one("#message", Static).update(words)

    def _look(self) -> None:
        """Show what the engine does now."""
        if self.app.screen is not self:
            return
        status = self.engine.status()
        gains = status.gains
        self.query_one("#now", Static).update(
            f"{heard_words(status.heard)}\n{status.match.words}\n{gain_words(status.heard, gains)}"
        )
        self.query_one("#meters", Static).update(self._meters(status))
        for event in self.engine.events():
            self._tell(event)
        self._show_news()

    def _meters(self, status: Status) -> str:
        width = max(10, self.app.size.width - 50)
        doing = "playing" if status.playing else "ended" if status.ended else "paused"
        if status.playing and status.state != "running":
            doing = "waiting for the device at"
        loop = f", loop {clock(status.loop[0])} to {clock(status.loop[1])}" if status.loop else ""
        working = ", designing" if status.editing else ""
        place = f"{doing} {clock(status.position)} of {clock(status.length)}{loop}{working}"
        level = status.peak_dbfs
        if status.state != "running":
            level = -math.inf
        shown = f"{level:6.1f} dBFS" if math.isfinite(level) else "silent"
        limited = " LIMITED" if status.limiting else ""
        return (
            f"{place}\nvolume {status.volume:+.0f} dB  [{level_bar(level, width)}] {shown}{limited}"
        )

    # ---- what can be done -------------------------------------------------------------------------

    def on_screen_resume(self) -> None:
        """Back from another screen: hear openly again what is chosen, as it was matched."""
        if self.engine.status().match != self.match:
            self.engine.set_match(self.match)
        self._hear()
        self.call_after_refresh(self.engine.settle)

    def _hear(self) -> None:
        heard = End(self.signal, self.chosen, self.conductors) if self.signal else SOURCE
        self.engine.hear(heard)

    def action_choose(self, number: int) -> None:
        """Hear another choice."""
        if number > len(self.names):
            self.say(f"There is no choice {number}: this rig has {len(self.names)}")
        else:
            self.chosen = self.names[number - 1]
            self.signal = self.signal or "receiving"
            self._hear()
            self._draw()

    def action_hear(self, signal: Signal) -> None:
        """Hear another signal of the chosen choice."""
        self.signal = signal
        self._hear()

    def action_source(self) -> None:
        """Hear the source."""
        self.signal = None
        self._hear()

    def action_conductors(self) -> None:
        """The drop over one conductor, or both."""
        if self.signal != "drop":
            self.say("c is for the drop: over one conductor, or both")
            return
        self.conductors = 3 - self.conductors
        self._hear()

    def action_play(self) -> None:
        """Play or pause."""
        if self.engine.status().playing:
            self.engine.pause()
        else:
            self.engine.play()

    def action_seek(self, steps: int) -> None:
        """Back or on."""
        state = self.engine.status()
        self.engine.seek(min(max(0.0, state.position + steps * _SEEK), state.length))

    def action_volume(self, steps: int) -> None:
        """Louder or softer."""
        self.engine.set_volume(self.engine.status().volume + steps * _VOLUME_STEP)

    def action_match(self) -> None:
        """Next way of matching levels."""
        now = self.engine.status().match
        following = (
            _MATCHES[(_MATCHES.index(now) + 1) % len(_MATCHES)] if now in _MATCHES else _MATCHES[0]
        )
        self.match = following
        self.engine.set_match(following)

    def action_curves(self) -> None:
        """Curves of the loss, or of the drop."""
        self.shown = "drop" if self.shown == "loss" else "loss"
        self._draw()

    def action_loop(self) -> None:
        """First the start, then the end, then off."""
        state = self.engine.status()
        if state.loop:
            self.engine.loop(None)
            self.say("Loop off")
        elif self.loop_from is None:
            self.loop_from = state.position
            self.say(f"Loop from {clock(state.position)}; l again marks the end")
        else:
            start, end = sorted((self.loop_from, state.position))
            self.loop_from = None
            try:
                self.engine.loop((start, end))
            except AuralizeError as error:
                self.say(str(error))
            else:
                self.say(f"Loop from {clock(start)} to {clock(end)}; l ends it")

    def action_device(self) -> None:
        """Next output device."""
        self.engine.next_device()

    def action_edit(self) -> None:
        """Edit the chosen choice."""
        self.app.push_screen(EditScreen(self.draft, self.chosen), self._edited)

    def _edited(self, change: Change | None) -> None:
        if change is None:
            return
        self._changed(
            f"{change.choice}: {'.'.join(change.place)} is now {_value_words(change.value)}"
        )

    def action_undo(self) -> None:
        """Take the last edit back."""
        if self.draft.undo():
            self._changed("The last edit is taken back")
        else:
            self.say("There is no edit to take back")

    def _changed(self, words: str) -> None:
        """Solve, draw and hear what an edit made of the rig."""
        edited = {
            name: choice
            for name, choice in self.draft.rig.choices.items()
            if self.engine.choices.get(name) != choice
        }
        for choice in edited.values():
            self.engine.update_choice(choice)  # first, as it is waited for by ear
        for name, choice in edited.items():
            self._solve(name, choice)
        self.say(words)
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
        rig = self.draft.rig
        self.app.push_screen(TrialSetup(rig, self.source, self.engine, self.log_folder))


def _value_words(value: object) -> str:
    if isinstance(value, Mapping):
        return ", ".join(f"{key} {inside}" for key, inside in value.items())
    return str(value)
