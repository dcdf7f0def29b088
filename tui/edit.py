"""Editing the run of one choice in place, with units; what cannot be is refused in one sentence."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from textual import on
from textual.app import ComposeResult
from textual.binding import Binding
from textual.containers import Vertical
from textual.screen import ModalScreen
from textual.widgets import Input, OptionList, Static
from textual.widgets.option_list import Option

from auralize.errors import AuralizeError
from auralize.rig.editing import RigDraft

START_LAYS: Final[dict[str, dict[str, str]]] = {
    "straight": {},
    "coiled": {"mean_diameter": "40 cm"},
    "split coils": {"mean_diameter": "40 cm", "distance": "1 m"},
    "figure of eight": {"lobe_length": "60 cm", "lobe_width": "30 cm"},
}
"""What another shape begins with, to be edited to what it is."""


@dataclass(frozen=True)
class Change:
    """What the listener changed."""

    choice: str
    place: tuple[str, ...]
    value: Any


@dataclass(frozen=True)
class Field:
    """A place in the rig that can be edited, in words, and what stands there (None: nothing yet)."""

    words: str
    place: tuple[str, ...]
    value: Any


def fields_of(draft: RigDraft, choice: str) -> list[Field]:
    """What can be edited for a choice: its runs, their cables and lays, amplifier and load."""
    found: list[Field] = []
    network = draft.rig.choices[choice].network
    load = draft.rig.choices[choice].listen
    for run in network.path(load):
        cable = draft.value(choice, ("runs", run, "cable"))
        found += [
            _field(draft, choice, f"{run}: length", ("runs", run, "length")),
            _field(draft, choice, f"{run}: cable", ("runs", run, "cable")),
            _field(draft, choice, f"{cable}: conductor", ("cables", cable, "conductor")),
            _field(draft, choice, f"{cable}: strands", ("cables", cable, "strands")),
            _field(draft, choice, f"{run}: temperature", ("runs", run, "temperature")),
        ]
        lay = draft.value(choice, ("runs", run, "lay")) or {"shape": "straight"}
        for key, value in lay.items():
            if not isinstance(value, dict):
                words = f"{run}: lay, {key.replace('_', ' ')}"
                found.append(Field(words, ("runs", run, "lay", key), value))
    for place in (("amplifier",), ("loads", load)):
        for key, value in (draft.value(choice, place) or {}).items():
            if key not in ("type", "at") and not isinstance(value, dict):
                found.append(Field(f"{place[-1]}: {key.replace('_', ' ')}", (*place, key), value))
    return found


def _field(draft: RigDraft, choice: str, words: str, place: tuple[str, ...]) -> Field:
    return Field(words, place, draft.value(choice, place))


def typed(text: str, before: Any) -> Any:
    """The value that a typed text means: a plain number where one stood, else a text."""
    if isinstance(before, int | float) and not isinstance(before, bool):
        try:
            return float(text)
        except ValueError:
            return text
    return text


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
                *(Option(f"{f.words:<34} {_shown(f.value)}") for f in self._fields), markup=False
            )
            yield Input(placeholder='such as "62 m", "200 ft", "4 mm2", "30 degC"', disabled=True)
            yield Static(id="edit-message", markup=False)

    @on(OptionList.OptionSelected)
    def pick(self, event: OptionList.OptionSelected) -> None:
        """Type the new value of the field that was picked."""
        self._picked = self._fields[event.option_index]
        entry = self.query_one(Input)
        entry.disabled = False
        entry.value = "" if self._picked.value is None else str(self._picked.value)
        entry.focus()

    @on(Input.Submitted)
    def take(self, event: Input.Submitted) -> None:
        """Make the change, or say why not and stay open; the bench then hears it."""
        if self._picked is None or not event.value.strip():
            return
        place, value = self._picked.place, typed(event.value.strip(), self._picked.value)
        if place[-2:] == ("lay", "shape") and value in START_LAYS:
            place, value = place[:-1], {"shape": value, **START_LAYS[value]}
        try:
            self._draft.change(self._choice, place, value)
        except AuralizeError as error:
            self.query_one("#edit-message", Static).update(str(error))
            return
        self.dismiss(Change(self._choice, place, value))


def _shown(value: Any) -> str:
    return "(not given)" if value is None else str(value)
