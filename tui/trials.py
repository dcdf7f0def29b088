"""Blind trials: listen and answer; the result in plain words at the end.

While a trial runs, the screen shows which presentation was asked for and nothing else that could
depend on what is behind it: no gains, no levels, no names, no news of the engine but faults.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Final

from textual.app import ComposeResult
from textual.binding import Binding
from textual.containers import Vertical, VerticalScroll
from textual.screen import ModalScreen, Screen
from textual.widgets import Static

from auralize.errors import AuralizeError
from auralize.trials.plan import ANSWERS, PRESENTATIONS
from auralize.trials.session import Practice, Session
from auralize.trials.statistics import Protocol, findings

from .keyline import KeyLine

if TYPE_CHECKING:
    from auralize.live.engine import Engine

_LISTEN_KEYS = "123"
_POLL: Final = 0.25
"""s between two looks at the device."""


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
        engine: Engine,
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

    @property
    def _all_answered(self) -> bool:
        """True where nothing but the end of the session has to be written, which failed before."""
        presenter = self._presenter
        return isinstance(presenter, Session) and presenter.answered == presenter.plan.trials

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
        if missing and not self._all_answered:
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
