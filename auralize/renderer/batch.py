"""Sound files through the choices of a rig: one as the door has it, or several in one go."""

from __future__ import annotations

import os
from collections.abc import Callable, Generator, Iterator, Sequence
from concurrent.futures import Executor
from contextlib import closing, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Final, Literal

from auralize.circuit.signals import Signal
from auralize.circuit.solution import Across
from auralize.errors import AuralizeError, FileError, RequestError
from auralize.executors import WorkerError
from auralize.figures.rows import listed
from auralize.gains import INSTALLED, Match
from auralize.outputs import InTheWayError, is_result, made_folder
from auralize.renderer.facts import Rendered
from auralize.renderer.files import (
    Designs,
    carried_out,
    check_drops,
    prepared,
    render,
)
from auralize.renderer.job import Job
from auralize.renderer.options import RenderOptions, signals_of
from auralize.renderer.parts import Progress
from auralize.rig.choice import Choice
from auralize.rig.reading import Rig
from auralize.temporaries import sweep

if TYPE_CHECKING:
    from auralize.renderer.sent import Outcome

ENDINGS: Final = (
    ".wav",
    ".wave",
    ".flac",
    ".aif",
    ".aiff",
    ".w64",
    ".rf64",
    ".ogg",
    ".oga",
    ".mp3",
)
"""Of the files in a folder that are taken for sound."""


@dataclass
class Batch:
    """What became of several sound files."""

    done: list[Rendered] = field(default_factory=list)
    failed: list[tuple[Path, str]] = field(default_factory=list)
    """Each that could not be rendered, and the sentence that says why."""


def sounds_in(places: Sequence[Path]) -> list[Path]:
    """Sound files as they were named; of a folder those in it (not below), by name, less our results.

    Raises RequestError for a folder without any, and for files whose results would have the same names.
    """
    found: dict[str, Path] = {}
    for place in places:
        for path in _of_folder(place) if os.path.isdir(place) else [place]:
            found.setdefault(os.path.realpath(path), path)
    names: dict[str, Path] = {}
    for path in found.values():
        other = names.setdefault(path.stem.casefold(), path)
        if other != path:
            raise RequestError(
                f"{path}: its results would be called as those of {other}; give it another name, or "
                "render the two into folders of their own (--into)"
            )
    return list(found.values())


def _of_folder(folder: Path) -> list[Path]:
    try:
        inside = sorted(folder.iterdir())
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise FileError(f"{folder}: this folder cannot be read: {reason}") from None
    sounds = [
        path
        for path in inside
        if path.suffix.lower() in ENDINGS
        and not path.name.startswith(".")
        and os.path.isfile(path)
        and not is_result(path)
    ]
    if not sounds:
        raise RequestError(
            f"{folder}: this is a folder without sound files in it; give one with some"
        )
    return sounds


def render_all(
    sources: Sequence[Path],
    choices: Rig | Sequence[Choice],
    folder: Path,
    options: RenderOptions,
    progress: Progress = lambda share: None,
    told: Callable[[Rendered], None] = lambda done: None,
    executor: Executor | None = None,
    workers: Executor | None = None,
) -> Batch:
    """Each source as `render` does it, filters being designed once; one that fails does not stop the rest.

    Of those that are rendered here each is shared by ``workers``, which must see the files of this machine;
    several that are too short for that are given to one each. What ends this early ends them, too.
    Of each that is done ``told`` hears, in the order of the sources. With an ``executor`` its workers render,
    one source each at a time, and are sent the text of a Rig; the results are the same. Raises AuralizeError
    before anything is done where a file is in the way, and for a folder that cannot be made; WorkerError
    where workers are not fit or lost: what is finished then stays.
    """
    every = listed(choices)
    check_drops(every, options)
    batch = Batch()
    jobs = _prepared(sources, every, folder, options, batch)
    frames, done = sum(job.frames for job in jobs), 0
    turns = _Turns(jobs, told)
    with made_folder(folder), _swept(folder, workers), turns:
        outcomes = _outcomes(jobs, choices, folder, progress, executor, workers)
        with closing(outcomes):
            for job, outcome in outcomes:
                done += job.frames
                progress(done / frames)
                if isinstance(outcome, Rendered):
                    batch.done.append(outcome)
                else:
                    batch.failed.append((job.take.info.path, str(outcome)))
                turns.take(job, outcome)
    batch.done.sort(key=lambda rendered: sources.index(rendered.source.path))
    batch.failed.sort(key=lambda failed: sources.index(failed[0]))
    return batch


