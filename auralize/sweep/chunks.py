"""All cases of a sweep, some at a time: solved once, and kept until the result is whole."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import Final

import numpy as np

from auralize.circuit.conductor import Real
from auralize.circuit.solution import Across
from auralize.rig.choice import Choice
from auralize.rig.reading import Rig
from auralize.rig.sent import SentRig
from auralize.sweep.case_figures import OF_ALL, CaseFigures
from auralize.sweep.cases import Cases
from auralize.sweep.kept import Arrays, KeptChunks
from auralize.sweep.percentiles import PERCENTS, percentiles
from auralize.sweep.sent import SentCases, solved_by
from auralize.sweep.solving import CHUNK, cables_of, solve_cases

NO_CURVES: Final = np.empty(0)
CURVES: Final = ("loss_curve_db", "drop_curve_db")
_FIGURES: Final = tuple(
    field.name for field in fields(CaseFigures) if field.name not in (*OF_ALL, *CURVES)
)
_ROOM: Final = 4_000_000
# Values of a curve that are in memory at a time, 32 MB: 20 000 cases at 200 frequencies.


@dataclass(frozen=True)
class Chunks:
    """The cases of a sweep in chunks of `CHUNK`, with curves at ``frequency`` in Hz."""

    rig: Rig
    choices: Sequence[Choice]
    cases: Cases
    kept: KeptChunks
    across: Across
    frequency: Real

    @classmethod
    def beside(
        cls,
        result: Path,
        call: str,
        rig: Rig,
        choices: Sequence[Choice],
        cases: Cases,
        across: Across,
        frequency: Real,
    ) -> Chunks:
        """Kept beside the ``result`` of a ``call`` while it goes on, but for a single chunk."""
        lasting = len(cases) > CHUNK
        kept = KeptChunks(result, [call, frequency.tolist(), CHUNK], lasting)
        return cls(rig, choices, cases, kept, across, frequency)

    def __len__(self) -> int:
        return -(-len(self.cases) // CHUNK)

    @property
    def cases_kept(self) -> int:
        """How many cases are kept; of the last chunk as if it were a whole one."""
        return min((len(self) - len(self.rest)) * CHUNK, len(self.cases))

    @property
    def rest(self) -> list[int]:
        """Numbers of those that are not kept."""
        return [number for number in range(len(self)) if not self.kept.has(number)]

    def figures(
        self, progress: Callable[[float], None], executor: Executor | None = None
    ) -> list[CaseFigures]:
        """The figures of each choice in all cases, without curves; by an executor's workers, if there is one.

        ``progress`` is told the share that is done of what was not kept. Raises RigError for a value that
        the rig file could not have, FileError where nothing can be kept, WorkerError.
        """
        rest = self.rest
        for done, (number, solved) in enumerate(self._all_solved(rest, executor), 1):
            self.kept.keep(number, solved)
            progress(done / len(rest))
        wanted = [_entry(name, at) for at in range(len(self.choices)) for name in _FIGURES]
        parts = [self._arrays(number, wanted) for number in range(len(self))]
        nothing = np.empty((len(self.cases), 0))
        return [
            CaseFigures(
                choice.name,
                choice.label,
                choice.listen,
                cables_of(self.rig, choice),
                frequency=NO_CURVES,
                **dict.fromkeys(CURVES, nothing),
                **{
                    name: np.concatenate([part[_entry(name, at)] for part in parts])
                    for name in _FIGURES
                },
            )
            for at, choice in enumerate(self.choices)
        ]

    def _all_solved(
        self, numbers: Sequence[int], executor: Executor | None
    ) -> Iterator[tuple[int, Arrays]]:
        """Chunks as they are solved, with their numbers."""
        if executor is None:
            for number in numbers:
                yield number, self.solved(number)
            return
        rig = SentRig.of(replace(self.rig, choices={c.name: c for c in self.choices}))
        asked = (
            (n, SentCases(rig, self.cases, *self._bounds(n), self.frequency, self.across))
            for n in numbers
        )
        for number, solved in solved_by(executor, asked):
            yield number, dict(entries(solved))

    def _bounds(self, number: int) -> tuple[int, int]:
        """Of a chunk: its first case, and the first of the next."""
        return number * CHUNK, min((number + 1) * CHUNK, len(self.cases))

    def curve_percentiles(
        self, choice: int, curve: str, percents: Sequence[int] = PERCENTS
    ) -> Real:
        """`percentiles` of one of `CURVES`, shape (percents, frequencies), in memory that is flat."""
        width, name, found = max(_ROOM // len(self.cases), 1), _entry(curve, choice), []
        for low in range(0, len(self.frequency), width):
            values = np.empty((len(self.cases), len(self.frequency[low : low + width])))
            for number in range(len(self)):
                some = self._arrays(number, [name])[name]
                values[number * CHUNK :][: len(some)] = some[:, low : low + width]
            found.append(percentiles(values, percents))
        return np.concatenate(found, axis=1)

    def solved(self, number: int) -> Arrays:
        """All arrays of one chunk; what it comes to depends on nothing but rig, cases and number."""
        bounds = self._bounds(number)
        solved = solve_cases(
            self.rig, self.choices, self.cases, *bounds, self.frequency, self.across
        )
        return dict(entries(solved))

    def _arrays(self, number: int, names: Sequence[str]) -> Arrays:
        """These of one chunk; solved once more, and kept, where they are not whole."""
        found = self.kept.taken(number, names)
        if found is None:
            found = self.solved(number)
            self.kept.keep(number, found)
        return found


def _entry(name: str, choice: int) -> str:
    return f"{name}-{choice}"


def entries(solved: Sequence[CaseFigures]) -> Iterator[tuple[str, Real]]:
    for at, one in enumerate(solved):
        for name in (*_FIGURES, *CURVES):
            yield _entry(name, at), getattr(one, name)
