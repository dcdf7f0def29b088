"""Editing a choice in place, or all of them; copying, naming and removing it.

What cannot be is refused in one sentence, in the words of the list.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

from textual import on
from textual.app import ComposeResult
from textual.binding import Binding
from textual.containers import Vertical
from textual.screen import ModalScreen
from textual.widgets import Input, Static
from textual.widgets.option_list import Option

from auralize.errors import AuralizeError
from auralize.rig.editing import RigDraft
from auralize.rig.fields import Field, edit, fields_of

from .news import shorten
from .picking import PickList

_WORDS: Final = 44
"""Columns of what a field is called."""
_VALUE: Final = 21
"""Columns of its value."""
_MORE: Final = "more: all that a rig file may say of these"
_KEYS: Final = "a one or all  c copy  n name  Del remove  y presets  Esc leaves"


@dataclass(frozen=True)
class Edited:
    """What was done, in words, and the choice to be heard after; or that presets were asked for."""

    words: str
    chosen: str | None = None
    presets: bool = False


class EditScreen(ModalScreen[Edited | None]):
    """Pick a field, type its new value; Enter takes it, Esc leaves everything as it is."""

    BINDINGS = [
        Binding("escape", "dismiss(None)", "Leave", id="edit.leave"),
        Binding("a", "all", "One or all", id="edit.all"),
        Binding("c", "name('copy')", "Copy", id="edit.copy"),
        Binding("n", "name('rename')", "Name", id="edit.name"),
        Binding("delete", "remove", "Remove", id="edit.remove"),
        Binding("y", "presets", "Presets", id="edit.presets"),
    ]

    def __init__(self, draft: RigDraft, choice: str) -> None:
        super().__init__()
        self._draft, self._choice = draft, choice
        self._fields: Sequence[Field] = fields_of(draft, choice)
        self._picked: Field | None = None
        self._every = self._all = False
        self._asked: Literal["value", "copy", "rename"] = "value"

    def compose(self) -> ComposeResult:
        with Vertical(classes="card"):
            yield Static(id="edit-head", markup=False)
            yield PickList(markup=False)
            yield Input(disabled=True)
            yield Static(id="edit-message", markup=False)
            yield Static(_KEYS, markup=False)

    def on_mount(self) -> None:
        self._head()
        self._list()

    def _head(self) -> None:
        whose = "all choices" if self._all else self._choice
        words = f"Edit {whose}: Enter picks a line, then takes what is typed"
        self.query_one("#edit-head", Static).update(words)

    def _list(self) -> None:
        options = self.query_one(PickList)
        options.clear_options()
        given = [
            f"{f.words:<{_WORDS}} {shorten(f.text or '(not given)', _VALUE)}" for f in self._fields
        ]
        options.add_options([Option(line) for line in given])
        if not self._every:
            options.add_option(Option(_MORE))
        options.highlighted = 0

    def _say(self, words: str) -> None:
        self.query_one("#edit-message", Static).update(words)

    @on(PickList.OptionSelected)
    def pick(self, event: PickList.OptionSelected) -> None:
        """Type the new value of the field that was picked."""
        if event.option_index == len(self._fields):
            self._every = True
            self._fields = fields_of(self._draft, self._choice, every=True)
            self._list()
            return
        self._picked, self._asked = self._fields[event.option_index], "value"
        self._say(self._picked.hint)
        self._type(self._picked.text, self._picked.words)

    def _type(self, text: str, about: str) -> None:
        entry = self.query_one(Input)
        entry.disabled = False
        entry.border_title = about
        entry.value = text
        entry.focus()

    def action_all(self) -> None:
        """Edit this choice alone, or all of them alike."""
        self._all = not self._all
        self._head()

    def action_name(self, asked: Literal["copy", "rename"]) -> None:
        """Type the name of a copy, or a new name."""
        self._asked = asked
        self._say("a short name; it stands in the names of files")
        copied = asked == "copy"
        self._type(
            "" if copied else self._choice, f"{'copy' if copied else 'new name'} of {self._choice}"
        )

    def action_remove(self) -> None:
        """Remove this choice; undo brings it back."""
        try:
            self._draft.remove(self._choice)
        except AuralizeError as error:
            self._say(str(error))
        else:
            self.dismiss(Edited(f"{self._choice} is removed; u brings it back"))

    def action_presets(self) -> None:
        """To the usual lays and sizes."""
        self.dismiss(Edited("", presets=True))

    @on(Input.Submitted)
    def take(self, event: Input.Submitted) -> None:
        """Make the change, or say why not and stay open; the bench then hears it."""
        text = event.value.strip()
        if not text:
            return
        try:
            done = self._take(text)
        except AuralizeError as error:
            self._say(str(error))
        else:
            self.dismiss(done)

    def _take(self, text: str) -> Edited | None:
        if self._asked == "copy":
            self._draft.copy(self._choice, text)
            return Edited(f"{text} is a copy of {self._choice}", text)
        if self._asked == "rename":
            if text == self._choice:
                return None
            self._draft.rename(self._choice, text)
            return Edited(f"{self._choice} is now called {text}", text)
        if self._picked is None:
            return None
        whose = None if self._all else self._choice
        return Edited(edit(self._draft, whose, self._picked, text).words)
