"""Blind trials: listen and answer.

While a trial runs, the screen shows which presentation was asked for and nothing else that could
depend on what is behind it: no gains, no levels, no names, no news of the engine but faults.
"""

from __future__ import annotations

from typing import Final

from textual.app import ComposeResult
from textual.containers import Vertical
from textual.screen import Screen
from textual.widgets import Static

from auralize.errors import AuralizeError
from auralize.live.protocol import EngineLike
from auralize.trials.plan import ANSWERS, PRESENTATIONS
from auralize.trials.session import Session
from auralize.trials.sitting import Sitting

from .bindings import TRIAL
from .keyline import KeyLine
from .outcome import OutcomeScreen

_POLL: Final = 0.25
"""s between two looks at the device."""


class TrialScreen(Screen[None]):
    """Listen as often as wanted, then answer. The same for every trial and every order."""

    BINDINGS = TRIAL

    def __init__(self, sitting: Sitting, engine: EngineLike) -> None:
        super().__init__()
        self._sitting, self._engine = sitting, engine
        self._picked: int | None = None
        self._leaving = False
        self._warned = ""

    def compose(self) -> ComposeResult:
        with Vertical(classes="trial"):
            yield Static(id="trial-text", markup=False)
        yield KeyLine(markup=False)

    def on_mount(self) -> None:
        self._show()
        self.set_interval(_POLL, self._show)

    def on_unmount(self) -> None:
        """Whatever ends this screen: a session that is not over can be gone on with."""
        self._sitting.leave()

    # ---- what is shown

    def _show(self) -> None:
        if not self.query("#trial-text"):  # a key came before the first sight of this screen
            return
        for event in self._engine.events():
            if event.kind in ("fault", "programme"):
                self._warned = event.text
        if self._deaf:
            self._sitting.forget()
        self._sitting.look()
        self.query_one("#trial-text", Static).update("\n".join(self._lines()))

    @property
    def _deaf(self) -> bool:
        """True while the device takes no sound."""
        return self._engine.status().state in ("opening", "silent", "lost")

    def _lines(self) -> list[str]:
        protocol, session = self._sitting.protocol, self._sitting.session
        head, note = self._practice_words() if session is None else _session_words(session)
        listen_to = _marked(PRESENTATIONS[protocol], self._sitting.heard)
        return [
            head,
            "",
            "Listen to",
            *(f"  {number}  {line}" for number, line in enumerate(listen_to, 1)),
            "",
            "Answer (up, down)",
            *(f"     {line}" for line in _marked(ANSWERS[protocol], self._picked)),
            "",
            self._asked(),
            self._state_words(),
            "",
            note,
        ]

    def _practice_words(self) -> tuple[str, str]:
        told, note = self._sitting.told, ""
        if told is not None:
            right = ANSWERS[self._sitting.protocol][told.right]
            verdict = "Right" if told.correct else "Wrong"
            note = f"The trial before: {verdict}: in truth, {right}."
        return f"Practice, trial {self._sitting.answered + 1}; nothing counts", note

    def _asked(self) -> str:
        """What to do next, or why not."""
        if self._leaving:
            return "Once more gives the session up; it will not count"
        if self._warned:
            return self._warned
        if self._picked is not None:
            return "Enter confirms"
        return "Listen as often as you like, then answer"

    def _state_words(self) -> str:
        """Volume and transport: the same whatever is behind what is heard."""
        status = self._engine.status()
        doing = "playing" if status.playing else "paused"
        if status.ended:
            doing = "the programme has ended; listening begins it again"
        if self._deaf:
            doing = "THE DEVICE TAKES NO SOUND; the trial waits until it does"
        return f"volume {status.volume:+.0f} dB, {doing}"

    # ---- what can be done

    def action_listen(self, number: int) -> None:
        """Hear one of the presentations."""
        if self._sitting.over:
            return
        try:
            self._sitting.listen(number)
        except AuralizeError as error:
            self._warned = str(error)
        else:
            self._leaving, self._warned = False, ""
        self._show()

    def action_volume(self, steps: int) -> None:
        """Louder or softer, for all presentations alike."""
        self._engine.set_volume(self._engine.status().volume + steps)

    def action_pick(self, step: int) -> None:
        """Go to the next answer, or the one before; Enter confirms it."""
        count = len(ANSWERS[self._sitting.protocol])
        start = -1 if step > 0 else count
        self._picked = ((start if self._picked is None else self._picked) + step) % count
        self._leaving, self._warned = False, ""
        self._show()

    def action_confirm(self) -> None:
        """Give the answer that was picked."""
        if self._picked is None:
            return
        try:
            self._sitting.answer(self._picked)
        except AuralizeError as error:
            self._warned = f"Not taken: {error}; Enter tries again"
            self._show()
            return
        self._warned, self._picked = "", None
        self._engine.pause()
        if self._sitting.session and self._sitting.over:
            self.app.switch_screen(OutcomeScreen(self._sitting.session))
        else:
            self._show()

    def action_pause(self) -> None:
        """Stop the sound."""
        self._engine.pause()
        self._sitting.pause()
        self._show()

    def action_give_up(self) -> None:
        """End here; asked twice where a session would be lost."""
        if self._sitting.session and not self._leaving:
            self._leaving = True
            self._show()
            return
        self._engine.pause()
        try:
            self._sitting.give_up()
        except AuralizeError as error:
            self._warned, self._leaving = f"Not given up: {error}", False
            self._show()
        else:
            self.dismiss(None)


def _session_words(session: Session) -> tuple[str, str]:
    """Head and note of a session that counts."""
    trials = session.plan.trials
    head = f"Trial {min(session.answered + 1, trials)} of {trials}"
    note = f"The order is fixed; commitment to it, for a witness:\n{session.commitment}"
    return head, f"{note}\n{session.caution}".rstrip()


def _marked(lines: tuple[str, ...], picked: int | None) -> list[str]:
    return [f"{'>' if number == picked else ' '} {line}" for number, line in enumerate(lines)]
