"""A listener's way through trials: nothing is answered before all of it was listened to."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from auralize.trials.plan import PRESENTATIONS, TrialError
from auralize.trials.session import Feedback, Practice, Session, Sounder
from auralize.trials.statistics import Protocol

LEAST_HEARD: Final = 0.2
"""s of its sound after which a presentation counts as listened to: about what an ear takes to make out
how loud something is (value from memory)."""


class Sitting:
    """A session, or practice, that is listened to; it shows nothing that those do not.

    ``heard_for`` says for how long (s) what ``player`` was asked for last has left through the device.
    """

    def __init__(
        self, presenter: Session | Practice, player: Sounder, heard_for: Callable[[], float]
    ) -> None:
        self._presenter, self._player, self._heard_for = presenter, player, heard_for
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
        presenter = self._presenter
        return presenter.plan.question if isinstance(presenter, Session) else presenter.question

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
        self.look()
        return [n for n in range(len(PRESENTATIONS[self.protocol])) if n not in self._listened]

    def listen(self, number: int) -> None:
        """Hear one of the presentations; raises TrialError. It counts as soon as it has been heard."""
        self.look()
        self._presenter.present(number, self._player)
        self.heard = number

    def look(self) -> None:
        """Count what is heard now, once it has been heard long enough; before it is left, and often."""
        if self.heard is not None and self._heard_for() >= LEAST_HEARD:
            self._listened.add(self.heard)

    def pause(self) -> None:
        """Nothing is heard from now on; what was listened to still counts."""
        self.look()
        self.heard = None

    def forget(self) -> None:
        """What was asked for in this trial was not heard, as the device took no sound."""
        self.heard = None
        self._listened.clear()

    def answer(self, index: int) -> None:
        """Give an answer and go to the next trial; raises TrialError, and it was not given."""
        if self.missing:
            keys = ", ".join(str(number + 1) for number in self.missing)
            raise TrialError(f"listen to {keys} first, each for a moment while it plays")
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
