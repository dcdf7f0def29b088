"""Reading logs: each one checked, then those that count taken together by what they compared."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

from auralize.trials.log import check_closing, in_use, read_log
from auralize.trials.plan import Outcome, Plan, TrialError, outcome_of
from auralize.trials.seeds import share_apart, share_beside
from auralize.trials.statistics import MOST_TRIALS, Result, evaluate, findings

LogState = Literal["complete", "given up", "unfinished", "refused"]


@dataclass(frozen=True)
class Check:
    """What a log was found to be. Only a complete one without discrepancies counts."""

    path: Path
    plan: Plan | None
    state: LogState
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
        told = self.plan.difference
        size = (f"{told[0].upper()}{told[1:]}.",) if told else ()
        return (f"{head}.", *size, *findings(self.outcome.result), *remarks)


def verify(log_path: Path) -> Check:
    """Read a log and recompute its seals, commitment, order and score; tell each discrepancy.

    Raises TrialError only where the file cannot be read.
    """
    reading = read_log(log_path)
    problems, closing = list(reading.problems), reading.closing
    outcome: Outcome | None = None
    state: LogState = "unfinished"
    if reading.plan is not None and closing is not None:
        state = "complete" if closing["end"] == "complete" else "given up"
        problems += check_closing(reading, reading.plan, closing)
        if state == "complete" and not problems:
            outcome = outcome_of(reading.plan, bytes.fromhex(closing["seed"]), reading.answers)
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
        with suppress(TrialError, OSError):  # of what cannot be read
            if not (share_beside(path).is_file() and path.is_file()) or in_use(path):
                continue
            check = verify(path)
            if check.state == "unfinished" and share_apart(check.commitment).is_file():
                found.append(check)
    return found


@dataclass(frozen=True)
class Pool:
    """Sessions that asked the same question, taken together."""

    plan: Plan
    """The first session's; number of trials and listener differ between sessions."""
    sessions: int
    missing: int
    """Sessions of rows that were begun with more listeners."""
    listeners: tuple[str, ...]
    result: Result

    @property
    def sentences(self) -> tuple[str, ...]:
        """Of one session only who is missing after it: its own log tells the rest."""
        if self.sessions == 1:
            return self._absent
        one = len(self.listeners) == 1
        who = f"1 listener ({self.listeners[0]})" if one else f"{len(self.listeners)} listeners"
        head = f"Taken together, {self.sessions} sessions by {who}: {_question(self.plan)}."
        return (head, *self.findings)

    @property
    def findings(self) -> tuple[str, ...]:
        """What they showed, how to take it, and who is missing."""
        note = (
            "All trials are taken as independent. The probability under guessing is exact however listeners "
            "differ; the other figures describe the average listener, and where listeners differ their "
            "intervals are too short."
        )
        several = (note,) if self.sessions > 1 else ()
        return (*findings(self.result), *several, *self._absent)

    @property
    def _absent(self) -> tuple[str, ...]:
        if not self.missing:
            return ()
        more = "listener was" if self.missing == 1 else "listeners were"
        return (
            f"{self.missing} more {more} to follow in a row and cannot be counted: who stays away, or "
            "stops early, can bias what is left.",
        )


@dataclass(frozen=True)
class Summary:
    """All logs one by one, then those that count taken together by what they compared."""

    checks: tuple[Check, ...]
    repeated: tuple[Path, ...]
    """Further copies of a session that was counted already."""
    pools: tuple[Pool, ...]

    @property
    def sentences(self) -> tuple[str, ...]:
        """Each log, what was counted once, each pool, and how many do not count."""
        lines = [sentence for check in self.checks for sentence in check.sentences]
        lines += [
            f"{path}: a second copy of the same session, counted once." for path in self.repeated
        ]
        lines += [sentence for pool in self.pools for sentence in pool.sentences]
        if len(self.pools) > 1:
            lines.append(
                f"These logs ask {len(self.pools)} different questions (protocol, choices, match or "
                "programme differ); only those that ask the same are taken together."
            )
        left_out = sum(check.outcome is None for check in self.checks)
        if left_out and any(check.plan for check in self.checks):
            lines.append(
                f"{left_out} of {len(self.checks)} logs do not count. Sessions that were broken off can bias "
                "what is left: tell how many there were."
            )
        return tuple(lines)


def summarise(log_paths: Iterable[Path]) -> Summary:
    """Verify each log and pool the complete ones that share protocol, choices, match and programme."""
    checks = _without_twins([verify(path) for path in log_paths])
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


def _without_twins(checks: list[Check]) -> tuple[Check, ...]:
    """The checks, those refused that are of the same session and differ: one of them shows its order."""
    seals: dict[str, set[str]] = {}
    for check in checks:
        seals.setdefault(check.commitment, set()).add(check.fingerprint)
    twins = "another log of the same session differs from this one"
    return tuple(
        replace(check, state="refused", discrepancies=(*check.discrepancies, twins), outcome=None)
        if check.commitment and len(seals[check.commitment]) > 1
        else check
        for check in checks
    )


def _pool(group: list[Check]) -> Pool:
    results = [check.outcome.result for check in group if check.outcome is not None]
    plans = [check.plan for check in group if check.plan is not None]
    correct, trials = sum(r.correct for r in results), sum(r.trials for r in results)
    if trials > MOST_TRIALS:
        raise TrialError(f"pooled trials: up to {MOST_TRIALS} can be pooled, not {trials}")
    return Pool(
        plan=plans[0],
        sessions=len(group),
        missing=_missing(plans),
        listeners=tuple(dict.fromkeys(plan.listener for plan in plans)),
        result=evaluate(correct, trials, plans[0].protocol),
    )


def _missing(plans: Sequence[Plan]) -> int:
    rows = [plan.row for plan in plans if plan.row is not None]
    sat = Counter(row.name for row in rows)
    wanted = {row.name: row.listeners for row in rows}
    return sum(max(0, listeners - sat[name]) for name, listeners in wanted.items())


def _question(plan: Plan) -> str:
    a, b = (f"{c.name} ({c.built}; {c.gain_db:+.2f} dB)" for c in plan.choices)
    protocol = plan.protocol.replace("-", " ")
    return f"{protocol}, {a} against {b}, {plan.match}, programme {plan.programme}"
