"""What is fixed before a blind trial begins, or a session that was cut off goes on."""

from __future__ import annotations

from contextlib import suppress
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from textual import on
from textual.app import ComposeResult
from textual.binding import Binding
from textual.containers import Horizontal, VerticalScroll
from textual.content import Content
from textual.screen import ModalScreen
from textual.widgets import Button, Input, Label, Select, Static

from auralize.circuit.signals import SIGNAL_WORDS
from auralize.errors import AuralizeError, RequestError
from auralize.files import make_folder
from auralize.gains import LOUDNESS, End
from auralize.trials.checking import cut_off
from auralize.trials.compared import (
    COMPARED,
    check_programme,
    check_same,
    compared,
    pair_of,
    sha256_of,
)
from auralize.trials.plan import Plan
from auralize.trials.session import Practice, Session
from auralize.trials.statistics import Protocol

from .trials import OutcomeScreen, TrialScreen, outcome_lines

if TYPE_CHECKING:
    from auralize.live.engine import Engine
    from auralize.rig.reading import Rig
    from auralize.trials.checking import Check

COUNTS = [
    ("this session counts", "counts"),
    ("practice: told after each trial, nothing counts, Esc ends", "practice"),
]
PROTOCOLS: list[tuple[str, Protocol]] = [
    ("matched to sample: two references and an unknown", "matched-to-sample"),
    ("triangle (ISO 4120): which of three is the odd one", "triangle"),
]


class TrialSetup(ModalScreen[None]):
    """Everything that is fixed before the first trial."""

    BINDINGS = [Binding("escape", "leave", "Leave", id="setup.leave")]

    AUTO_FOCUS = "Button, Select"

    def __init__(
        self,
        rig: Rig,
        source: Path,
        engine: Engine,
        log_folder: Path,
    ) -> None:
        super().__init__()
        self._rig, self._names = rig, list(rig.choices)
        self._source, self._engine, self._folder = source, engine, log_folder
        self._cut_off = self._last_cut_off()
        """The last session that was cut off, on this programme if there is one; None if there is none."""

    def _last_cut_off(self) -> Check | None:
        found = cut_off(self._folder)
        if not found:
            return None
        with suppress(AuralizeError):
            now = sha256_of(self._source)
            same = [one for one in found if one.plan and one.plan.programme_sha256 == now]
            return (same or found)[-1]
        return found[-1]

    def compose(self) -> ComposeResult:
        first = [(f"first: {name}", name) for name in self._names]
        second = [(f"second: {name}", name) for name in self._names]
        with VerticalScroll(classes="card"):
            yield Label("Blind trial: Tab moves, Enter opens and picks, Esc leaves")
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
                yield Select(first, value=self._names[0], allow_blank=False, id="first")
                yield Select(second, value=self._names[1], allow_blank=False, id="second")
            with Horizontal(classes="pair"):
                yield Select(
                    [(SIGNAL_WORDS[s], s) for s in COMPARED],
                    value="receiving",
                    allow_blank=False,
                    id="signal",
                )
                trials = Input("16", type="integer", max_length=5, id="trials")
                trials.border_title = "number of trials"
                yield trials
            yield Input(placeholder="listener: a name or a pseudonym", id="listener")
            yield Select(COUNTS, value="counts", allow_blank=False, id="counts")
            yield Static(
                "Both are made equally loud. The number of trials is fixed now and cannot change.",
                id="setup-message",
                markup=False,
            )
            yield Button("Begin", id="begin")

    CSS = """
    .pair { height: 3; }
    .pair > * { width: 1fr; }
    #trials { border-title-color: $foreground; }
    """

    def action_leave(self) -> None:
        """Back to the bench; nothing was begun."""
        self.dismiss(None)

    @on(Button.Pressed, "#begin")
    def begin(self) -> None:
        """Check, write the log's first line, and go to the first trial."""
        protocol: Any = self.query_one("#protocol", Select).value
        signal: Any = self.query_one("#signal", Select).value
        names = [str(self.query_one(place, Select).value) for place in ("#first", "#second")]
        pair = [End(signal, name) for name in names]
        try:
            if names[0] == names[1]:
                raise RequestError("both choices are the same; pick two")
            gains = self._load(pair)
            presenter: Session | Practice
            if self.query_one("#counts", Select).value == "practice":
                presenter = Practice(protocol)
            else:
                presenter = Session.start(self._plan(protocol, pair, gains), self._new_log())
        except AuralizeError as error:
            self.query_one("#setup-message", Static).update(str(error))
            return
        self._go(protocol, presenter)

    @on(Button.Pressed, "#resume")
    def resume(self) -> None:
        """Go on where a session was cut off, if what is heard is the same as it was."""
        assert self._cut_off is not None
        plan = self._cut_off.plan
        assert plan is not None  # only a sound log can be resumed
        try:
            self._load_again(plan)
            session = Session.resume(self._cut_off.path)
        except AuralizeError as error:
            self.query_one("#setup-message", Static).update(str(error))
            return
        if session.finished:  # cut off between the last answer and the end
            self.app.switch_screen(OutcomeScreen(outcome_lines(session)))
        else:
            self._go(plan.protocol, session)

    def _load_again(self, plan: Plan) -> None:
        """Load what a session compares; raises AuralizeError where it would not sound the same."""
        check_programme(plan, self._source)
        check_same(plan, self._rig, self._load(pair_of(plan, self._rig)))

    def _load(self, heard: list[End]) -> list[float]:
        """Make these two ready, equally loud; the gain of each in dB."""
        self._engine.set_match(LOUDNESS)
        if self._engine.status().editing:
            raise RequestError("an edit is still being worked out; begin again in a second")
        if self._engine.status().certainty != "measured":
            raise RequestError("levels are still being measured; begin again in a few seconds")
        return self._engine.load_slots(heard, equal=True)

    def _go(self, protocol: Protocol, presenter: Session | Practice) -> None:
        # Not by way of the bench, which would let its own choice be heard.
        self.app.switch_screen(TrialScreen(protocol, presenter, self._sound, self._engine))

    def _plan(self, protocol: Protocol, pair: list[End], gains: list[float]) -> Plan:
        typed = self.query_one("#trials", Input).value
        first, second = (compared(self._rig, h, gain) for h, gain in zip(pair, gains, strict=True))
        return Plan(
            protocol,
            int(typed) if typed.isdecimal() else 0,
            (first, second),
            "made equally loud",
            self._source.name,
            sha256_of(self._source),
            self._listener(),
        )

    def _listener(self) -> str:
        name = self.query_one("#listener", Input).value.strip()
        if not name:
            raise RequestError("who listens? type a name or a pseudonym")
        return name

    def _new_log(self) -> Path:
        make_folder(self._folder)
        return self._folder / f"trial-{datetime.now():%Y%m%d-%H%M%S}.jsonl"

    def _sound(self, slot: int) -> None:
        """Let one of the two be heard, by its number."""
        self._engine.hear_slot(slot)
        self._engine.play()
