"""A source rendered by a worker of an executor, in another thread, process or machine.

All of them share the folders of sources and results, under the same paths. A hidden file among the
results says that they are wanted: who does not see it has other folders, who sees it no more stops.
"""

from __future__ import annotations

import os
import time
from collections.abc import Collection, Generator, Iterator, Sequence
from concurrent.futures import Executor, Future, as_completed, wait
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import Final

from auralize.errors import AuralizeError, FileError
from auralize.executors import PATIENCE, THIS, WorkerError, result_of
from auralize.outputs import today
from auralize.renderer.facts import Rendered
from auralize.renderer.files import Designs, carried_out, prepared
from auralize.renderer.job import Job
from auralize.renderer.options import RenderOptions
from auralize.renderer.watched import StoppedError
from auralize.rig.reading import Rig
from auralize.rig.sent import SentRig
from auralize.temporaries import temporary_beside

EVERY: Final = 0.2
"""s between two looks at whether a result is still wanted."""


@dataclass(frozen=True)
class SentJob:
    """One source, what is to be made of it, and where that goes; paths are absolute."""

    rig: SentRig
    source: Path
    changed: tuple[int, int] | None
    """Bytes of the source, and s when it was last changed."""
    folder: Path
    options: RenderOptions
    day: str
    wanted: Path
    """Is there for as long as the results are wanted."""

    def run(self) -> Rendered:
        """Render it, on a worker; raises AuralizeError, and WorkerError where that worker cannot do any."""
        self._check_shared()
        choices = list(self.rig.read().choices.values())
        job = prepared(self.source, choices, self.folder, self.options)
        return carried_out(
            replace(job, day=self.day), _designs(self.rig), _WhileWanted(self.wanted)
        )

    def _check_shared(self) -> None:
        for path, same in (
            (self.folder, os.path.exists(self.wanted)),
            (self.source, _changed(self.source) == self.changed),
        ):
            if not same:
                raise WorkerError(
                    f"the worker on {THIS} does not find {path} as it is for the machine that asks; right "
                    "is a folder that all machines share, under the same path"
                )


def _changed(path: Path) -> tuple[int, int] | None:
    try:
        status = path.stat()
    except OSError:
        return None
    return status.st_size, int(status.st_mtime)


@lru_cache(maxsize=1)
def _designs(rig: SentRig) -> Designs:
    """The same for all sources that a worker is sent with a rig."""
    return Designs()


class _WhileWanted:
    """The `progress` of a job that stops once its results are not wanted any more."""

    def __init__(self, wanted: Path) -> None:
        self._wanted, self._looked = wanted, time.monotonic()

    def __call__(self, share: float) -> None:
        now = time.monotonic()
        if now - self._looked >= EVERY:
            self._looked = now
            if not os.path.exists(self._wanted):
                raise StoppedError("the render was stopped; nothing was written")


Outcome = tuple[Job, Rendered | AuralizeError]
"""What became of a job."""


def carried_out_by(
    executor: Executor, rig: Rig, jobs: Sequence[Job], folder: Path
) -> Generator[Outcome]:
    """Each job and what became of it, as they are done; all are of that rig, with all of its choices.

    Whatever ends this early (Ctrl-C, a worker that is not fit) stops all workers. Raises WorkerError, and
    what a broken executor raises.
    """
    sent, waiting = SentRig.of(rig), dict[Future[Rendered], Job]()
    there = {path for job in jobs for path in job.paths.values() if os.path.lexists(path)}
    with _flag(folder.absolute()) as wanted:
        try:
            for job in jobs:
                waiting[executor.submit(_sent(job, sent, wanted).run)] = job
            for future in as_completed(waiting):
                yield waiting[future], _outcome(waiting[future], future, there)
        finally:
            wanted.unlink(missing_ok=True)
            wait(waiting, PATIENCE)
            for future in waiting:
                future.cancel()


@contextmanager
def _flag(folder: Path) -> Iterator[Path]:
    """A file that says that results in this folder are wanted."""
    flag = temporary_beside(folder / "flag")
    try:
        try:
            flag.touch()
        except OSError as error:
            reason = (error.strerror or str(error)).lower()
            raise FileError(f"{folder}: in this folder nothing can be written: {reason}") from None
        yield flag
    finally:
        flag.unlink(missing_ok=True)


def _sent(job: Job, rig: SentRig, wanted: Path) -> SentJob:
    source = job.take.info.path.absolute()
    return SentJob(rig, source, _changed(source), wanted.parent, job.options, today(), wanted)


def _outcome(
    job: Job, future: Future[Rendered], there: Collection[Path]
) -> Rendered | AuralizeError:
    """With paths as they were given here; those replaced that were there before anything was sent."""
    try:
        done = result_of(future)
    except WorkerError as error:
        raise WorkerError(f"{error}; what is finished stays") from None
    except AuralizeError as error:
        return error
    names = {path.name: path for path in job.paths.values()}
    outputs = tuple(replace(output, path=names[output.path.name]) for output in done.outputs)
    replaced = tuple(output.path for output in outputs if output.path in there)
    return replace(done, source=job.take.info, outputs=outputs, replaced=replaced)
