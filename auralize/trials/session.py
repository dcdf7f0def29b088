"""A listening session whose order nobody can know before the end, and practice for it."""

from __future__ import annotations

import secrets
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Literal, NoReturn

from auralize.trials.log import (
    Log,
    encode,
    facts_of,
    now,
    read_log,
)
from auralize.trials.plan import (
    ANSWERS,
    ARRANGEMENTS,
    PRESENTATIONS,
    SEED_BYTES,
    Arrangement,
    Outcome,
    Plan,
    TrialError,
    arrange,
    check_index,
    commitment,
    order,
    outcome_of,
    score,
)
from auralize.trials.seeds import keep_seed, read_seed, remove_seed, share_beside, sweep_seeds
from auralize.trials.statistics import Protocol, check_protocol

Sounder = Callable[[int], None]
"""Makes choice 0 or 1 sound. It is told which, so it must show nothing of it."""


@dataclass(frozen=True)
class Feedback:
    """What practice tells after each answer."""

    correct: bool
    right: int


class _Hidden:
    """Keeps seed and order out of every printed form, debugger view and copy of a session."""

    __slots__ = ("arrangements", "seed")

    def __init__(self, seed: bytes, arrangements: tuple[Arrangement, ...]) -> None:
        self.seed = seed
        self.arrangements = arrangements

    def __repr__(self) -> str:
        return "<hidden until the end>"

    def __reduce__(self) -> NoReturn:
        raise TypeError("the order of a session cannot be copied")


def _hidden(seed: bytes, plan: Plan) -> _Hidden:
    return _Hidden(seed, order(seed, plan.protocol, plan.trials))


