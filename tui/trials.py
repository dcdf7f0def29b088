"""Blind trials: fix everything first, then listen and answer; the result in plain words at the end.

While a trial runs, the screen shows which presentation was asked for and nothing else that could
depend on what is behind it: no gains, no levels, no names, no news of the engine but faults.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from contextlib import suppress
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from textual import on
from textual.app import ComposeResult
from textual.binding import Binding
from textual.containers import Horizontal, Vertical, VerticalScroll
from textual.content import Content
from textual.screen import ModalScreen, Screen
from textual.widgets import Button, Input, Label, Select, Static

from auralize.errors import AuralizeError
from auralize.matching import Heard, HeardSignal
from auralize.trial import Practice, Session
from auralize.trialcheck import cut_off
from auralize.trialplan import ANSWERS, LONGEST_TEXT, PRESENTATIONS, Plan
from auralize.trialplan import Choice as Compared
from auralize.trialstats import Protocol, findings
from tui.keyline import KeyLine

if TYPE_CHECKING:
    from auralize.live import LiveBench
    from auralize.rig import Choice as RigChoice
    from auralize.rig import Rig
    from auralize.trialcheck import Check

PROTOCOLS: list[tuple[str, Protocol]] = [
    ("matched to sample: two references and an unknown", "matched-to-sample"),
    ("triangle (ISO 4120): which of three is the odd one", "triangle"),
]
SIGNALS: list[tuple[str, HeardSignal]] = [("receiving end", "receiving"), ("drop", "drop")]
COUNTS = [
    ("this session counts", "counts"),
    ("practice: told after each trial, nothing counts, Esc ends", "practice"),
]
SAME_GAIN: Final = 0.01
"""dB within which a choice is taken to be what it was when a session began."""
_LISTEN_KEYS = "123"
_POLL: Final = 0.25
"""s between two looks at the device."""


class TrialSetup(ModalScreen[None]):
    """Everything that is fixed before the first trial."""

    BINDINGS = [Binding("escape", "leave", "Leave", id="setup.leave")]

    AUTO_FOCUS = "Button, Select"

    def __init__(
        self,
        rig: Rig,
        source: Path,
        engine: LiveBench,
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
                yield Select(SIGNALS, value="receiving", allow_blank=False, id="signal")
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
        pair = (
            str(self.query_one("#first", Select).value),
            str(self.query_one("#second", Select).value),
        )
        signal: Any = self.query_one("#signal", Select).value
        try:
            if pair[0] == pair[1]:
                raise AuralizeError("both choices are the same; pick two")
            gains = self._load([Heard(signal, name) for name in pair])
            presenter: Session | Practice
            if self.query_one("#counts", Select).value == "practice":
                presenter = Practice(protocol)
            else:
                presenter = Session.start(
                    self._plan(protocol, pair, signal, gains), self._new_log()
                )
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
        if plan.programme_sha256 != sha256_of(self._source):
            raise AuralizeError(f"that session was held on another programme: {plan.programme}")
        heard = {
            _words(signal, name): Heard(signal, name)
            for _, signal in SIGNALS
            for name in self._names
        }
        missing = [choice.name for choice in plan.choices if choice.name not in heard]
        if missing:
            raise AuralizeError(f"that session was held on another rig: it has {missing[0]}")
        pair = [heard[choice.name] for choice in plan.choices]
        gains = self._load(pair)
        for now, gain, choice in zip(pair, gains, plan.choices, strict=True):
            there = self._rig.choices[now.choice or ""]
            if built(there) != choice.built:
                raise AuralizeError(
                    f"{choice.name} is now {built(there)} and was {choice.built}; that session needs "
                    "the rig as it was"
                )
            if sha256_of_rig(self._rig, there) != choice.rig_sha256:
                raise AuralizeError(
                    f"the rig of {choice.name} is not what it was; that session needs it as it was"
                )
            if abs(gain - choice.gain_db) > SAME_GAIN:
                raise AuralizeError(
                    f"{choice.name} has changed since: its gain is {gain:+.2f} dB now and was "
                    f"{choice.gain_db:+.2f} dB; that session needs the rig as it was"
                )

    def _load(self, heard: list[Heard]) -> list[float]:
        """Make these two ready, equally loud; the gain of each in dB."""
        self._engine.set_match("loudness")
        if self._engine.status().certainty != "measured":
            raise AuralizeError("levels are still being measured; begin again in a few seconds")
        return self._engine.load_slots(heard, equal=True)

    def _go(self, protocol: Protocol, presenter: Session | Practice) -> None:
        # Not by way of the bench, which would let its own choice be heard.
        self.app.switch_screen(TrialScreen(protocol, presenter, self._sound, self._engine))

    def _plan(
        self, protocol: Protocol, pair: tuple[str, str], signal: HeardSignal, gains: list[float]
    ) -> Plan:
        typed = self.query_one("#trials", Input).value
        first, second = (
            Compared(
                _words(signal, name),
                gain,
                built(self._rig.choices[name]),
                sha256_of_rig(self._rig, self._rig.choices[name]),
            )
            for name, gain in zip(pair, gains, strict=True)
        )
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
            raise AuralizeError("who listens? type a name or a pseudonym")
        return name

    def _new_log(self) -> Path:
        try:
            self._folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            reason = (error.strerror or str(error)).lower()
            raise AuralizeError(f"{self._folder}: this folder cannot be made: {reason}") from None
        return self._folder / f"trial-{datetime.now():%Y%m%d-%H%M%S}.jsonl"

    def _sound(self, slot: int) -> None:
        """Let one of the two be heard, by its number."""
        self._engine.hear_slot(slot)
        self._engine.play()


def _words(signal: HeardSignal, name: str) -> str:
    """What a choice is called in a log: with the signal that is compared."""
    words = {value: words for words, value in SIGNALS}
    return f"{words[signal]} of {name}"


def built(choice: RigChoice) -> str:
    """What a choice is made of on the way to its loudspeaker, as the log keeps it."""
    parts = [
        f"{run} {choice.described[run]}"
        + (f", {choice.lays[run].words}" if run in choice.lays else "")
        for run in choice.network.path(choice.listen)
    ]
    return "; ".join(parts)[:LONGEST_TEXT] or "no cable"


def sha256_of(path: Path) -> str:
    """Hexadecimal SHA-256 of a file, read in pieces; raises AuralizeError."""
    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise AuralizeError(f"{path} cannot be read: {reason}") from None


def sha256_of_rig(rig: Rig, choice: RigChoice) -> str:
    """Hexadecimal SHA-256 of all that a rig file says of a choice, but for titles and labels."""
    said = {k: v for k, v in rig.of(choice).items() if k not in ("title", "label")}
    return hashlib.sha256(json.dumps(said, sort_keys=True, default=str).encode()).hexdigest()


class TrialScreen(Screen[None]):
    """Listen as often as wanted, then answer. The same for every trial and every order."""

    BINDINGS = [
        Binding("escape", "give_up", show=False),
        *(
            Binding(
                key,
                f"listen({n})",
                f"Listen to {key}",
                show=False,
                tooltip="Listen to what the screen lists (2, 3: the others)" if n == 0 else "",
                id=f"trial.listen{key}",
            )
            for n, key in enumerate(_LISTEN_KEYS)
        ),
        Binding(
            "down",
            "pick(1)",
            "Answer",
            key_display="up/down",
            tooltip="Pick an answer",
            id="trial.down",
        ),
        Binding("up", "pick(-1)", "Answer", show=False, id="trial.up"),
        Binding(
            "enter",
            "confirm",
            "Confirm",
            tooltip="Give the answer that is picked",
            id="trial.confirm",
        ),
        Binding("space", "pause", "Pause", tooltip="Stop the sound", id="trial.pause"),
        Binding(
            "plus", "volume(1)", "Louder", key_display="+", tooltip="1 dB louder", id="trial.louder"
        ),
        Binding(
            "minus",
            "volume(-1)",
            "Softer",
            key_display="-",
            tooltip="1 dB softer",
            id="trial.softer",
        ),
        Binding(
            "q",
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
        self._heard: int | None = None
        self._picked: int | None = None
        self._leaving = False
        self._told = ""
        self._done = 0
        self._listened: set[int] = set()
        """What was listened to in this trial."""
        self._warned = ""

    def compose(self) -> ComposeResult:
        with Vertical(classes="trial"):
            yield Static(id="trial-text", markup=False)
        yield KeyLine(markup=False)

    def on_unmount(self) -> None:
        """Let go of the log of a session that is not over: it can be gone on with."""
        if isinstance(self._presenter, Session):
            self._presenter.close_log()

    def on_mount(self) -> None:
        self._show()
        self.set_interval(_POLL, self._show)

    @property
    def _deaf(self) -> bool:
        """True while the device takes no sound."""
        return self._engine.status().state in ("opening", "silent", "lost")

    def _state_words(self) -> str:
        """Volume and transport: the same whatever is behind what is heard."""
        status = self._engine.status()
        doing = "playing" if status.playing else "paused"
        if self._deaf:
            doing = "THE DEVICE TAKES NO SOUND; the trial waits until it does"
        return f"volume {status.volume:+.0f} dB, {doing}"

    def _show(self) -> None:
        if not self.query("#trial-text"):  # a key came before the first sight of this screen
            return
        for event in self._engine.events():
            if event.kind in ("fault", "programme"):
                self._warned = event.text
        if self._deaf:  # what was asked for meanwhile was not heard
            self._heard = None
            self._listened.clear()
        self.query_one("#trial-text", Static).update("\n".join(self._lines()))

    def _lines(self) -> list[str]:
        presenter = self._presenter
        if isinstance(presenter, Session):
            head = f"Trial {min(presenter.answered + 1, presenter.plan.trials)} of {presenter.plan.trials}"
            note = f"The order is fixed; commitment to it, for a witness:\n{presenter.commitment}"
        else:
            head = f"Practice, trial {self._done + 1}; nothing counts"
            note = f"The trial before: {self._told}" if self._told else ""
        listening = [
            f"  {key}  {'>' if self._heard == n else ' '} {name}"
            for n, (key, name) in enumerate(
                zip(_LISTEN_KEYS, PRESENTATIONS[self._protocol], strict=True)
            )
        ]
        answers = [
            f"     {'>' if self._picked == n else ' '} {words}"
            for n, words in enumerate(ANSWERS[self._protocol])
        ]
        ask = (
            "Enter confirms"
            if self._picked is not None
            else "Listen as often as you like, then answer"
        )
        if self._warned:
            ask = self._warned
        if self._leaving:
            ask = "Once more gives the session up; it will not count"
        return [
            head,
            "",
            "Listen to",
            *listening,
            "",
            "Answer (up, down)",
            *answers,
            "",
            ask,
            self._state_words(),
            "",
            note,
        ]

    def action_listen(self, number: int) -> None:
        """Hear one of the presentations."""
        if not self._over:
            try:
                self._presenter.present(number, self._player)
            except AuralizeError as error:
                self._warned = str(error)
                self._show()
                return
            self._heard, self._leaving, self._warned = number, False, ""
            self._listened.add(number)
            self._show()

    def action_volume(self, steps: int) -> None:
        """Louder or softer, for all presentations alike."""
        self._engine.set_volume(self._engine.status().volume + steps)

    @property
    def _over(self) -> bool:
        return isinstance(self._presenter, Session) and self._presenter.finished

    def action_pick(self, step: int) -> None:
        """Go to the next answer, or the one before; Enter confirms it."""
        self._warned = ""
        count = len(ANSWERS[self._protocol])
        start = -1 if step > 0 else count
        self._picked = ((start if self._picked is None else self._picked) + step) % count
        self._leaving = False
        self._show()

    def action_confirm(self) -> None:
        """Give the answer that was picked."""
        if self._picked is None:
            return
        self._warned = ""
        missing = [k for n, k in enumerate(_LISTEN_KEYS) if n not in self._listened]
        if missing:
            self._warned = f"Not answered yet: listen to {', '.join(missing)} first"
            self._show()
            return
        try:
            told = self._presenter.answer(self._picked)
        except AuralizeError as error:
            self._warned = f"Not taken: {error}; Enter tries again"
            self._show()
            return
        self._done += 1
        if told is not None:
            right = ANSWERS[self._protocol][told.right]
            self._told = f"{'Right' if told.correct else 'Wrong'}: in truth, {right}."
        self._picked = self._heard = None
        self._listened.clear()
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
        try:
            self._presenter.give_up()
        except AuralizeError as error:
            self._warned, self._leaving = f"Not given up: {error}", False
            self._show()
            return
        self.dismiss(None)

    def _finish(self) -> None:
        assert isinstance(self._presenter, Session)
        self.app.switch_screen(OutcomeScreen(outcome_lines(self._presenter)))


def outcome_lines(session: Session) -> list[str]:
    """What a finished session showed, and what a witness needs."""
    return [
        *findings(session.outcome.result),
        "",
        f"Seed, for the witness: {session.outcome.seed}",
        f"Last seal of the log: {session.fingerprint}",
        f"Log: {session.log_path}",
    ]


class OutcomeScreen(ModalScreen[None]):
    """What a session showed, in plain words."""

    BINDINGS = [Binding("escape,enter", "dismiss", "Close", id="outcome.close")]

    def __init__(self, lines: list[str]) -> None:
        super().__init__()
        self._text = lines

    def compose(self) -> ComposeResult:
        with VerticalScroll(classes="card"):
            yield Static("\n".join([*self._text, "", "Esc closes"]), markup=False)
