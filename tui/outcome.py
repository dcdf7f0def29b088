"""What a finished session showed; and the next listener of a row."""

from __future__ import annotations

from collections.abc import Callable

from textual import on
from textual.app import ComposeResult
from textual.binding import Binding
from textual.containers import VerticalScroll
from textual.screen import ModalScreen, Screen
from textual.widgets import Input, Static

from auralize.errors import AuralizeError
from auralize.trials.plan import Plan
from auralize.trials.preparing import Preparation
from auralize.trials.rows import told_of
from auralize.trials.session import Session
from auralize.trials.statistics import findings


class OutcomeScreen(ModalScreen[None]):
    """What a session showed, in plain words, and what a witness needs."""

    BINDINGS = [Binding("escape,enter", "dismiss", "Close", id="outcome.close")]

    def __init__(self, session: Session) -> None:
        super().__init__()
        self._lines = [
            f"{session.plan.listener}: {session.plan.question}",
            "",
            *findings(session.outcome.result),
            *_size(session.plan),
            "",
            f"Seed, for the witness: {session.outcome.seed}",
            f"Last seal of the log: {session.fingerprint}",
            f"Log: {session.log_path}",
        ]

    def compose(self) -> ComposeResult:
        with VerticalScroll(classes="card"):
            yield Static("\n".join([*self._lines, "", "Esc closes"]), markup=False)


def _size(plan: Plan) -> list[str]:
    told = plan.difference
    return ["", f"How small the difference is: {told}."] if told else []


class RowScreen(ModalScreen[None]):
    """Between two listeners of a row, and at its end; nobody is told before the last one is done."""

    BINDINGS = [Binding("escape", "leave", "Close", id="row.close")]

    AUTO_FOCUS = "Input"

    def __init__(
        self,
        plan: Plan,
        preparation: Preparation,
        following: Callable[[Session], Screen[None]],
    ) -> None:
        super().__init__()
        self._plan, self._preparation, self._following = plan, preparation, following
        self._leaving = False

    def compose(self) -> ComposeResult:
        with VerticalScroll(classes="card"):
            yield Static(id="row-text", markup=False)
            yield Input(placeholder="the next listener: a name, real or not", id="next")
            yield Static(id="row-message", markup=False)

    def on_mount(self) -> None:
        row = self._plan.row
        if row is None or row.over:
            self._tell()
            return
        self.query_one("#row-text", Static).update(
            f"{self._plan.question}\n\nThank you, {self._plan.who}. What came out is told when the last "
            "one is done.\nThe next listener types a name; Enter begins. Esc ends the row."
        )

    @on(Input.Submitted)
    def go_on(self, event: Input.Submitted) -> None:
        """The next one listens, or why not."""
        try:
            session = self._preparation.follow(self._plan, event.value)
        except AuralizeError as error:
            self.query_one("#row-message", Static).update(str(error))
        else:
            self.app.switch_screen(self._following(session))

    def action_leave(self) -> None:
        """Close; asked twice, and then told, where more listeners were to follow."""
        if not self.query_one("#next").display:
            self.dismiss(None)
        elif self._leaving:
            self._tell()
        else:
            self._leaving = True
            self.query_one("#row-message", Static).update(
                "Esc once more ends the row here: the listeners who are missing count as missing"
            )

    def _tell(self) -> None:
        """What all of them showed, each and together."""
        self.query_one("#next").display = False
        assert self._plan.row is not None  # this is the screen of a row
        try:
            lines = told_of(self._plan.row, self._preparation.folder)
        except AuralizeError as error:
            lines = (str(error),)
        told = "\n".join([self._plan.question, "", *lines, *_size(self._plan), "", "Esc closes"])
        self.query_one("#row-text", Static).update(told)
        self.query_one("#row-message", Static).update("")
