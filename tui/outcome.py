"""What a finished session showed."""

from __future__ import annotations

from textual.app import ComposeResult
from textual.binding import Binding
from textual.containers import VerticalScroll
from textual.screen import ModalScreen
from textual.widgets import Static

from auralize.trials.session import Session
from auralize.trials.statistics import findings


class OutcomeScreen(ModalScreen[None]):
    """What a session showed, in plain words, and what a witness needs."""

    BINDINGS = [Binding("escape,enter", "dismiss", "Close", id="outcome.close")]

    def __init__(self, session: Session) -> None:
        super().__init__()
        self._lines = [
            *findings(session.outcome.result),
            "",
            f"Seed, for the witness: {session.outcome.seed}",
            f"Last seal of the log: {session.fingerprint}",
            f"Log: {session.log_path}",
        ]

    def compose(self) -> ComposeResult:
        with VerticalScroll(classes="card"):
            yield Static("\n".join([*self._lines, "", "Esc closes"]), markup=False)
