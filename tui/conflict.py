"""The card for a rig file that somebody else has changed: what differs, and what is to become of both."""

from __future__ import annotations

from typing import Final

from textual import on
from textual.app import ComposeResult
from textual.binding import Binding
from textual.containers import Vertical
from textual.screen import ModalScreen
from textual.widgets import Input, Static
from textual.widgets.option_list import Option

from auralize.errors import AuralizeError
from auralize.rig.editing import ChangedElsewhereError, RigDraft

from .picking import PickList

_SHOWN: Final = 8
"""Lines of difference on the card."""


class ConflictScreen(ModalScreen[str | None]):
    """Nothing is done until it is picked; the words of what was done, None for nothing."""

    BINDINGS = [Binding("escape", "dismiss(None)", "Leave", id="conflict.leave")]

    def __init__(self, draft: RigDraft, theirs: str) -> None:
        super().__init__()
        self._draft, self._theirs = draft, theirs

    def compose(self) -> ComposeResult:
        name = self._draft.path.name
        with Vertical(classes="card"):
            yield Static(f"{name} was changed elsewhere since it was read here", markup=False)
            yield Static(id="conflict-lines", markup=False)
            yield PickList(
                Option(f"write mine over {name}", id="over"),
                Option("keep both: mine beside it, and go on there", id="both"),
                Option("take theirs up (u goes back to mine)", id="theirs"),
                Option("leave both as they are", id="leave"),
                markup=False,
            )
            yield Input(disabled=True)
            yield Static("Enter picks, Esc leaves", id="conflict-message", markup=False)

    def on_mount(self) -> None:
        self.query_one(Input).display = False
        self.query_one(PickList).highlighted = 1  # the one that loses nothing
        self.query_one(PickList).focus()
        self._compare()

    def _compare(self) -> None:
        lines = self._draft.differences(self._theirs)
        rest = len(lines) - _SHOWN
        shown = [*lines[:_SHOWN], *([f"... and {rest} more lines"] if rest > 0 else [])]
        head = "- in the file now, + here:"
        self.query_one("#conflict-lines", Static).update("\n".join([head, *shown]))

    @on(PickList.OptionSelected)
    def pick(self, event: PickList.OptionSelected) -> None:
        """Do what was picked."""
        if event.option_id == "both":
            entry = self.query_one(Input)
            entry.display, entry.disabled = True, False
            entry.value = self._draft.name_beside()
            entry.focus()
        elif event.option_id == "leave":
            self.dismiss(None)
        else:
            self._do(event.option_id or "", "")

    @on(Input.Submitted)
    def take_name(self, event: Input.Submitted) -> None:
        """Write mine under this name."""
        self._do("both", event.value.strip())

    def _do(self, what: str, name: str) -> None:
        draft = self._draft
        try:
            if what == "over":
                draft.save(over=self._theirs)
                words = f"Written over {draft.path}"
            elif what == "both":
                draft.keep_both(name)
                words = f"Mine is written to {draft.path}; work goes on there"
            else:
                draft.take_theirs()
                words = "Theirs is taken up; u goes back to mine"
        except ChangedElsewhereError:
            self._theirs = draft.theirs() or ""
            self._compare()
            self._say("It was changed once more meanwhile: this is how it is now")
        except AuralizeError as error:
            self._say(str(error))
        else:
            self.dismiss(words)

    def _say(self, words: str) -> None:
        self.query_one("#conflict-message", Static).update(words)
