"""Blind trials: listen and answer.

While a trial runs, the screen shows which presentation was asked for and nothing else that could
depend on what is behind it: no gains, no levels, no names, no news of the engine but faults.
"""

from __future__ import annotations

from functools import partial
from typing import Final

from textual.app import ComposeResult
from textual.containers import Vertical
from textual.screen import ModalScreen, Screen
from textual.widgets import Static

from auralize.errors import AuralizeError
from auralize.live.protocol import EngineLike
from auralize.trials.plan import ANSWERS, PRESENTATIONS
from auralize.trials.preparing import Preparation
from auralize.trials.session import Practice, Session
from auralize.trials.sitting import Sitting

from .bindings import TRIAL
from .keyline import KeyLine
from .news import LASTS
from .outcome import OutcomeScreen, RowScreen
from .panels import place_words
from .player import PlayerScreen

_POLL: Final = 0.25
"""s between two looks at the device."""


class TrialScreen(PlayerScreen, inherit_bindings=False):
    """Listen as often as wanted, then answer. The same for every trial and every order."""

    BINDINGS = TRIAL

    def __init__(
        self, sitting: Sitting, engine: EngineLike, preparation: Preparation | None = None
    ) -> None:
        super().__init__(engine)
        self._sitting, self._preparation = sitting, preparation
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
        for event in self.engine.events():
            if event.kind in ("fault", "programme"):
                self._warned = event.text
        if self._deaf:
            self._sitting.forget()
        self._sitting.look()
        self.query_one("#trial-text", Static).update("\n".join(self._lines()))

    @property
    def _deaf(self) -> bool:
        """True while the device takes no sound."""
        return self.engine.status().state in ("opening", "silent", "lost")

    def _lines(self) -> list[str]:
        protocol, session = self._sitting.protocol, self._sitting.session
        head, note = self._practice_words() if session is None else _session_words(session)
        listen_to = _marked(PRESENTATIONS[protocol], self._sitting.heard)
        return [
            head,
            self._sitting.question,
            "",
            "Listen to",
            *(f"  {number}  {line}" for number, line in enumerate(listen_to, 1)),
            "Answer (up, down)",
            *(f"     {line}" for line in _marked(ANSWERS[protocol], self._picked)),
            "",
            self._asked(),
            self._state_words(),
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
        status = self.engine.status()
        place = place_words(status)
        if status.ended:
            place = "the programme has ended; listening begins it again"
        if self._deaf:
            place = "THE DEVICE TAKES NO SOUND; the trial waits until it does"
        return f"volume {status.volume:+.0f} dB, {place}"

    def say(self, words: str, lasts: float = LASTS, about: str = "") -> None:
        """What came of a key of the player, in the line that asks."""
        self._warned = words
        self._show()

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
            self.say("Up and down pick an answer; Enter then gives it")
            return
        try:
            self._sitting.answer(self._picked)
        except AuralizeError as error:
            self._warned = f"Not taken: {error}; Enter tries again"
            self._show()
            return
        self._warned, self._picked = "", None
        self.engine.pause()
        if self._sitting.session and self._sitting.over:
            self.app.switch_screen(outcome(self._sitting.session, self._preparation, self.engine))
        else:
            self._show()

    def action_pause(self) -> None:
        """Stop the sound."""
        self.engine.pause()
        self._sitting.pause()
        self._show()

    def action_give_up(self) -> None:
        """End here; asked twice where a session would be lost."""
        if self._sitting.session and not self._leaving:
            self._leaving = True
            self._show()
            return
        self.engine.pause()
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
    head = f"Trial {min(session.answered + 1, trials)} of {trials}: {session.plan.who}"
    note = f"The order is fixed; commitment to it, for a witness:\n{session.commitment}"
    return head, f"{note}\n{session.caution}".rstrip()


def outcome(
    session: Session, preparation: Preparation | None, engine: EngineLike
) -> ModalScreen[None]:
    """What comes after a session: what it showed, or the next listener of its row."""
    if session.plan.row is None or preparation is None:
        return OutcomeScreen(session)
    following = partial(sitting_screen, preparation=preparation, engine=engine)
    return RowScreen(session.plan, preparation, following)


def sitting_screen(
    presenter: Session | Practice, preparation: Preparation, engine: EngineLike
) -> Screen[None]:
    """Where trials are listened to; the outcome where they were cut off after the last answer."""
    sitting = Sitting(presenter, preparation.sound, preparation.heard)
    if sitting.session and sitting.over:
        return outcome(sitting.session, preparation, engine)
    return TrialScreen(sitting, engine, preparation)


def _marked(lines: tuple[str, ...], picked: int | None) -> list[str]:
    return [f"{'>' if number == picked else ' '} {line}" for number, line in enumerate(lines)]
