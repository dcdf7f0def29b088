"""What is fixed before a blind trial begins, or a session that was cut off goes on."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final

from textual import on
from textual.app import ComposeResult
from textual.binding import Binding
from textual.containers import Horizontal, VerticalScroll
from textual.content import Content
from textual.screen import ModalScreen
from textual.widgets import Button, Input, Label, Select, Static

from auralize.circuit.signals import Signal, signal_words
from auralize.circuit.solution import Across
from auralize.errors import AuralizeError
from auralize.live.protocol import EngineLike
from auralize.trials.compared import COMPARED
from auralize.trials.preparing import Preparation, Wish
from auralize.trials.session import Practice, Session
from auralize.trials.statistics import Protocol

from .plain import is_plain
from .trials import sitting_screen

COUNTS: Final = [
    ("this session counts", "counts"),
    ("practice: told after each trial, nothing counts, Esc ends", "practice"),
]
PROTOCOLS: Final[list[tuple[str, Protocol]]] = [
    ("matched to sample: two references and an unknown", "matched-to-sample"),
    ("triangle (ISO 4120): which of three is the odd one", "triangle"),
]


@dataclass(frozen=True)
class Offer:
    """What the setup begins with: what is heard now, and what it is held against."""

    first: str
    second: str
    signal: Signal
    across: Across


class TrialSetup(ModalScreen[None]):
    """Everything that is fixed before the first trial."""

    BINDINGS = [Binding("escape", "leave", "Leave", id="setup.leave")]

    AUTO_FOCUS = "Button, Select"

    def __init__(self, preparation: Preparation, engine: EngineLike, offer: Offer) -> None:
        super().__init__()
        self._preparation, self._engine, self._offer = preparation, engine, offer
        self._names = list(preparation.rig.choices)
        self._cut_off = preparation.cut_off()

    def compose(self) -> ComposeResult:
        first = [(Content(f"first: {name}"), name) for name in self._names]
        second = [(Content(f"second: {name}"), name) for name in self._names]
        with VerticalScroll(classes="card"):
            yield Label(
                f"Blind trial on {self._preparation.programme.name}\nTab moves, Enter picks, Esc leaves",
                markup=False,
            )
            if self._cut_off and (plan := self._cut_off.plan):
                yield Button(
                    Content(
                        f"Go on with the session of {plan.listener} that was cut off: "
                        f"{self._cut_off.answered} of {plan.trials} answered"
                    ),
                    id="resume",
                    compact=True,
                )
            yield Select(PROTOCOLS, value=PROTOCOLS[0][1], allow_blank=False, id="protocol")
            with Horizontal(classes="pair"):
                yield Select(first, value=self._offer.first, allow_blank=False, id="first")
                yield Select(second, value=self._offer.second, allow_blank=False, id="second")
            with Horizontal(classes="pair"):
                yield Select(
                    [(signal_words(*one), one) for one in COMPARED],
                    value=(self._offer.signal, self._offer.across),
                    allow_blank=False,
                    id="signal",
                )
                trials = Input("16", type="integer", max_length=5, id="trials")
                trials.border_title = "number of trials"
                yield trials
            with Horizontal(classes="pair"):
                yield Input(placeholder="listener: a name, real or not", id="listener")
                row = Input("1", type="integer", max_length=4, id="listeners")
                row.border_title = "listeners, one after another"
                yield row
            yield Select(COUNTS, value="counts", allow_blank=False, id="counts")
            yield Static(
                "Both are made equally loud. Trials and listeners are fixed now; of several "
                "listeners nobody is told before the last one is done.",
                id="setup-message",
                markup=False,
            )
            yield Button("Begin", id="begin")

    CSS = """
    .pair { height: 3; }
    .pair > * { width: 1fr; }
    #trials, #listeners { border-title-color: $foreground; }
    """

    def on_mount(self) -> None:
        """Arrows of letters where there are no others."""
        if is_plain():
            for sign, letter in ((".down-arrow", "v"), (".up-arrow", "^")):
                for arrow in self.query(sign).results(Static):
                    arrow.update(letter)

    def action_leave(self) -> None:
        """Back to the bench; nothing was begun."""
        self.dismiss(None)

    @on(Button.Pressed, "#begin")
    def begin(self) -> None:
        """Go to the first trial of what was asked for."""
        practice = self._picked("#counts") == "practice"
        start = self._preparation.practise if practice else self._preparation.begin
        self._go(lambda: start(self._wish()))

    @on(Button.Pressed, "#resume")
    def resume(self) -> None:
        """Go on where a session was cut off."""
        if self._cut_off is not None:
            check = self._cut_off
            self._go(lambda: self._preparation.resume(check))

    def _wish(self) -> Wish:
        signal, across = self._picked("#signal")
        return Wish(
            self._picked("#protocol"),
            signal,
            (self._picked("#first"), self._picked("#second")),
            self.query_one("#trials", Input).value,
            self.query_one("#listener", Input).value,
            across,
            self.query_one("#listeners", Input).value,
        )

    def _picked(self, place: str) -> Any:
        """What is picked in a list; Textual does not know its type."""
        return self.query_one(place, Select).value

    def _go(self, start: Callable[[], Session | Practice]) -> None:
        """To the trials, or say why not; never by way of the bench, which would be heard openly."""
        try:
            presenter = start()
        except AuralizeError as error:
            self.query_one("#setup-message", Static).update(str(error))
            return
        self.app.switch_screen(sitting_screen(presenter, self._preparation, self._engine))