class Session:
    """One listener, one protocol, a fixed number of trials, one log.

    Until the end nothing public tells the order. The only way out is ``present``, into the sounder.
    """

    def __init__(self, log: Log, plan: Plan, committed: str, hidden: _Hidden) -> None:
        self._log = log
        self._hidden = hidden
        self._answers: list[int] = []
        self._open = True
        self.plan = plan
        self.commitment = committed
        self.caution = ""
        """What the listener should know before the first trial; most often nothing."""

    @classmethod
    def start(cls, plan: Plan, log_path: Path) -> Session:
        """Open a new log and draw the order. Raises TrialError where the log exists or cannot be written."""
        seed = secrets.token_bytes(SEED_BYTES)
        facts = encode({"record": "opening", **facts_of(plan), "at": now()})
        committed = commitment(seed, facts)
        sweep_seeds(log_path.parent)
        log = Log.create(log_path)
        try:
            log.append_body(facts + f',"commitment":"{committed}"'.encode())
            caution = keep_seed(log_path, committed, seed)  # before anything can be answered
        except BaseException:
            log.close()
            log_path.unlink()  # nothing was begun
            remove_seed(log_path, committed)
            raise
        session = cls(log, plan, committed, _hidden(seed, plan))
        session.caution = caution
        return session

    @classmethod
    def resume(cls, log_path: Path) -> Session:
        """Take up a session that was cut off, with the seed that was kept in two shares.

        What was answered stays; half a line that was being written when it was cut off goes. The log says
        that it was resumed. Raises TrialError where the log is finished or was edited, or the seed is gone.
        """
        reading = read_log(log_path)
        if reading.problems:
            raise TrialError(f"{log_path}: this log cannot be resumed: {reading.problems[0]}")
        assert reading.plan is not None  # a log without problems has an opening
        if reading.closing is not None:
            remove_seed(log_path, reading.commitment)  # left where the end was cut off
            raise TrialError(f"{log_path}: this session has ended and cannot be resumed")
        seed = read_seed(log_path, reading.commitment)
        if commitment(seed, reading.facts) != reading.commitment:
            raise TrialError(
                f"{share_beside(log_path)}: this is not half of the seed of {log_path.name}"
            )
        log, hidden = Log.reopen(log_path, reading), _hidden(seed, reading.plan)
        session = cls(log, reading.plan, reading.commitment, hidden)
        session._answers = list(reading.answers)
        session._log.append({"record": "resumed", "at": now()})
        session._close_if_complete()
        return session

    def __repr__(self) -> str:
        return f"<Session {self.plan.protocol}, {self.answered} of {self.plan.trials} answered>"

    @property
    def answered(self) -> int:
        """How many trials have an answer."""
        return len(self._answers)

    @property
    def finished(self) -> bool:
        """Ended: all trials answered, or given up."""
        return not self._open

    @property
    def protocol(self) -> Protocol:
        return self.plan.protocol

    @property
    def presentations(self) -> tuple[str, ...]:
        """The names of what can be listened to in a trial."""
        return PRESENTATIONS[self.protocol]

    @property
    def fingerprint(self) -> str:
        """Seal of the last line of the log; at the end it stands for the whole session."""
        return self._log.seal

    @property
    def log_path(self) -> Path:
        """Where the log is."""
        return self._log.path

    def present(self, presentation: int, sounder: Sounder) -> None:
        """Let the sounder play one of the presentations of this trial."""
        self._check_open()
        if self.answered == self.plan.trials:
            raise TrialError("all trials are answered; answer once more to end the session")
        check_index("presentation", presentation, len(self.presentations))
        sounder(self._hidden.arrangements[self.answered].plays[presentation])

    def answer(self, index: int) -> None:
        """Give the answer to this trial (an index into ANSWERS) and go to the next one.

        It is on the disk when this returns. The last one ends the session; where that failed before
        (a full disk), this does nothing but try again.
        """
        self._check_open()
        if self.answered == self.plan.trials:
            self._close("complete")
            return
        check_index("answer", index, len(ANSWERS[self.plan.protocol]))
        self._log.append(
            {"record": "answer", "trial": self.answered + 1, "answer": index, "at": now()}
        )
        self._answers.append(index)
        self._close_if_complete()

    def give_up(self) -> None:
        """End the session here: the log shows seed and answers, and that it does not count."""
        self._check_open()
        self._close("given up")

    @property
    def outcome(self) -> Outcome:
        """Order, score and what it shows. Raises TrialError before all trials are answered."""
        if self._open or self.answered < self.plan.trials:
            raise TrialError(
                f"the outcome is known after {self.plan.trials} answers, not after {self.answered}"
            )
        return outcome_of(self.plan, self._hidden.seed, self._answers)

    def close_log(self) -> None:
        """Let go of the log file without ending the session: it can be resumed."""
        self._log.close()

    def _check_open(self) -> None:
        if not self._open:
            raise TrialError("this session has ended")

    def _close_if_complete(self) -> None:
        if self.answered == self.plan.trials:
            self._close("complete")

    def _close(self, end: Literal["complete", "given up"]) -> None:
        right = (arrangement.right for arrangement in self._hidden.arrangements)
        self._log.append(
            {
                "record": "closing",
                "end": end,
                "correct": score(right, self._answers),
                "seed": self._hidden.seed.hex(),
                "at": now(),
            }
        )
        self._open = False
        self._log.close()
        remove_seed(self._log.path, self.commitment)


class Practice:
    """Trials with feedback and without end. Nothing is logged: practice can never be counted."""

    def __init__(self, protocol: Protocol, question: str = "") -> None:
        self.protocol = check_protocol(protocol)
        self.question = question
        """What is compared, as `Plan.question` says it."""
        self.answered = 0
        self.correct = 0
        self._draw()

    def _draw(self) -> None:
        drawn = secrets.randbelow(ARRANGEMENTS[self.protocol])
        self._hidden = _Hidden(b"", (arrange(self.protocol, drawn),))

    def present(self, presentation: int, sounder: Sounder) -> None:
        """Let the sounder play one of the presentations of this trial."""
        check_index("presentation", presentation, len(PRESENTATIONS[self.protocol]))
        sounder(self._hidden.arrangements[0].plays[presentation])

    def answer(self, index: int) -> Feedback:
        """Give the answer, hear whether it was right, go to the next trial."""
        check_index("answer", index, len(ANSWERS[self.protocol]))
        right = self._hidden.arrangements[0].right
        self.answered += 1
        self.correct += index == right
        self._draw()
        return Feedback(index == right, right)
