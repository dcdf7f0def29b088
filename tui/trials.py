"""Blind trials: fix everything first, then listen and answer; the result in plain words at the end.

While a trial runs, the screen shows which presentation was asked for and nothing else that could
depend on what is behind it: no gains, no levels, no names, no news of the engine but faults.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from textual import on
from textual.app import ComposeResult
from textual.binding import Binding
from textual.containers import Horizontal, Vertical, VerticalScroll
from textual.screen import ModalScreen, Screen
from textual.widgets import Button, Checkbox, Input, Label, Select, Static

from auralize.errors import AuralizeError
from auralize.matching import Heard, HeardSignal
from auralize.trial import ANSWERS, PRESENTATIONS, Plan, Practice, Session
from auralize.trial import Choice as Compared
from auralize.trialstats import Protocol, findings
from tui.words import match_words

if TYPE_CHECKING:
    from auralize.live import LiveBench

PROTOCOLS: list[tuple[str, Protocol]] = [
    ("matched to sample: references A and B, unknown X", "matched-to-sample"),
    ("triangle (ISO 4120): which of three is the odd one", "triangle"),
]
SIGNALS = [("receiving end", "receiving"), ("drop", "drop")]
_LISTEN_KEYS: dict[Protocol, str] = {"matched-to-sample": "abx", "triangle": "123"}
_ANSWER_KEYS = "jkl"


class TrialSetup(ModalScreen[None]):
    """Everything that is fixed before the first trial."""

    BINDINGS = [Binding("escape", "leave", "Leave", id="setup.leave")]

    def __init__(self, names: list[str], source: Path, engine: LiveBench, log_folder: Path) -> None:
        super().__init__()
        self._names, self._source, self._engine, self._folder = names, source, engine, log_folder

    def compose(self) -> ComposeResult:
        choices = [(name, name) for name in self._names]
        with VerticalScroll(classes="card"):
            yield Label("Blind trial: Tab moves, Enter opens and picks, Esc leaves")
            yield Select(PROTOCOLS, value=PROTOCOLS[0][1], allow_blank=False, id="protocol")
            with Horizontal(classes="pair"):
                yield Select(choices, value=self._names[0], allow_blank=False, id="first")
                yield Select(choices, value=self._names[1], allow_blank=False, id="second")
            with Horizontal(classes="pair"):
                yield Select(SIGNALS, value="receiving", allow_blank=False, id="signal")
                yield Input("16", type="integer", id="trials")
            yield Input(placeholder="listener: a name or a pseudonym", id="listener")
            yield Checkbox(
                "practice: the answer is told after each trial, nothing counts", id="practice"
            )
            yield Static(
                "Levels are matched in loudness. The number of trials is fixed now and cannot change.",
                id="setup-message",
                markup=False,
            )
            yield Button("Begin", id="begin")

    CSS = """
    .pair { height: 3; }
    .pair > * { width: 1fr; }
    """

    def action_leave(self) -> None:
        """Back to the bench; nothing was begun."""
        self.dismiss(None)

    @on(Button.Pressed, "#begin")
    def begin(self) -> None:
        """Check, write the log's first line, and go to the first trial."""
        protocol: Any = self.query_one("#protocol", Select).value
        pair = (
            str(self.query_one("#first", Select).value),
            str(self.query_one("#second", Select).value),
        )
        signal: Any = self.query_one("#signal", Select).value
        try:
            if pair[0] == pair[1]:
                raise AuralizeError("both choices are the same; pick two")
            self._engine.set_match("loudness")
            if self._engine.status().certainty != "measured":
                raise AuralizeError("levels are still being measured; begin again in a few seconds")
            presenter: Session | Practice
            if self.query_one("#practice", Checkbox).value:
                presenter = Practice(protocol)
            else:
                presenter = Session.start(self._plan(protocol, pair, signal), self._new_log())
        except AuralizeError as error:
            self.query_one("#setup-message", Static).update(str(error))
            return
        screen = TrialScreen(protocol, presenter, self._player(pair, signal), self._engine)
        self.dismiss(None)
        self.app.push_screen(screen)

    def _plan(self, protocol: Protocol, pair: tuple[str, str], signal: HeardSignal) -> Plan:
        gains = [self._engine.gains_of(signal, name).total for name in pair]
        words = {value: key for key, value in SIGNALS}[signal]
        typed = self.query_one("#trials", Input).value
        return Plan(
            protocol,
            int(typed) if typed.isdecimal() else 0,
            (
                Compared(f"{words} of {pair[0]}", gains[0]),
                Compared(f"{words} of {pair[1]}", gains[1]),
            ),
            match_words("loudness"),
            self._source.name,
            sha256_of(self._source),
            self.query_one("#listener", Input).value.strip(),
        )

    def _new_log(self) -> Path:
        self._folder.mkdir(parents=True, exist_ok=True)
        return self._folder / f"trial-{datetime.now():%Y%m%d-%H%M%S}.jsonl"

    def _player(self, pair: tuple[str, str], signal: HeardSignal) -> Callable[[int], None]:
        engine = self._engine
        engine.load_slots([Heard(signal, name) for name in pair])

        def sound(slot: int) -> None:
            engine.hear_slot(slot)
            engine.play()

        return sound


