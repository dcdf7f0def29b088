"""Blind trials: a session whose order nobody can know before the end, and its log that can be checked.

What a witness needs, in any language:

- Seed: 32 random bytes, drawn at the start, in the log only at the end (``seed``, hexadecimal).
- Commitment: SHA-256 of the seed followed by the facts. The facts are the bytes of the log's first line
  before ``,"commitment":``. It can be noted down before the first answer: it binds seed and facts.
- Order: block c = SHA-256 of the seed followed by c as 8 bytes, big-endian, c = 0, 1, 2, ... The bytes of
  all blocks in a row are one stream. A trial has m equally likely arrangements; it takes bytes until one
  is under the largest multiple of m that is not above 256, and its draw is that byte modulo m.
- Matched to sample (m = 2): the references are the first and the second choice, the unknown is
  choice 0 or 1 as drawn, the right answer is the draw. Triangle (m = 6): the odd presentation is draw
  div 2 (counted from 0), the choice heard twice is draw mod 2, the right answer is the odd presentation.
- Seal of a line: its last field ``seal`` is SHA-256 of the seal of the line before (64 letters; none for
  the first line) followed by the bytes of this line before ``,"seal":``.

Draws are independent and not balanced. The exact binomial tail supposes that, and in a balanced order
whoever counts would know the last trials better than by chance.

Seals show every change in a log that was not made with their recalculation in mind. Against a forger
who rewrites a log to its end, note the fingerprint (the last seal) when the session ends.
"""

from __future__ import annotations

import hashlib
import json
import math
import os
import re
import secrets
from collections.abc import Callable, Iterable, Iterator
from contextlib import suppress
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path
from typing import Any, Final, Literal, NoReturn

from auralize.errors import AuralizeError
from auralize.trialstats import (
    MOST_TRIALS,
    Protocol,
    Result,
    check_protocol,
    evaluate,
    findings,
)

FORMAT: Final = "auralize listening session 1"
SEED_BYTES: Final = 32
LONGEST_TEXT: Final = 200  # characters in a name

ARRANGEMENTS: Final[dict[Protocol, int]] = {"matched-to-sample": 2, "triangle": 6}
"""Equally likely arrangements of a trial."""

PRESENTATIONS: Final[dict[Protocol, tuple[str, ...]]] = {
    "matched-to-sample": ("the first", "the second", "the unknown"),
    "triangle": ("1", "2", "3"),
}
"""What can be listened to in a trial, as often as wanted."""

ANSWERS: Final[dict[Protocol, tuple[str, ...]]] = {
    "matched-to-sample": ("the unknown is the first", "the unknown is the second"),
    "triangle": ("1 is the odd one", "2 is the odd one", "3 is the odd one"),
}

Player = Callable[[int], None]
"""Makes choice 0 or 1 sound. It is told which, so it must show nothing of it."""


class TrialError(AuralizeError, ValueError):
    """A session cannot be held, or its log cannot be used, as asked."""


@dataclass(frozen=True)
class Choice:
    """One of the two that are compared, as it is heard."""

    name: str
    gain_db: float


@dataclass(frozen=True)
class Plan:
    """All that is fixed before the first trial. Raises TrialError where something is missing."""

    protocol: Protocol
    trials: int
    choices: tuple[Choice, Choice]
    match: str
    """How levels were matched, in the words of the screen."""
    programme: str
    programme_sha256: str
    listener: str
    """A name or a pseudonym."""

    def __post_init__(self) -> None:
        try:
            check_protocol(self.protocol)
        except ValueError as error:
            raise TrialError(str(error)) from None
        if type(self.trials) is not int or not 1 <= self.trials <= MOST_TRIALS:
            raise TrialError(f"trials: from 1 to {MOST_TRIALS} are expected, not {self.trials!r}")
        if len(self.choices) != 2:
            raise TrialError(f"choices: two are compared, not {len(self.choices)}")
        for what, text in (
            *(
                (f"name of the {('first', 'second')[i]} choice", choice.name)
                for i, choice in enumerate(self.choices)
            ),
            ("level match", self.match),
            ("programme", self.programme),
            ("listener", self.listener),
        ):
            _check_text(what, text)
        for choice in self.choices:
            if type(choice.gain_db) not in (int, float) or not math.isfinite(choice.gain_db):
                raise TrialError(
                    f"gain of {choice.name}: decibels are expected, not {choice.gain_db!r}"
                )
        if not _is_hex(self.programme_sha256, 64):
            raise TrialError(
                "programme: its SHA-256 is expected as 64 hexadecimal digits, "
                f"not {self.programme_sha256!r}"
            )

    @property
    def comparison(self) -> tuple[object, ...]:
        """What must be equal for two sessions to ask the same question."""
        return (self.protocol, self.choices, self.match, self.programme_sha256)


