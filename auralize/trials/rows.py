"""Listeners in a row on one machine: who has sat in it, and what all of them together showed."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from secrets import token_hex

from auralize.trials.checking import summarise
from auralize.trials.log import read_log
from auralize.trials.plan import ROW_DIGITS, Plan, Row, TrialError


def new_row(listeners: int) -> Row | None:
    """The first place of a row of so many; None for one listener alone; raises TrialError."""
    return None if listeners == 1 else Row(token_hex(ROW_DIGITS // 2), 1, listeners)


def logs_of(row: Row, folder: Path) -> dict[Path, Plan]:
    """The logs in a folder that are of this row, by their names."""
    found = {}
    for path in sorted(folder.glob("*.jsonl")):
        with suppress(TrialError):  # of what cannot be read
            plan = read_log(path).plan
            if plan is not None and plan.row is not None and plan.row.name == row.name:
                found[path] = plan
    return found


def next_plan(plan: Plan, listener: str, folder: Path) -> Plan:
    """The same question for the next listener of a row; raises TrialError for one who had a turn."""
    assert plan.row is not None  # of a row that goes on
    sat = {one.listener for one in logs_of(plan.row, folder).values()}
    if listener in sat:
        raise TrialError(f"{listener} has had a turn in this row; type another name")
    return replace(plan, listener=listener, row=replace(plan.row, place=plan.row.place + 1))


def told_of(row: Row, folder: Path) -> tuple[str, ...]:
    """What the listeners of a row showed so far, each in a line, then together; raises TrialError."""
    summary = summarise(logs_of(row, folder))
    each = [
        f"{check.plan.listener}: {check.outcome.correct} of {check.plan.trials} right"
        if check.outcome
        else f"{check.plan.listener}: {check.state}, not counted"
        for check in summary.checks
        if check.plan is not None
    ]
    return (*each, *(line for pool in summary.pools for line in pool.findings))