def _outcomes(
    jobs: Sequence[Job],
    choices: Rig | Sequence[Choice],
    folder: Path,
    progress: Progress,
    executor: Executor | None,
    workers: Executor | None,
) -> Generator[Outcome]:
    """What becomes of jobs, by an executor, or here; several short ones by one worker each."""
    each = len(jobs) > 1 and not any(job.shared for job in jobs)
    if executor is None and each and isinstance(choices, Rig):
        executor = workers
    if executor is None or not jobs:
        return _carried_out_here(jobs, progress, workers)
    if not isinstance(choices, Rig):
        raise RequestError("an executor's workers are sent the text of a rig; right is a Rig")
    from auralize.renderer.sent import carried_out_by  # only where workers do it

    return carried_out_by(executor, choices, jobs, folder)


@contextmanager
def _swept(folder: Path, workers: Executor | None) -> Iterator[None]:
    """Let what workers had begun that were ended from outside go, once all of them have ended."""
    try:
        yield
    except BaseException:
        if workers is not None:
            workers.shutdown(cancel_futures=True)
            sweep(folder)
        raise


class _Turns:
    """Tells what is done in the order of the jobs: each after all before it, or when workers are lost."""

    def __init__(self, jobs: Sequence[Job], told: Callable[[Rendered], None]) -> None:
        self._left, self._told = list(jobs), told
        self._outcomes: dict[int, Rendered | AuralizeError] = {}

    def take(self, job: Job, outcome: Rendered | AuralizeError) -> None:
        """What became of one; tells all whose turn has come."""
        self._outcomes[id(job)] = outcome
        while self._left and id(self._left[0]) in self._outcomes:
            self._tell(self._left.pop(0))

    def _tell(self, job: Job) -> None:
        outcome = self._outcomes.pop(id(job), None)
        if isinstance(outcome, Rendered):
            self._told(outcome)

    def __enter__(self) -> None:
        return None

    def __exit__(self, kind: type[BaseException] | None, *_: object) -> None:
        if kind is not None and issubclass(kind, WorkerError):
            for job in self._left:
                self._tell(job)


def _prepared(
    sources: Sequence[Path],
    choices: Sequence[Choice],
    folder: Path,
    options: RenderOptions,
    batch: Batch,
) -> list[Job]:
    """What can be begun; what cannot is told to the batch."""
    jobs: list[Job] = []
    for source in sources:
        try:
            job = prepared(source, choices, folder, options)
            job.check_ours()
            jobs.append(job)
        except InTheWayError:
            raise
        except AuralizeError as error:
            batch.failed.append((source, str(error)))
    return jobs


def _carried_out_here(
    jobs: Sequence[Job], progress: Progress, workers: Executor | None
) -> Generator[Outcome]:
    """One after the other, on this machine."""
    frames = sum(job.frames for job in jobs)
    designs, before = Designs(), 0
    for job in jobs:

        def share(part: float, job: Job = job, before: int = before) -> None:
            progress((before + part * job.frames) / frames)

        try:
            yield job, carried_out(job, designs, share, workers)
        except WorkerError as error:
            raise WorkerError(f"{error}; what is finished stays") from None
        except AuralizeError as error:
            yield job, error
        before += job.frames


def render_file(
    source: Path | str,
    choices: Rig | Choice | Sequence[Choice],
    folder: Path | str,
    *,
    match: Match | str | float = INSTALLED,
    signals: Sequence[Signal | Literal["source"]] = ("receiving", "drop"),
    across: Across = "both",
    makeup: float | None = None,
    replaces: bool = False,
    progress: Progress = lambda share: None,
) -> Rendered:
    """A sound file through every choice into a folder: what ``auralize render`` does.

    Parameters
    ----------
    source, folder : path, the latter made where it is not there
    choices : Rig, Choice or sequence of Choice
    match : Match, "installed", "loudness", or a frequency in Hz
    signals : sequence of {"receiving", "drop", "sending", "source"}
    across : {"both", "plus", "minus"}
        Which conductors the drops are over.
    makeup : float, optional
        dB on the drops; chosen where it is left out, one figure for all.
    replaces : bool
        Whether files that are there are replaced, whoever made them; else only what this same call made.
    progress : callable, optional
        Called with the share of the work that is done, 0 to 1.

    Returns
    -------
    Rendered
        ``outputs``: path, choice, signal, gains, loudness, true peak, filter error of each.

    Raises
    ------
    AudioFileError, FileError, RequestError
        No output appears unless it is complete.

    Examples
    --------
    >>> import auralize as au
    >>> rig = au.load_rig("saltmarsh.toml")
    >>> done = au.render_file("programme.wav", rig["reel"], "results", signals=["drop"], makeup=20)
    >>> [output.path.name for output in done.outputs]
    ['programme.reel.drop.make-up-20dB.wav']
    """
    asked = (*signals_of(signals), across, makeup)
    options = RenderOptions(Match.of(match), *asked, replaces=replaces)
    return render(Path(source), listed(choices), Path(folder), options, progress)