@dataclass(frozen=True)
class Arrangement:
    """One trial laid open: the choice behind each presentation, and the right answer."""

    plays: tuple[int, int, int]
    right: int


@dataclass(frozen=True)
class Outcome:
    """A finished session laid open."""

    seed: str
    right: tuple[int, ...]
    answers: tuple[int, ...]
    correct: int
    result: Result


@dataclass(frozen=True)
class Feedback:
    """What practice tells after each answer."""

    correct: bool
    right: int


def order(seed: bytes, protocol: Protocol, trials: int) -> tuple[Arrangement, ...]:
    """The arrangements of a session, by the rule at the head of this module."""
    ways = ARRANGEMENTS[protocol]
    stream = _stream(seed)
    fair = 256 - 256 % ways
    draws = (byte % ways for byte in stream if byte < fair)
    return tuple(_arrange(protocol, next(draws)) for _ in range(trials))


def commitment(seed: bytes, facts: bytes) -> str:
    """SHA-256 of seed and facts, in hexadecimal."""
    return hashlib.sha256(seed + facts).hexdigest()


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


class Session:
    """One listener, one protocol, a fixed number of trials, one log.

    Until the end nothing public tells the order. The only way out is ``present``, into the player.
    """

    def __init__(self, log: _Log, plan: Plan, committed: str, hidden: _Hidden) -> None:
        self._log = log
        self._hidden = hidden
        self._answers: list[int] = []
        self._open = True
        self.plan = plan
        self.commitment = committed

    @classmethod
    def start(cls, plan: Plan, log_path: Path) -> Session:
        """Open a new log and draw the order. Raises TrialError where the log exists or cannot be written."""
        seed = secrets.token_bytes(SEED_BYTES)
        facts = _encode({"record": "opening", **_facts_of(plan), "at": _now()})
        committed = commitment(seed, facts)
        log = _Log.create(log_path)
        try:
            _write_seed(log_path, seed)
            log.append_body(facts + f',"commitment":"{committed}"'.encode())
        except TrialError:
            log.close()
            log_path.unlink()  # nothing was begun
            raise
        return cls(log, plan, committed, _Hidden(seed, order(seed, plan.protocol, plan.trials)))

    @classmethod
    def resume(cls, log_path: Path) -> Session:
        """Take up a session that was cut off, with the seed that was kept beside its log.

        What was answered stays; half a line that was being written when it was cut off goes. The log says
        that it was resumed. Raises TrialError where the log is finished or was edited, or the seed is gone.
        """
        reading = _read(log_path)
        if reading.problems:
            raise TrialError(f"{log_path}: this log cannot be resumed: {reading.problems[0]}")
        assert reading.plan is not None  # a log without problems has an opening
        if reading.closing is not None:
            _seed_path(log_path).unlink(missing_ok=True)  # left where the end was cut off
            raise TrialError(f"{log_path}: this session has ended and cannot be resumed")
        seed = _read_seed(log_path)
        if commitment(seed, reading.facts) != reading.commitment:
            raise TrialError(f"{_seed_path(log_path)}: this seed is not the one of {log_path.name}")
        plan = reading.plan
        session = cls(
            _Log.reopen(log_path, reading),
            plan,
            reading.commitment,
            _Hidden(seed, order(seed, plan.protocol, plan.trials)),
        )
        session._answers = list(reading.answers)
        session._log.append({"record": "resumed", "at": _now()})
        session._close_if_complete()
        return session

    def __repr__(self) -> str:
        return f"<Session {self.plan.protocol}, {self.answered} of {self.plan.trials} answered>"

    @property
    def answered(self) -> int:
        return len(self._answers)

    @property
    def finished(self) -> bool:
        """Ended: all trials answered, or given up."""
        return not self._open

    @property
    def presentations(self) -> tuple[str, ...]:
        return PRESENTATIONS[self.plan.protocol]

    @property
    def fingerprint(self) -> str:
        """Seal of the last line of the log; at the end it stands for the whole session."""
        return self._log.seal

    def present(self, presentation: int, player: Player) -> None:
        """Let the player sound one of the presentations of this trial."""
        self._check_open()
        _check_index("presentation", presentation, len(self.presentations))
        player(self._hidden.arrangements[self.answered].plays[presentation])

    def answer(self, index: int) -> None:
        """Give the answer to this trial (an index into ANSWERS) and go to the next one.

        It is on the disk when this returns. The last one ends the session.
        """
        self._check_open()
        _check_index("answer", index, len(ANSWERS[self.plan.protocol]))
        self._log.append(
            {"record": "answer", "trial": self.answered + 1, "answer": index, "at": _now()}
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
        return _outcome(self.plan, self._hidden.seed, self._answers)

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
        right = [arrangement.right for arrangement in self._hidden.arrangements]
        self._log.append(
            {
                "record": "closing",
                "end": end,
                "correct": _score(right, self._answers),
                "seed": self._hidden.seed.hex(),
                "at": _now(),
            }
        )
        self._open = False
        self._log.close()
        _seed_path(self._log.path).unlink(missing_ok=True)


class Practice:
    """Trials with feedback and without end. Nothing is logged: practice can never be counted."""

    def __init__(self, protocol: Protocol) -> None:
        self.protocol = check_protocol(protocol)
        self.answered = 0
        self.correct = 0
        self._draw()

    def _draw(self) -> None:
        drawn = secrets.randbelow(ARRANGEMENTS[self.protocol])
        self._hidden = _Hidden(b"", (_arrange(self.protocol, drawn),))

    def present(self, presentation: int, player: Player) -> None:
        """Let the player sound one of the presentations of this trial."""
        _check_index("presentation", presentation, len(PRESENTATIONS[self.protocol]))
        player(self._hidden.arrangements[0].plays[presentation])

    def answer(self, index: int) -> Feedback:
        """Give the answer, hear whether it was right, go to the next trial."""
        _check_index("answer", index, len(ANSWERS[self.protocol]))
        right = self._hidden.arrangements[0].right
        self.answered += 1
        self.correct += index == right
        self._draw()
        return Feedback(index == right, right)


State = Literal["complete", "given up", "unfinished", "refused"]


@dataclass(frozen=True)
class Check:
    """What a log was found to be. Only a complete one without discrepancies counts."""

    path: Path
    plan: Plan | None
    state: State
    answered: int
    discrepancies: tuple[str, ...]
    remarks: tuple[str, ...]
    commitment: str
    fingerprint: str
    outcome: Outcome | None

    @property
    def sentences(self) -> tuple[str, ...]:
        """What the session asked and what came out, in plain words."""
        if self.plan is None or self.state == "refused":
            reasons = "; ".join(self.discrepancies)
            return (f"{self.path}: refused, it does not count: {reasons}.",)
        head = f"{self.path}: {self.plan.listener}, {_question(self.plan)}"
        remarks = tuple(f"{remark[0].upper()}{remark[1:]}." for remark in self.remarks)
        if self.outcome is None:
            progress = f"{self.answered} of {self.plan.trials} answered"
            return (f"{head}: {self.state}, {progress}, it does not count.", *remarks)
        return (f"{head}.", *findings(self.outcome.result), *remarks)


def verify(log_path: Path) -> Check:
    """Read a log and recompute its seals, commitment, order and score; tell each discrepancy.

    Raises TrialError only where the file cannot be read.
    """
    reading = _read(log_path)
    problems, closing = list(reading.problems), reading.closing
    outcome: Outcome | None = None
    state: State = "unfinished"
    if reading.plan is not None and closing is not None:
        state = "complete" if closing["end"] == "complete" else "given up"
        problems += _check_closing(reading, reading.plan, closing)
        if state == "complete" and not problems:
            outcome = _outcome(reading.plan, bytes.fromhex(closing["seed"]), reading.answers)
    return Check(
        path=log_path,
        plan=reading.plan,
        state="refused" if problems else state,
        answered=len(reading.answers),
        discrepancies=tuple(problems),
        remarks=tuple(reading.remarks),
        commitment=reading.commitment,
        fingerprint=reading.seal,
        outcome=outcome,
    )


def cut_off(folder: Path) -> list[Check]:
    """The sessions with logs in a folder that were cut off and can be resumed, by their names."""
    found = []
    for path in sorted(folder.glob("*.jsonl")):
        with suppress(TrialError):  # of what cannot be read
            if _seed_path(path).exists() and (check := verify(path)).state == "unfinished":
                found.append(check)
    return found


@dataclass(frozen=True)
class Pool:
    """Sessions that asked the same question, taken together."""

    plan: Plan
    """The first session's; number of trials and listener differ between sessions."""
    sessions: int
    listeners: tuple[str, ...]
    result: Result

    @property
    def sentences(self) -> tuple[str, ...]:
        """None for one session, which its own log tells."""
        if self.sessions == 1:
            return ()
        one = len(self.listeners) == 1
        who = f"1 listener ({self.listeners[0]})" if one else f"{len(self.listeners)} listeners"
        head = f"Taken together, {self.sessions} sessions by {who}: {_question(self.plan)}."
        note = (
            "All trials are taken as independent. The probability under guessing is exact however listeners "
            "differ; the other figures describe the average listener, and where listeners differ their "
            "intervals are too short."
        )
        return (head, *findings(self.result), note)


@dataclass(frozen=True)
class Summary:
    """All logs one by one, then those that count taken together by what they compared."""

    checks: tuple[Check, ...]
    repeated: tuple[Path, ...]
    """Further copies of a session that was counted already."""
    pools: tuple[Pool, ...]

    @property
    def sentences(self) -> tuple[str, ...]:
        lines = [sentence for check in self.checks for sentence in check.sentences]
        lines += [
            f"{path}: a second copy of the same session, counted once." for path in self.repeated
        ]
        lines += [sentence for pool in self.pools for sentence in pool.sentences]
        left_out = sum(check.outcome is None for check in self.checks)
        if left_out:
            lines.append(
                f"{left_out} of {len(self.checks)} logs do not count. Sessions that were broken off can bias "
                "what is left: tell how many there were."
            )
        return tuple(lines)


def summarise(log_paths: Iterable[Path]) -> Summary:
    """Verify each log and pool the complete ones that share protocol, choices, match and programme."""
    checks = tuple(verify(path) for path in log_paths)
    counted: dict[str, Check] = {}
    repeated = []
    for check in checks:
        if check.outcome is None:
            continue
        if check.commitment in counted:
            repeated.append(check.path)
        else:
            counted[check.commitment] = check
    groups: dict[tuple[object, ...], list[Check]] = {}
    for check in counted.values():
        assert check.plan is not None  # it has an outcome
        groups.setdefault(check.plan.comparison, []).append(check)
    return Summary(checks, tuple(repeated), tuple(_pool(group) for group in groups.values()))


def _pool(group: list[Check]) -> Pool:
    results = [check.outcome.result for check in group if check.outcome is not None]
    plans = [check.plan for check in group if check.plan is not None]
    correct, trials = sum(r.correct for r in results), sum(r.trials for r in results)
    if trials > MOST_TRIALS:
        raise TrialError(f"pooled trials: up to {MOST_TRIALS} can be pooled, not {trials}")
    return Pool(
        plan=plans[0],
        sessions=len(group),
        listeners=tuple(dict.fromkeys(plan.listener for plan in plans)),
        result=evaluate(correct, trials, plans[0].protocol),
    )


def _question(plan: Plan) -> str:
    a, b = (f"{choice.name} ({choice.gain_db:+.2f} dB)" for choice in plan.choices)
    return f"{plan.protocol}, {a} against {b}, level match {plan.match}, programme {plan.programme}"


# ---- order


def _stream(seed: bytes) -> Iterator[int]:
    counter = 0
    while True:
        yield from hashlib.sha256(seed + counter.to_bytes(8, "big")).digest()
        counter += 1


def _arrange(protocol: Protocol, draw: int) -> Arrangement:
    if protocol == "matched-to-sample":
        return Arrangement((0, 1, draw), draw)
    odd, twice = divmod(draw, 2)
    first, second, third = (1 - twice if place == odd else twice for place in range(3))
    return Arrangement((first, second, third), odd)


def _score(right: Iterable[int], answers: Iterable[int]) -> int:
    """Right answers so far; a session that was given up has fewer answers than trials."""
    return sum(r == a for r, a in zip(right, answers, strict=False))


def _outcome(plan: Plan, seed: bytes, answers: Iterable[int]) -> Outcome:
    right = tuple(arrangement.right for arrangement in order(seed, plan.protocol, plan.trials))
    given = tuple(answers)
    correct = _score(right, given)
    result = evaluate(correct, plan.trials, plan.protocol)
    return Outcome(seed.hex(), right, given, correct, result)


# ---- log


class _Log:
    """A log open for appending: each record is one line, on the disk before ``append`` returns."""

    def __init__(self, path: Path, descriptor: int, size: int, seal: str) -> None:
        self.path = path
        self.seal = seal
        self._descriptor = descriptor
        self._size = size

    @classmethod
    def create(cls, path: Path) -> _Log:
        flags = os.O_WRONLY | os.O_APPEND | os.O_CREAT | os.O_EXCL
        try:
            descriptor = os.open(path, flags, 0o644)
        except FileExistsError:
            raise TrialError(f"{path}: a log of that name exists; a new name is needed") from None
        except OSError as error:
            raise _cannot(path, "written", error) from None
        return cls(path, descriptor, 0, "")

    @classmethod
    def reopen(cls, path: Path, reading: _Reading) -> _Log:
        try:
            descriptor = os.open(path, os.O_WRONLY | os.O_APPEND)
            if os.fstat(descriptor).st_size == reading.size:  # nobody has gone on writing since
                os.ftruncate(descriptor, reading.whole_bytes)  # half a line was no record yet
        except OSError as error:
            raise _cannot(path, "written", error) from None
        return cls(path, descriptor, reading.whole_bytes, reading.seal)

    def append(self, record: dict[str, object]) -> None:
        self.append_body(_encode(record))

    def append_body(self, body: bytes) -> None:
        seal = _seal(self.seal, body)
        line = body + f',"seal":"{seal}"}}\n'.encode()
        try:
            if os.fstat(self._descriptor).st_size != self._size:
                raise TrialError(
                    f"{self.path}: something else wrote into this log during the session"
                )
            self._write(line)
        except OSError as error:
            raise _cannot(self.path, "written", error) from None
        self._size += len(line)
        self.seal = seal

    def _write(self, line: bytes) -> None:
        try:
            if os.write(self._descriptor, line) != len(line):
                raise OSError("the disk is full")
            os.fsync(self._descriptor)
        except OSError:
            os.ftruncate(self._descriptor, self._size)  # so that the answer can be given again
            raise

    def close(self) -> None:
        if self._descriptor >= 0:
            os.close(self._descriptor)
            self._descriptor = -1


@dataclass
class _Reading:
    """A log as far as it could be read; ``problems`` is empty only if all of it is sound."""

    problems: list[str]
    remarks: list[str]
    facts: bytes = b""
    plan: Plan | None = None
    commitment: str = ""
    answers: tuple[int, ...] = ()
    closing: dict[str, Any] | None = None
    seal: str = ""
    whole_bytes: int = 0
    size: int = 0


_RECORD: Final = re.compile(rb'^\{"record":', re.MULTILINE)
"""How a line of a log begins."""


def _read(path: Path) -> _Reading:
    try:
        content = path.read_bytes()
    except OSError as error:
        raise _cannot(path, "read", error) from None
    if content and not _RECORD.search(content):
        return _Reading(["this is no log of a listening session"], [], size=len(content))
    whole, _, torn = content.rpartition(b"\n")
    reading = _Reading([], [], whole_bytes=len(content) - len(torn), size=len(content))
    if torn:
        reading.remarks.append("the last line was cut off while it was written; it is not counted")
    lines = whole.split(b"\n") if whole else []
    if not lines:
        reading.problems.append("no opening record")
    for number, line in enumerate(lines, 1):
        try:
            _take(reading, number, line)
        except KeyError as error:
            reading.problems.append(f"line {number}: the field {error} is missing")
        except (ValueError, TypeError) as error:
            reading.problems.append(f"line {number}: {str(error)[:LONGEST_TEXT]}")
    return reading


def _take(reading: _Reading, number: int, line: bytes) -> None:
    """Add one line to what was read. Raises KeyError, ValueError or TypeError where it is unsound."""
    body, mark, rest = line.rpartition(b',"seal":')
    seal = _seal(reading.seal, body)
    stated = rest.strip(b'"}').decode("ascii", "replace")
    reading.seal = stated if _is_hex(stated, 64) else ""
    if not mark or rest != f'"{seal}"}}'.encode():
        reading.problems.append(f"line {number}: was changed, or a line before it was")
    record = _parse(line)
    kind = record["record"]
    if (number == 1) != (kind == "opening"):
        raise TrialError("the opening record is expected first, and only there")
    if reading.closing is not None:
        raise TrialError("nothing can follow the closing record")
    if kind == "opening":
        _take_opening(reading, record, body)
    elif kind == "answer":
        _take_answer(reading, record)
    elif kind == "resumed":
        reading.remarks.append(f"cut off and resumed at {_text(record, 'at')}")
    elif kind == "closing":
        _take_closing(reading, record)
    else:
        raise TrialError(f"a record {kind!r} is not known")


def _take_opening(reading: _Reading, record: dict[str, Any], body: bytes) -> None:
    if record["format"] != FORMAT:
        raise TrialError(f"the format {FORMAT!r} is expected, not {record['format']!r}")
    first, second = (Choice(choice["name"], choice["gain_db"]) for choice in record["choices"])
    reading.facts = body.rpartition(b',"commitment":')[0]
    reading.commitment = _text(record, "commitment")
    reading.plan = Plan(
        protocol=record["protocol"],
        trials=record["trials"],
        choices=(first, second),
        match=record["match"],
        programme=record["programme"],
        programme_sha256=record["programme_sha256"],
        listener=record["listener"],
    )


def _take_answer(reading: _Reading, record: dict[str, Any]) -> None:
    given = len(reading.answers)
    if record["trial"] != given + 1:
        raise TrialError(f"the answer to trial {given + 1} is expected, not to {record['trial']!r}")
    if reading.plan is not None:
        if given == reading.plan.trials:
            raise TrialError(f"an answer too many: there are {reading.plan.trials} trials")
        _check_index("answer", record["answer"], len(ANSWERS[reading.plan.protocol]))
    reading.answers += (record["answer"],)


def _take_closing(reading: _Reading, record: dict[str, Any]) -> None:
    if record["end"] not in ("complete", "given up"):
        raise TrialError(f"an end 'complete' or 'given up' is expected, not {record['end']!r}")
    if type(record["correct"]) is not int:
        raise TrialError(f"a number of right answers is expected, not {record['correct']!r}")
    if not _is_hex(record["seed"], 2 * SEED_BYTES):
        raise TrialError("a seed of 64 hexadecimal digits is expected")
    reading.closing = record


def _check_closing(reading: _Reading, plan: Plan, closing: dict[str, Any]) -> list[str]:
    seed = bytes.fromhex(closing["seed"])
    problems = []
    if commitment(seed, reading.facts) != reading.commitment:
        problems.append("the commitment is not that of this seed and these facts")
    given = len(reading.answers)
    if closing["end"] == "complete" and given != plan.trials:
        problems.append(f"{plan.trials} answers are expected, {given} are there")
    right = (arrangement.right for arrangement in order(seed, plan.protocol, plan.trials))
    correct = _score(right, reading.answers)
    if closing["correct"] != correct:
        problems.append(
            f"{closing['correct']} right answers are stated, seed and answers give {correct}"
        )
    return problems


def _facts_of(plan: Plan) -> dict[str, object]:
    return {"format": FORMAT, "version": version("auralize"), **asdict(plan)}


def _encode(record: dict[str, object]) -> bytes:
    """A record as one line of JSON in ASCII, without the closing brace: fields are added behind it."""
    return json.dumps(record, separators=(",", ":"), allow_nan=False)[:-1].encode("ascii")


def _parse(line: bytes) -> dict[str, Any]:
    try:
        record = json.loads(line)
    except (ValueError, RecursionError):
        raise TrialError("this is not JSON") from None
    if not isinstance(record, dict):
        raise TrialError("a JSON object is expected")
    return record


def _seal(previous: str, body: bytes) -> str:
    return hashlib.sha256(previous.encode() + body).hexdigest()


# ---- the seed of a session that has not ended
#
# Without it a session that is cut off would be lost, and a log that carried it would give the order
# away. So it stands in a hidden file of its own, readable by its owner only, deleted at the end. Who
# listens must keep away from it, as from the memory of the program; who does not trust that has a witness.


def _seed_path(log_path: Path) -> Path:
    return log_path.with_name(f".{log_path.name}.seed")


def _write_seed(log_path: Path, seed: bytes) -> None:
    path = _seed_path(log_path)
    try:
        path.unlink(missing_ok=True)  # its log is gone: create() has just made a new one
        descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with open(descriptor, "wb") as file:
            file.write(seed.hex().encode())
            file.flush()
            os.fsync(descriptor)
    except OSError as error:
        raise _cannot(path, "written", error) from None


def _read_seed(log_path: Path) -> bytes:
    path = _seed_path(log_path)
    try:
        text = path.read_bytes().decode("ascii", "replace")
    except FileNotFoundError:
        raise TrialError(
            f"{log_path}: this session cannot be resumed: its seed, {path.name}, is gone"
        ) from None
    except OSError as error:
        raise _cannot(path, "read", error) from None
    if not _is_hex(text, 2 * SEED_BYTES):
        raise TrialError(f"{path}: a seed of 64 hexadecimal digits is expected")
    return bytes.fromhex(text)


# ---- checks


def _now() -> str:
    return datetime.now(UTC).isoformat(timespec="milliseconds")


def _cannot(path: Path, done: str, error: OSError) -> TrialError:
    return TrialError(f"{path}: this cannot be {done}: {(error.strerror or str(error)).lower()}")


def _check_text(what: str, text: object) -> None:
    if not isinstance(text, str) or not text.strip() or not text.isprintable():
        raise TrialError(f"{what}: printable text is expected, not {text!r}")
    if len(text) > LONGEST_TEXT:
        raise TrialError(f"{what}: up to {LONGEST_TEXT} characters are expected, not {len(text)}")


def _check_index(what: str, index: object, count: int) -> None:
    if type(index) is not int or not 0 <= index < count:
        raise TrialError(f"{what}: a number from 0 to {count - 1} is expected, not {index!r}")


def _text(record: dict[str, Any], key: str) -> str:
    value = record[key]
    _check_text(key, value)
    return str(value)


def _is_hex(text: object, digits: int) -> bool:
    return isinstance(text, str) and len(text) == digits and set(text) <= set("0123456789abcdef")
