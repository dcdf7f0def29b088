"""The card that renders what is compared to files: where to, how far it is, what gains were applied."""

from __future__ import annotations

import os
import sys
import threading
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from textual import on, work
from textual.app import ComposeResult
from textual.binding import Binding
from textual.containers import VerticalScroll
from textual.screen import ModalScreen
from textual.widgets import Input, Static

from auralize.circuit.signals import SIGNAL_WORDS
from auralize.errors import AuralizeError
from auralize.renderer.files import render
from auralize.renderer.options import RenderOptions
from auralize.renderer.text import as_gains
from auralize.renderer.watched import Watched
from auralize.rig.choice import Choice

_LOOK: Final = 0.2
"""s between two looks at how far it is."""
_NICENESS: Final = 10
"""Priority of the render below that of the sound, where threads have one (Linux)."""


@dataclass(frozen=True)
class RenderPlan:
    """What is rendered."""

    source: Path
    choices: Sequence[Choice]
    options: RenderOptions

    @property
    def words(self) -> str:
        """The same in words, with the levels."""
        names = ", ".join(choice.name for choice in self.choices)
        options = self.options
        signals = " and ".join(SIGNAL_WORDS[signal] for signal in options.signals)
        drop = ""
        if "drop" in options.signals:
            made_up = "chosen" if options.makeup is None else f"{options.makeup:+g} dB"
            drop = "; drops equally loud" if options.drops == "equal" else f"; make-up {made_up}"
        return (
            f"{self.source.name}: source, and the {signals} of {names}; {options.match.words}{drop}"
        )

    @property
    def folder(self) -> Path:
        """A new name beside the programme."""
        stem = f"{self.source.stem}-compared"
        names = (stem, *(f"{stem}-{number}" for number in range(2, 1000)))
        return next(p for n in names if not os.path.lexists(p := self.source.with_name(n)))


class RenderScreen(ModalScreen[None]):
    """Enter begins, Esc stops: then nothing is left behind."""

    BINDINGS = [Binding("escape", "stop", "Leave", id="render.leave")]

    def __init__(self, compared: RenderPlan) -> None:
        super().__init__()
        self._compared = compared
        self._watched: Watched | None = None

    def compose(self) -> ComposeResult:
        with VerticalScroll(classes="card"):
            yield Static(f"Render to files. {self._compared.words}", markup=False)
            yield Input(str(self._compared.folder))
            yield Static(
                "Enter renders into this folder; files that are there stay. Esc leaves.",
                id="render-message",
                markup=False,
            )

    def on_mount(self) -> None:
        self.query_one(Input).border_title = "folder"
        self.query_one(Input).focus()
        self.set_interval(_LOOK, self._look)

    def on_unmount(self) -> None:
        """The bench is left: so is this."""
        if self._watched:
            self._watched.stop()

    def _say(self, words: str) -> None:
        self.query_one("#render-message", Static).update(words)

    def _look(self) -> None:
        if self._watched:
            self._say(f"{self._watched.words}; Esc stops it")

    @on(Input.Submitted)
    def begin(self, event: Input.Submitted) -> None:
        """Render, in a thread; the sound goes on."""
        text = event.value.strip()
        if self._watched is not None or not text:
            return
        folder = None
        with suppress(RuntimeError):  # it is in the home of nobody who is known here
            folder = Path(text).expanduser()
        if folder is None or "\0" in text:
            self._say(f"{text!r} can be no folder; name another one")
            return
        self._watched = Watched()
        self._work(folder, self._watched)

    def action_stop(self) -> None:
        """Stop what is being rendered, or leave."""
        if self._watched:
            self._watched.stop()
        else:
            self.dismiss(None)

    @work(thread=True)
    def _work(self, folder: Path, watched: Watched) -> None:
        if sys.platform == "linux":
            os.setpriority(os.PRIO_PROCESS, threading.get_native_id(), _NICENESS)
        compared = self._compared
        try:
            done = render(compared.source, compared.choices, folder, compared.options, watched)
            width = self.query_one("#render-message").size.width
            words = f"Rendered into {folder}. Esc leaves.\n{as_gains(done, width)}"
        except (AuralizeError, OSError) as error:
            words = str(error)
        with suppress(RuntimeError):  # the bench may have been left meanwhile
            self.app.call_from_thread(self._ended, words)

    def _ended(self, words: str) -> None:
        self._watched = None
        if self.is_attached:
            self._say(words)
            if words.startswith("Rendered"):  # up and down go through what is told
                self.query_one(Input).display = False
                self.query_one(VerticalScroll).focus()
