"""Chunks of a sweep solved by the workers of an executor."""

from __future__ import annotations

from collections.abc import Generator, Iterable
from concurrent.futures import FIRST_COMPLETED, Executor, Future, wait
from dataclasses import dataclass
from itertools import islice
from typing import Final

from auralize.circuit.conductor import Real
from auralize.circuit.solution import Across
from auralize.executors import result_of
from auralize.rig.sent import SentRig
from auralize.sweep.case_figures import CaseFigures
from auralize.sweep.cases import Cases
from auralize.sweep.solving import solve_cases

AHEAD: Final = 128
"""Chunks that are sent before the first of them is back: so many workers are busy, and memory stays flat."""


@dataclass(frozen=True)
class SentCases:
    """Some cases of a sweep; of the rig all choices."""

    rig: SentRig
    cases: Cases
    first: int
    last: int
    frequency: Real
    across: Across

    def run(self) -> list[CaseFigures]:
        """Solve them, on a worker; raises RigError as `solve_cases` does, or WorkerError."""
        rig = self.rig.read()
        choices = list(rig.choices.values())
        return solve_cases(
            rig, choices, self.cases, self.first, self.last, self.frequency, self.across
        )


def solved_by(
    executor: Executor, asked: Iterable[tuple[int, SentCases]]
) -> Generator[tuple[int, list[CaseFigures]]]:
    """What comes of cases, with their numbers, as it comes; raises as `SentCases.run`."""
    coming, waiting = iter(asked), dict[Future[list[CaseFigures]], int]()
    try:
        while True:
            for number, cases in islice(coming, AHEAD - len(waiting)):
                waiting[executor.submit(cases.run)] = number
            if not waiting:
                return
            for future in wait(waiting, return_when=FIRST_COMPLETED).done:
                yield waiting.pop(future), result_of(future)
    finally:
        for future in waiting:
            future.cancel()
