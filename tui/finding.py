"""Find a choice by a part of its name or label."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from textual import on
from textual.app import ComposeResult
from textual.binding import Binding
from textual.containers import Vertical
from textual.screen import ModalScreen
from textual.widgets import Input
from textual.widgets.option_list import Option

from .picking import PickList

_MOST: Final = 100
"""Choices that are listed; type more to find the others."""


def found(wanted: str, labels: Mapping[str, str]) -> list[str]:
    """The names with all the words of ``wanted`` in name or label, in any case; those that begin so first."""
    words = wanted.casefold().split()
    fitting = [
        name
        for name, label in labels.items()
        if all(word in f"{name} {label}".casefold() for word in words)
    ]
    return sorted(fitting, key=lambda name: not name.casefold().startswith(wanted.casefold()))


class FindScreen(ModalScreen[str | None]):
    """Type a part of a name; up and down pick, Enter hears it, Esc leaves everything as it is."""

    BINDINGS = [
        Binding("escape", "dismiss(None)", "Leave", id="find.leave"),
        Binding("up", "go(-1)", show=False),
        Binding("down", "go(1)", show=False),
    ]

    def __init__(self, labels: Mapping[str, str]) -> None:
        super().__init__()
        self._labels = labels
        self._found: list[str] = []

    def compose(self) -> ComposeResult:
        card = Vertical(
            Input(placeholder="a part of its name or label"),
            PickList(markup=False),
            classes="card",
        )
        card.border_title = "Find a choice: up, down, Enter hears it, Esc leaves"
        yield card

    def on_mount(self) -> None:
        self._list("")

    @on(Input.Changed)
    def look(self, event: Input.Changed) -> None:
        """List what fits what was typed so far."""
        self._list(event.value)

    def _list(self, wanted: str) -> None:
        self._found = found(wanted, self._labels)
        options = self.query_one(PickList)
        options.clear_options()
        options.add_options(Option(f"{n}  {self._labels[n]}") for n in self._found[:_MOST])
        options.highlighted = 0 if self._found else None

    def action_go(self, step: int) -> None:
        """To the next of those that are listed, or the one before."""
        options = self.query_one(PickList)
        if self._found:
            last = min(len(self._found), _MOST) - 1
            options.highlighted = max(0, min((options.highlighted or 0) + step, last))

    @on(Input.Submitted)
    def take(self) -> None:
        """The one that is picked."""
        picked = self.query_one(PickList).highlighted
        if picked is not None:
            self.dismiss(self._found[picked])

    @on(PickList.OptionSelected)
    def clicked(self, event: PickList.OptionSelected) -> None:
        """The one that was clicked."""
        self.dismiss(self._found[event.option_index])
