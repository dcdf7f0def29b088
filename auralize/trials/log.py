"""The log of a session: one JSON record a line, only ever appended to, each line sealed.

What a witness needs besides the order (see `auralize.trials.plan`), in any language:

- Seed: 32 random bytes, drawn at the start, in the log only at the end (``seed``, hexadecimal).
- Commitment: SHA-256 of the seed followed by the facts. The facts are the bytes of the log's first line
  before ``,"commitment":``. It can be noted down before the first answer: it binds seed and facts.
- Seal of a line: its last field ``seal`` is SHA-256 of the seal of the line before (64 letters; none for
  the first line) followed by the bytes of this line before ``,"seal":``.

A log with ``"held":"page"`` among its facts is of a page that was handed over: its listener had the seed in
the memory of a browser, in one piece.

Seals show every change in a log that was not made with their recalculation in mind. Against a forger
who rewrites a log to its end, note the fingerprint (the last seal) when the session ends.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import sys
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final

from auralize.files import read_bounded
from auralize.outputs import VERSION
from auralize.trials.plan import (
    ANSWERS,
    FORMAT,
    LONGEST_TEXT,
    SEED_BYTES,
    Compared,
    Plan,
    Row,
    TrialError,
    check_index,
    check_text,
    commitment,
    is_hex,
    order,
    score,
)


class Log:
    """A log open for appending: each record is one line, on the disk before ``append`` returns."""

    def __init__(self, path: Path, descriptor: int, size: int, seal: str) -> None:
        self.path = path
        self.seal = seal
        self._descriptor = descriptor
        self._size = size

    @classmethod
    def create(cls, path: Path) -> Log:
        """Open a new, empty log; raises TrialError where one exists or cannot be written."""
        flags = os.O_WRONLY | os.O_APPEND | os.O_CREAT | os.O_EXCL
        try:
            descriptor = os.open(path, flags, 0o644)
        except FileExistsError:
            raise TrialError(f"{path}: a log of that name exists; a new name is needed") from None
        except OSError as error:
            raise _cannot(path, "written", error) from None
        log = cls(path, descriptor, 0, "")
        log._lock()
        return log

    @classmethod
    def reopen(cls, path: Path, reading: Reading) -> Log:
        """Go on with a log that was read, half a line at its end dropped; raises TrialError."""
        try:
            descriptor = os.open(path, os.O_WRONLY | os.O_APPEND)
            log = cls(path, descriptor, reading.whole_bytes, reading.seal)
            log._lock()
            if os.fstat(descriptor).st_size == reading.size:  # nobody has gone on writing since
                os.ftruncate(descriptor, reading.whole_bytes)  # half a line was no record yet
        except OSError as error:
            raise _cannot(path, "written", error) from None
        return log

    def _lock(self) -> None:
        """Keep the log from being gone on with elsewhere; raises TrialError where it is already."""
        if not _locked(self._descriptor):
            self.close()
            raise TrialError(f"{self.path}: this session is going on in another bench")

    def append(self, record: dict[str, object]) -> None:
        """Write one record; raises TrialError where it could not be, and then the log is as it was."""
        self.append_body(encode(record))

    def append_body(self, body: bytes) -> None:
        """Write a record as `encode` gives it; see `append`."""
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
        """Let go of the file; a second time does nothing."""
        if self._descriptor >= 0:
            os.close(self._descriptor)
            self._descriptor = -1


def _locked(descriptor: int) -> bool:
    """Lock a file until it is closed, where that can be done (POSIX); False where another has."""
    if sys.platform != "win32":
        import fcntl

        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            return False
    return True


def in_use(log_path: Path) -> bool:
    """True while a session writes this log."""
    with log_path.open("ab") as file:
        return not _locked(file.fileno())


@dataclass
class Reading:
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


ON_PAGE: Final = "page"
"""Where a session was held, if not on the bench."""
MOST_BYTES: Final = 20_000_000  # the log of the most trials there can be has some 2 MB
_RECORD: Final = re.compile(rb'^\{"record":', re.MULTILINE)
"""How a line of a log begins."""


def read_log(path: Path) -> Reading:
    """All that a log says and all that is wrong with it; raises TrialError where it cannot be read."""
    try:
        content = read_bounded(path, MOST_BYTES)
    except OSError as error:
        raise _cannot(path, "read", error) from None
    if content and not _RECORD.search(content):
        return Reading(["this is no log of a listening session"], [], size=len(content))
    whole, _, torn = content.rpartition(b"\n")
    reading = Reading([], [], whole_bytes=len(content) - len(torn), size=len(content))
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
        except (ValueError, TypeError, OverflowError) as error:
            reading.problems.append(f"line {number}: {str(error)[:LONGEST_TEXT]}")
    return reading


def _take(reading: Reading, number: int, line: bytes) -> None:
    """Add one line to what was read. Raises KeyError, ValueError or TypeError where it is unsound."""
    body, _, rest = line.rpartition(b',"seal":')
    seal = _seal(reading.seal, body)
    stated = rest.strip(b'"}').decode("ascii", "replace")
    reading.seal = stated if is_hex(stated, 64) else ""
    if rest != f'"{seal}"}}'.encode():
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


def _take_opening(reading: Reading, record: dict[str, Any], body: bytes) -> None:
    if record["format"] != FORMAT:
        raise TrialError(f"the format {FORMAT!r} is expected, not {record['format']!r}")
    first, second = (
        Compared(choice["name"], choice["gain_db"], choice["built"], choice["rig_sha256"])
        for choice in record["choices"]
    )
    reading.facts = body.rpartition(b',"commitment":')[0]
    reading.commitment = _text(record, "commitment")
    if (held := record.get("held", ON_PAGE)) != ON_PAGE:
        raise TrialError(
            f"a session held on a {ON_PAGE!r} or on the bench is expected, not {held!r}"
        )
    if not is_hex(reading.commitment, 64):
        raise TrialError("a commitment of 64 hexadecimal digits is expected")
    reading.plan = Plan(
        protocol=record["protocol"],
        trials=record["trials"],
        choices=(first, second),
        match=record["match"],
        programme=record["programme"],
        programme_sha256=record["programme_sha256"],
        listener=record["listener"],
        difference=record.get("difference", ""),  # older logs have neither
        row=_row(record.get("row")),
    )
    if "held" in record:
        reading.remarks.append("held on a page, where who runs it could have read the order")


def _row(record: Any) -> Row | None:
    return None if record is None else Row(record["name"], record["place"], record["listeners"])


def _take_answer(reading: Reading, record: dict[str, Any]) -> None:
    given = len(reading.answers)
    if record["trial"] != given + 1:
        raise TrialError(f"the answer to trial {given + 1} is expected, not to {record['trial']!r}")
    if reading.plan is not None:
        if given == reading.plan.trials:
            raise TrialError(f"an answer too many: there are {reading.plan.trials} trials")
        check_index("answer", record["answer"], len(ANSWERS[reading.plan.protocol]))
    reading.answers += (record["answer"],)


def _take_closing(reading: Reading, record: dict[str, Any]) -> None:
    if record["end"] not in ("complete", "given up"):
        raise TrialError(f"an end 'complete' or 'given up' is expected, not {record['end']!r}")
    if type(record["correct"]) is not int:
        raise TrialError(f"a number of right answers is expected, not {record['correct']!r}")
    if not is_hex(record["seed"], 2 * SEED_BYTES):
        raise TrialError("a seed of 64 hexadecimal digits is expected")
    reading.closing = record


def check_closing(reading: Reading, plan: Plan, closing: dict[str, Any]) -> list[str]:
    """What of seed, commitment, number of answers and score contradicts the rest of the log."""
    seed = bytes.fromhex(closing["seed"])
    problems = []
    if commitment(seed, reading.facts) != reading.commitment:
        problems.append("the commitment is not that of this seed and these facts")
    given = len(reading.answers)
    if closing["end"] == "complete" and given != plan.trials:
        problems.append(f"{plan.trials} answers are expected, {given} are there")
    right = (arrangement.right for arrangement in order(seed, plan.protocol, plan.trials))
    correct = score(right, reading.answers)
    if closing["correct"] != correct:
        problems.append(
            f"{closing['correct']} right answers are stated, seed and answers give {correct}"
        )
    return problems


def facts_of(plan: Plan) -> dict[str, object]:
    """The fields of the opening record that the commitment binds, but for its time."""
    return {"format": FORMAT, "version": VERSION, **asdict(plan)}


def encode(record: dict[str, object]) -> bytes:
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


def now() -> str:
    """The time in UTC, ISO 8601 to the millisecond."""
    return datetime.now(UTC).isoformat(timespec="milliseconds")


def _cannot(path: Path, done: str, error: OSError) -> TrialError:
    return TrialError(f"{path}: this cannot be {done}: {(error.strerror or str(error)).lower()}")


def _text(record: dict[str, Any], key: str) -> str:
    value = record[key]
    check_text(key, value)
    return str(value)
