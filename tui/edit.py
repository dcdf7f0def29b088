"""Editing the run of one choice in place, with units; what cannot be is refused in one sentence."""

from __future__ import annotations

from collections.abc import Sequence

from textual import on
from textual.app import ComposeResult
from textual.binding import Binding
from textual.containers import Vertical
from textual.screen import ModalScreen
from textual.widgets import Input, OptionList, Static
from textual.widgets.option_list import Option

from auralize.errors import AuralizeError
from auralize.rig.editing import RigDraft
from auralize.rig.fields import Change, Field, edit, fields_of


class EditScreen(ModalScreen[Change | None]):
    """Pick a field, type its new value; Enter takes it, Esc leaves everything as it is."""

    BINDINGS = [Binding("escape", "dismiss(None)", "Leave", id="edit.leave")]

    def __init__(self, draft: RigDraft, choice: str) -> None:
        super().__init__()
        self._draft, self._choice = draft, choice
        self._fields: Sequence[Field] = fields_of(draft, choice)
        self._picked: Field | None = None

    def compose(self) -> ComposeResult:
        with Vertical(classes="card"):
            yield Static(f"Edit {self._choice}: Enter picks, Enter takes, Esc leaves", markup=False)
            yield OptionList(
                *(Option(f"{f.words:<34} {f.text or '(not given)'}") for f in self._fields),
                markup=False,
            )
            yield Input(placeholder='such as "62 m", "200 ft", "4 mm2", "30 degC"', disabled=True)
            yield Static(id="edit-message", markup=False)

    @on(OptionList.OptionSelected)
    def pick(self, event: OptionList.OptionSelected) -> None:
        """Type the new value of the field that was picked."""
        self._picked = self._fields[event.option_index]
        entry = self.query_one(Input)
        entry.disabled = False
        entry.value = self._picked.text
        entry.focus()

    @on(Input.Submitted)
    def take(self, event: Input.Submitted) -> None:
        """Make the change, or say why not and stay open; the bench then hears it."""
        if self._picked is None or not event.value.strip():
            return
        try:
            change = edit(self._draft, self._choice, self._picked, event.value.strip())
        except AuralizeError as error:
            self.query_one("#edit-message", Static).update(str(error))
        else:
            self.dismiss(change)