def sha256_of(path: Path) -> str:
    """Hexadecimal SHA-256 of a file, read in pieces."""
    digest = hashlib.sha256()
    with path.open("rb") as file:
        while piece := file.read(1 << 20):
            digest.update(piece)
    return digest.hexdigest()


class TrialScreen(Screen[None]):
    """Listen as often as wanted, then answer. The same for every trial and every order."""

    BINDINGS = [
        *(
            Binding(key, f"listen('{key}')", f"Listen {key.upper()}", show=False, id=f"trial.{key}")
            for key in "abx123"
        ),
        *(
            Binding(key, f"pick({n})", f"Answer {key}", show=False, id=f"trial.answer{n}")
            for n, key in enumerate(_ANSWER_KEYS)
        ),
        Binding("enter", "confirm", "Confirm the answer", id="trial.confirm"),
        Binding("space", "pause", "Pause", tooltip="Stop the sound", id="trial.pause"),
        Binding(
            "escape",
            "give_up",
            "Give up",
            tooltip="End the session here (twice)",
            id="trial.give_up",
        ),
    ]

    def __init__(
        self,
        protocol: Protocol,
        presenter: Session | Practice,
        player: Callable[[int], None],
        engine: LiveBench,
    ) -> None:
        super().__init__()
        self._protocol: Protocol = protocol
        self._presenter = presenter
        self._player = player
        self._engine = engine
        self._heard: str | None = None
        self._picked: int | None = None
        self._leaving = False
        self._told = ""
        self._done = 0

    def compose(self) -> ComposeResult:
        with Vertical(classes="trial"):
            yield Static(id="trial-text", markup=False)

    def on_mount(self) -> None:
        self._show()

    def _show(self) -> None:
        self.query_one("#trial-text", Static).update("\n".join(self._lines()))

    def _lines(self) -> list[str]:
        presenter, keys = self._presenter, _LISTEN_KEYS[self._protocol]
        names = PRESENTATIONS[self._protocol]
        if isinstance(presenter, Session):
            head = f"Trial {min(presenter.answered + 1, presenter.plan.trials)} of {presenter.plan.trials}"
            note = (
                f"Order fixed beforehand; SHA-256 commitment for a witness:\n{presenter.commitment}"
            )
        else:
            head, note = f"Practice, trial {self._done + 1}; nothing counts", self._told
        listening = "  ".join(
            f"[{key}] {'>' if self._heard == key else ' '}{name}"
            for key, name in zip(keys, names, strict=True)
        )
        answers = [
            f"  [{key}] {'>' if self._picked == n else ' '} {words}"
            for n, (key, words) in enumerate(
                zip(_ANSWER_KEYS, ANSWERS[self._protocol], strict=False)
            )
        ]
        ask = (
            "Enter confirms"
            if self._picked is not None
            else "Listen as often as you like, then answer"
        )
        if self._leaving:
            ask = "Esc again gives the session up; it will not count"
        return [head, "", f"Listen:  {listening}", "", "Answer:", *answers, "", ask, "", note]

    def action_listen(self, key: str) -> None:
        """Hear one of the presentations."""
        keys = _LISTEN_KEYS[self._protocol]
        if key in keys and not self._over:
            self._presenter.present(keys.index(key), self._player)
            self._heard, self._leaving = key, False
            self._show()

    @property
    def _over(self) -> bool:
        return isinstance(self._presenter, Session) and self._presenter.finished

    def action_pick(self, number: int) -> None:
        """Choose an answer; Enter confirms it."""
        if number < len(ANSWERS[self._protocol]):
            self._picked, self._leaving = number, False
            self._show()

    def action_confirm(self) -> None:
        """Give the answer that was picked."""
        if self._picked is None:
            return
        try:
            told = self._presenter.answer(self._picked)
        except AuralizeError as error:
            self._told = str(error)
            self._show()
            return
        self._done += 1
        if told is not None:
            right = ANSWERS[self._protocol][told.right]
            self._told = f"{'Right' if told.correct else 'Wrong'}: {right}."
        self._picked = self._heard = None
        self._engine.pause()
        if self._over:
            self._finish()
        else:
            self._show()

    def action_pause(self) -> None:
        """Stop the sound."""
        self._engine.pause()
        self._heard = None
        self._show()

    def action_give_up(self) -> None:
        """End the session here; asked twice."""
        if isinstance(self._presenter, Practice):
            self._engine.pause()
            self.dismiss(None)
            return
        if not self._leaving:
            self._leaving = True
            self._show()
            return
        self._engine.pause()
        self._presenter.give_up()
        self.dismiss(None)

    def _finish(self) -> None:
        assert isinstance(self._presenter, Session)
        session = self._presenter
        outcome = session.outcome
        lines = [
            *findings(outcome.result),
            "",
            f"Seed, for the witness: {outcome.seed}",
            f"Last seal of the log: {session.fingerprint}",
        ]
        self.dismiss(None)
        self.app.push_screen(OutcomeScreen(lines))


class OutcomeScreen(ModalScreen[None]):
    """What a session showed, in plain words."""

    BINDINGS = [Binding("escape,enter", "dismiss", "Close", id="outcome.close")]

    def __init__(self, lines: list[str]) -> None:
        super().__init__()
        self._text = lines

    def compose(self) -> ComposeResult:
        with VerticalScroll(classes="card"):
            yield Static("\n".join([*self._text, "", "Esc closes"]), markup=False)
