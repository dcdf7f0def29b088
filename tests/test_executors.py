"""Several sounds rendered by workers: the same as without, whoever works, and whoever dies at it."""

from __future__ import annotations

import concurrent.futures
import errno
import io
import logging
import os
import shutil
import signal
import sys
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import (
    CancelledError,
    Executor,
    Future,
    ProcessPoolExecutor,
    ThreadPoolExecutor,
)
from contextlib import nullcontext, suppress
from dataclasses import replace
from multiprocessing import active_children
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile as sf

from auralize import executors
from auralize.commands import sweep
from auralize.commands.main import main
from auralize.errors import AuralizeError, RequestError
from auralize.executors import WorkerError, cluster
from auralize.renderer import sent as renderer_sent
from auralize.renderer import text
from auralize.renderer.batch import Batch, render_all
from auralize.renderer.facts import Rendered
from auralize.renderer.options import RenderOptions
from auralize.rig import sent
from auralize.rig.reading import Rig, load_rig
from auralize.rig.sent import SentRig
from auralize.sweep import chunks
from auralize.sweep import sent as sweep_sent
from auralize.sweep.asked import AskedSweep
from auralize.sweep.sent import SentCases
from auralize.sweep.solving import solve_cases
from support.cluster import FORKED, Cluster
from support.command import RATE, RIG, tone

SOUNDS = ("bells", "gulls", "rope")
CASES = (
    *("sweep", "sluice.toml", "--steps", "runs.path.length = 20 m, 100 m, 200 m", "--draws", "14"),
    *("--tolerance", "cables.thin.resistance = 10 ohm/km +- 5 %", "--into"),
)
IMPEDANCE = "# Hz ohm degrees\n20 8 0\n500 8 0\n5000 8 0\n20000 8 0\n"


class Mill:
    """A rig with a measured loudspeaker, sounds, and what comes of them without any executor."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        (folder / "load.txt").write_text(IMPEDANCE)
        rig = RIG.replace(
            'type = "resistor"\nresistance = "8 ohm"',
            'type = "measured"\nnominal = "8 ohm"\nfile = "load.txt"',
        )
        (folder / "sluice.toml").write_text(rig)
        self.rig: Rig = load_rig(folder / "sluice.toml")
        self.sources = [folder / f"{name}.wav" for name in SOUNDS]
        for number, path in enumerate(self.sources, start=1):
            sf.write(path, tone() / number, RATE, subtype="PCM_24")
        self.hour = folder / "hour.wav"
        silence(self.hour, 3600)
        self.alone = self.render("alone")
        self.wanted = held(folder / "alone")

    def render(self, into: str, executor: Executor | None = None, **named: Any) -> Batch:
        folder = self.folder / into
        return render_all(
            self.sources, self.rig, folder, RenderOptions(), executor=executor, **named
        )


def silence(path: Path, seconds: int) -> None:
    """A sound file of 16 bits that takes no time to write: it is a hole behind its header."""
    sf.write(path, np.zeros(0), RATE, subtype="PCM_16")
    header, data = bytearray(path.read_bytes()), 2 * RATE * seconds
    header[4:8], header[-4:] = ((size + data).to_bytes(4, "little") for size in (36, 0))
    path.write_bytes(header)
    os.truncate(path, len(header) + data)
    assert sf.info(path).frames == RATE * seconds


def held(folder: Path) -> dict[str, bytes]:
    """All that is in a folder, hidden files too."""
    return {path.name: path.read_bytes() for path in folder.iterdir()}


@pytest.fixture(scope="module")
def mill(tmp_path_factory: pytest.TempPathFactory) -> Mill:
    return Mill(tmp_path_factory.mktemp("mill"))


@pytest.fixture
def in_eights(mill: Mill, monkeypatch: pytest.MonkeyPatch) -> dict[str, bytes]:
    """42 cases in chunks of eight, in the rig's folder; what comes of them without any executor, as only 43
    would be many."""
    monkeypatch.setattr(chunks, "CHUNK", 8)
    monkeypatch.setattr(sweep, "MANY", 43)
    monkeypatch.setattr(executors, "Processes", None)
    monkeypatch.setattr(executors, "processors", lambda: 2)
    monkeypatch.chdir(mill.folder)
    if not Path("cases").exists():
        assert main([*CASES, "cases"]) == 0
    return held(Path("cases"))


def threads() -> Executor:
    return ThreadPoolExecutor(2)


def processes() -> Executor:
    return ProcessPoolExecutor(1, FORKED)


@pytest.mark.parametrize("kind", [threads, processes])
def test_results_are_the_same_and_told_in_order_by_any_executor(
    mill: Mill, kind: Callable[[], Executor], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Though the last source is done first."""
    monkeypatch.setattr(renderer_sent, "as_completed", lambda waiting: reversed([*waiting]))
    told, shares = list[Rendered](), list[float]()
    with kind() as executor:
        batch = mill.render(kind.__name__, executor, told=told.append, progress=shares.append)
    folder = mill.folder / kind.__name__
    assert held(folder) == mill.wanted
    assert [done.source for done in batch.done] == [done.source for done in mill.alone.done]
    for done, alone in zip(batch.done, mill.alone.done, strict=True):
        assert [output.gains for output in done.outputs] == [
            output.gains for output in alone.outputs
        ]
        assert [output.path for output in done.outputs] == [
            folder / output.path.name for output in alone.outputs
        ]
    assert [done.source.path for done in told] == mill.sources
    assert shares == sorted(shares)
    assert shares[-1] == 1.0


