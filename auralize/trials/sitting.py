"""A listener's way through trials: nothing is answered before all of it was listened to."""

from __future__ import annotations

from auralize.trials.plan import PRESENTATIONS, TrialError
from auralize.trials.session import Feedback, Practice, Session, Sounder
from auralize.trials.statistics import Protocol


class Sitting:
    """A session, or practice, that is listened to; it shows nothing that those do not."""

    def __init__(self, presenter: Session | Practice, player: Sounder) -> None:
        self._presenter, self._player = presenter, player
        self._listened: set[int] = set()
        self.heard: int | None = None
        """The presentation that was asked for last in this trial."""
        self.told: Feedback | None = None
        """What practice said of the last answer."""

    @property
    def session(self) -> Session | None:
        """None: this is practice."""
        return self._presenter if isinstance(self._presenter, Session) else None

    @property
    def protocol(self) -> Protocol:
        return self._presenter.protocol

    @property
    def question(self) -> str:
        """What is compared, and on which programme."""
        session = self.session
        return session.plan.question if session else getattr(self._presenter, "question", "")

    @property
    def answered(self) -> int:
        return self._presenter.answered

    @property
    def over(self) -> bool:
        """True where nothing can be listened to or answered any more."""
        return self.session is not None and self.session.finished

    @property
    def missing(self) -> list[int]:
        """The presentations to be listened to before an answer is taken.

        None where all trials are answered, and nothing is left but to write the end.
        """
        session = self.session
        if session is not None and session.answered == session.plan.trials:
            return []
        return [n for n in range(len(PRESENTATIONS[self.protocol])) if n not in self._listened]

    def listen(self, number: int) -> None:
        """Hear one of the presentations; raises TrialError."""
        self._presenter.present(number, self._player)
        self.heard = number
        self._listened.add(number)

    def pause(self) -> None:
        """Nothing is heard; what was listened to still counts."""
        self.heard = None

    def forget(self) -> None:
        """What was asked for in this trial was not heard, as the device took no sound."""
        self.heard = None
        self._listened.clear()

    def answer(self, index: int) -> None:
        """Give an answer and go to the next trial; raises TrialError, and it was not given."""
        if self.missing:
            keys = ", ".join(str(number + 1) for number in self.missing)
            raise TrialError(f"listen to {keys} first")
        self.told = self._presenter.answer(index)
        self.forget()

    def give_up(self) -> None:
        """End here: a session does not count then; raises TrialError where that cannot be written."""
        if self.session is not None:
            self.session.give_up()

    def leave(self) -> None:
        """Let go of the log: a session that is not over can be gone on with."""
        if self.session is not None:
            self.session.close_log()