def test_where_a_worker_is_lost_all_that_is_done_is_told(
    mill: Mill, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(renderer_sent, "as_completed", lambda waiting: reversed([*waiting]))
    told, first = list[Rendered](), mill.sources[0]
    lost = Elsewhere(lambda job: job.source == first and os.utime(first, (2, 2)))
    with pytest.raises(WorkerError, match=f"{first.name} as it is .*; what is finished stays"):
        mill.render("lost-last", lost, told=told.append)
    assert [done.source.path for done in told] == mill.sources[1:]


# --- a cluster of dask -----------------------------------------------------------------------------


@pytest.fixture(scope="module")
def machines(mill: Mill) -> Iterator[Cluster]:
    """The first of its workers dies when half of the results of its first source have their names."""
    made = Cluster(strike=2 + len(mill.alone.done[0].outputs))
    yield made
    made.close()


def test_a_worker_that_is_killed_half_way_makes_no_difference(
    mill: Mill, machines: Cluster
) -> None:
    told = list[Rendered]()
    with cluster(machines.address) as executor:
        batch = mill.render("cluster", executor, told=told.append)
    machines.workers[0].join(60)
    assert [worker.exitcode for worker in machines.workers] == [-signal.SIGKILL, None, None]
    assert held(mill.folder / "cluster") == mill.wanted
    assert (len(batch.done), batch.failed) == (len(SOUNDS), [])
    assert [done.source.path for done in told] == mill.sources
    assert not any(done.replaced for done in batch.done)


def test_workers_of_another_version_are_refused_before_anything_is_sent(
    machines: Cluster, monkeypatch: pytest.MonkeyPatch
) -> None:
    found = executors.makers()
    monkeypatch.setattr(executors, "makers", lambda: {**found, "scipy": "9.9"})
    with pytest.raises(
        WorkerError, match=rf"has scipy {found['scipy']}, and the machine that asks scipy 9\.9"
    ):
        cluster(machines.address).__enter__()


def test_a_worker_that_is_killed_at_its_cases_makes_no_difference(
    in_eights: dict[str, bytes], machines: Cluster
) -> None:
    assert main([*CASES, "cases-cluster", "--scheduler", machines.address]) == 0
    machines.workers[1].join(60)
    assert machines.workers[1].exitcode == -signal.SIGKILL
    assert machines.workers[2].exitcode is None
    assert held(Path("cases-cluster")) == in_eights


def test_dask_says_nothing_beside_us(machines: Cluster) -> None:
    """A traceback, if the scheduler is lost at a certain moment; pytest has taken dask's own handler away."""
    logger, logged = logging.getLogger("distributed.client"), io.StringIO()
    handler = logging.StreamHandler(logged)
    logger.addHandler(handler)
    with cluster(machines.address):
        logger.error("within")
    logger.error("afterwards")
    logger.removeHandler(handler)
    assert logged.getvalue() == "afterwards\n"


def test_a_scheduler_that_is_lost_is_a_sentence_and_what_is_finished_stays(
    mill: Mill,
    machines: Cluster,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """It is killed when the first source is told, and another will not be done for long."""

    def told(done: Rendered, *, alone: bool) -> str:
        machines.scheduler.kill()
        return f"told: {done.source.path.name}"

    monkeypatch.setattr(text, "as_gains", told)
    monkeypatch.chdir(mill.folder)
    sounds = [path.name for path in (*mill.sources, mill.hour)]
    asked = ("render", "sluice.toml", *sounds, "--into", "lost")
    assert main([*asked, "--scheduler", machines.address]) == 2
    said = capsys.readouterr()
    assert said.err == ("auralize: the scheduler of the workers was lost; what is finished stays\n")
    named = {line.removeprefix("told: ").removesuffix(".wav") for line in said.out.splitlines()}
    assert named
    # A worker may just be taking away what it had begun.
    left = {path.name: path.read_bytes() for path in (mill.folder / "lost").glob("[!.]*")}
    assert named <= {name.partition(".")[0] for name in left}
    assert left.items() <= mill.wanted.items()
    monkeypatch.setattr(executors, "PATIENCE", 0.2)
    assert main([*asked, "--scheduler", machines.address]) == 2
    assert capsys.readouterr().err.startswith("auralize: no scheduler answers at tcp://127.0.0.1:")


def test_without_dask_a_sentence_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(RequestError, match="pip install distributed"):
        cluster("tcp://127.0.0.1:1").__enter__()


# --- sweeps ----------------------------------------------------------------------------------------


def test_cases_that_are_sent_have_the_same_curves(mill: Mill) -> None:
    asked = AskedSweep(steps=["runs.path.length = 20 m, 100 m"], tolerances=[CASES[7]], draws=4)
    choices, frequency = mill.rig.pick([]), np.array([30.0, 3000.0])
    cases = asked.cases(mill.rig, choices)
    found = SentCases(SentRig.of(mill.rig), cases, 2, 7, frequency, "both").run()
    for one, here in zip(
        found, solve_cases(mill.rig, choices, cases, 2, 7, frequency), strict=True
    ):
        assert one.loss_curve_db.shape == (5, 2)
        np.testing.assert_array_equal(one.loss_curve_db, here.loss_curve_db)
        np.testing.assert_array_equal(one.drop_curve_db, here.drop_curve_db)


def test_a_sweep_is_the_same_by_threads(
    in_eights: dict[str, bytes], monkeypatch: pytest.MonkeyPatch
) -> None:
    with threads() as executor:
        monkeypatch.setattr(executors, "cluster", lambda _: nullcontext(executor))
        assert main([*CASES, "cases-threads", "--scheduler", "tcp://127.0.0.1:8786"]) == 0
    assert held(Path("cases-threads")) == in_eights


def test_a_long_sweep_is_the_same_by_all_processors(
    in_eights: dict[str, bytes], monkeypatch: pytest.MonkeyPatch
) -> None:
    begun = []

    def by_one() -> Executor:
        begun.append(processes())
        return begun[-1]

    monkeypatch.setattr(executors, "Processes", by_one)
    monkeypatch.setattr(executors, "processors", lambda: 2)
    monkeypatch.setattr(sweep, "MANY", 42)
    assert main([*CASES, "cases-many"]) == 0
    assert len(begun) == 1
    assert held(Path("cases-many")) == in_eights


def _beginning(telling: Connection) -> None:
    with executors.Processes() as pool:
        telling.send(pool.submit(os.getpid).result())
        time.sleep(60.0)


def runs(process: int) -> bool:
    """Whether it has not ended; nobody need have asked yet how it did."""
    try:
        status = Path(f"/proc/{process}/stat").read_text()
    except OSError:
        return False
    return status.rpartition(")")[2].split()[0] != "Z"


@pytest.mark.skipif(not Path("/proc").is_dir(), reason="asks /proc for processes")
def test_processes_end_with_the_one_that_began_them_though_it_is_killed() -> None:
    reading, writing = FORKED.Pipe(duplex=False)
    parent = FORKED.Process(target=_beginning, args=(writing,))
    parent.start()
    child = reading.recv()
    assert runs(child)
    parent.kill()
    parent.join()
    deadline = time.monotonic() + 30.0
    while runs(child) and time.monotonic() < deadline:
        time.sleep(0.01)
    assert not runs(child)


def test_processes_leave_ctrl_c_to_their_parent_and_end_when_told(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(threading, "active_count", lambda: 1)
    before = signal.signal(signal.SIGTERM, signal.SIG_IGN)
    try:
        with executors.Processes() as pool:
            assert pool.submit(signal.getsignal, signal.SIGINT).result() == signal.SIG_IGN
            assert pool.submit(signal.getsignal, signal.SIGTERM).result() == signal.SIG_DFL
    finally:
        signal.signal(signal.SIGTERM, before)


@pytest.mark.parametrize("stopped", [False, True])
def test_work_that_waits_is_done_unless_all_is_stopped(
    monkeypatch: pytest.MonkeyPatch, stopped: bool
) -> None:
    monkeypatch.setattr(threading, "active_count", lambda: 1)
    monkeypatch.setattr(executors, "processors", lambda: 1)
    given: list[Future[None]] = []
    with suppress(KeyboardInterrupt), executors.Processes() as pool:
        given += [pool.submit(time.sleep, 0.03) for _ in range(6)]
        if stopped:
            raise KeyboardInterrupt
    assert given[0].done()
    assert given[-1].cancelled() is stopped
    with executors.Processes():
        pass  # none is begun, and none has to end


@pytest.mark.parametrize("threads_here", [1, 2])
def test_one_process_for_each_processor_without_what_other_threads_hold(
    monkeypatch: pytest.MonkeyPatch, threads_here: int
) -> None:
    """A fork has what threads of its parent hold for ever (POSIX)."""
    asked: list[tuple[Any, ...]] = []

    class Pool(ThreadPoolExecutor):
        def __init__(self, *how: Any) -> None:
            super().__init__(1)
            asked.append(how)

    monkeypatch.setattr(concurrent.futures, "ProcessPoolExecutor", Pool)
    monkeypatch.setattr(threading, "active_count", lambda: threads_here)
    monkeypatch.setattr(executors, "processors", lambda: 7)
    with executors.Processes() as pool:
        assert pool.submit(abs, -1).result() == pool.submit(abs, 1).result() == 1
    ((count, way, _),) = asked
    fits = sys.platform == "linux" and threads_here == 1
    assert (count, way.get_start_method()) == (7, "fork" if fits else "spawn")


def by_fork(monkeypatch: pytest.MonkeyPatch) -> None:
    """Two processes, as commands begin them where nothing else runs."""
    monkeypatch.setattr(executors, "processors", lambda: 2)
    monkeypatch.setattr(threading, "active_count", lambda: 1)


@pytest.mark.skipif(sys.platform != "linux", reason="forks")
@pytest.mark.parametrize("allowed", [0, 1])
def test_where_the_system_lets_no_processes_begin_this_one_does_the_work(
    monkeypatch: pytest.MonkeyPatch, allowed: int
) -> None:
    left, fork = [True] * allowed, os.fork

    def forked() -> int:
        if not left:
            raise BlockingIOError(errno.EAGAIN, os.strerror(errno.EAGAIN))
        left.pop()
        return fork()

    by_fork(monkeypatch)
    monkeypatch.setattr(os, "fork", forked)
    before = active_children()
    with executors.Processes() as pool:
        assert pool.submit(os.getpid).result() == os.getpid()
        with pytest.raises(ZeroDivisionError):
            pool.submit(divmod, 1, 0).result()
    for child in set(active_children()).difference(before):
        child.join(30.0)
        assert child.exitcode == -signal.SIGKILL


def test_where_threads_are_few_no_process_begins(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of the six that two workers need; a pool whose last thread cannot begin waits for ever."""
    left, start = [True] * 5, threading.Thread.start

    def started(thread: threading.Thread) -> None:
        if not left:
            raise RuntimeError("can't start new thread")
        left.pop()
        start(thread)

    by_fork(monkeypatch)
    monkeypatch.setattr(threading.Thread, "start", started)
    threads = set(threading.enumerate())
    with executors.Processes() as pool:
        assert pool.submit(os.getpid).result() == os.getpid()
    assert set(threading.enumerate()) == threads


@pytest.mark.skipif(sys.platform != "linux", reason="forks")
def test_processes_leave_signals_to_the_one_that_began_them_and_to_none_work_is_sent_once_lost(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    by_fork(monkeypatch)
    with executors.Processes() as pool:
        for number in (signal.SIGINT, signal.SIGHUP):
            assert pool.submit(signal.getsignal, number).result() == signal.SIG_IGN
        assert pool.submit(signal.getsignal, signal.SIGTERM).result() == signal.SIG_DFL
        with pytest.raises(WorkerError, match="a worker has ended"):
            executors.result_of(pool.submit(os._exit, 1))
        with pytest.raises(WorkerError, match="a worker has ended"):
            pool.submit(os.getpid)


def _stopping_thrice() -> None:
    for _ in range(3):
        os.kill(os.getppid(), signal.SIGINT)
        time.sleep(0.05)


@pytest.mark.skipif(sys.platform != "linux", reason="forks")
def test_who_stops_again_while_processes_end_leaves_none(monkeypatch: pytest.MonkeyPatch) -> None:
    by_fork(monkeypatch)
    before = set(active_children())
    with pytest.raises(KeyboardInterrupt), executors.Processes() as pool:
        pool.submit(_stopping_thrice).result()
    assert set(active_children()) <= before


def test_a_sweep_goes_on_where_workers_were_lost(
    in_eights: dict[str, bytes], capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """After the first cases the others are cancelled, as dask does it where the scheduler is lost (above)."""

    def lost(sent: SentCases) -> None:
        if sent.first:
            raise CancelledError

    monkeypatch.setattr(sweep_sent, "AHEAD", 1)
    monkeypatch.setattr(executors, "cluster", lambda _: nullcontext(Elsewhere(lost)))
    assert main([*CASES, "cases-lost", "--scheduler", "tcp://127.0.0.1:8786"]) == 2
    said = capsys.readouterr().err
    assert "scheduler of the workers was lost; what is done is kept in cases-lost/." in said
    assert main([*CASES, "cases-lost"]) == 0
    assert (
        capsys.readouterr().err == "auralize: 8 of 42 cases are there already, from the same call\n"
    )
    assert held(Path("cases-lost")) == in_eights


@pytest.mark.parametrize(
    ("address", "sentence"),
    [
        ("foo://127.0.0.1:8786", "no scheduler answers at foo://"),
        ("tls://127.0.0.1:8786", "no certificate is there"),
        ("127.0.0.1", "no scheduler answers at 127"),
    ],
)
def test_what_is_no_address_of_a_scheduler_is_a_sentence(address: str, sentence: str) -> None:
    with pytest.raises(AuralizeError, match=sentence):
        cluster(address).__enter__()


# --- workers that are not fit ----------------------------------------------------------------------


class Elsewhere(Executor):
    """Does what it is sent at once, after something was done to it."""

    def __init__(self, before: Callable[[Any], object]) -> None:
        self._before = before

    def submit(self, function: Any, /, *_: Any, **__: Any) -> Future[Any]:
        future: Future[Any] = Future()
        try:
            self._before(function.__self__)
            future.set_result(function())
        except Exception as error:
            future.set_exception(error)
        return future


@pytest.mark.parametrize(
    ("before", "sentence"),
    [
        (
            lambda job: job.wanted.unlink(missing_ok=True),
            r"does not find .*elsewhere as it is .* all machines share",
        ),
        (lambda job: os.utime(job.source, (1, 1)), r"does not find .*\w\.wav as it is"),
    ],
)
def test_a_worker_with_other_folders_is_refused(
    mill: Mill, before: Callable[[Any], object], sentence: str
) -> None:
    with pytest.raises(WorkerError, match=sentence):
        mill.render("elsewhere", Elsewhere(before))
    assert not (mill.folder / "elsewhere").exists()


def test_a_worker_with_other_measurements_or_versions_is_refused(
    mill: Mill, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked = SentRig.of(replace(mill.rig, files_anywhere=True))  # which no other test has read
    table = mill.folder / "load.txt"
    table.write_text(IMPEDANCE.replace("8 0", "7 0"))
    with pytest.raises(WorkerError, match="finds other measurements"):
        asked.read()
    table.unlink()
    with pytest.raises(WorkerError, match=r"cannot read the rig: .*load\.txt"):
        asked.read()
    table.write_text(IMPEDANCE)
    read = asked.read()
    assert [choice.identity for choice in read.choices.values()] == list(asked.choices)
    monkeypatch.setattr(sent, "makers", lambda: {"numpy": "1.0"})
    with pytest.raises(
        WorkerError, match=r"has numpy [\d.]+, and the machine that asks numpy 1\.0"
    ):
        SentRig.of(mill.rig).read()


def test_choices_without_their_rig_cannot_be_sent(mill: Mill) -> None:
    with pytest.raises(RequestError, match="right is a Rig"), threads() as executor:
        render_all(
            mill.sources,
            [*mill.rig.choices.values()],
            mill.folder / "none",
            RenderOptions(),
            executor=executor,
        )
    assert not (mill.folder / "none").exists()


# --- Ctrl-C ----------------------------------------------------------------------------------------


def test_ctrl_c_stops_what_is_under_way_and_leaves_nothing_partial(
    mill: Mill, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Once the short one is told, and the long one is begun."""
    monkeypatch.setattr(renderer_sent, "EVERY", 0.01)

    def stop(_: Rendered) -> None:
        raise KeyboardInterrupt

    with threads() as executor, pytest.raises(KeyboardInterrupt):
        render_all(
            [mill.sources[0], mill.hour],
            mill.rig,
            mill.folder / "stopped",
            RenderOptions(),
            told=stop,
            executor=executor,
        )
    left = held(mill.folder / "stopped")
    assert {name.partition(".")[0] for name in left} == {"bells"}
    assert left.items() <= mill.wanted.items()
    shutil.rmtree(mill.folder / "stopped")
