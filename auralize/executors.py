"""Work given to an executor of `concurrent.futures`: threads, processes, or the machines of a cluster.

Workers are sent names of functions of auralize and plain data, never code; what a result is made with must be
the same on all of them. A cluster is one of dask.distributed (the extra ``cluster``).
"""

from __future__ import annotations

import logging
import os
import platform
import re
import signal
import sys
import threading
from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import BrokenExecutor, CancelledError, Executor, Future
from contextlib import contextmanager
from typing import TYPE_CHECKING, Final, ParamSpec, TypeVar
from warnings import catch_warnings, simplefilter

from auralize.errors import AuralizeError, RequestError, one_line
from auralize.files import STOPPING, signals_held

if TYPE_CHECKING:
    from distributed import Client

P = ParamSpec("P")
T = TypeVar("T")
PATIENCE: Final = 10.0
"""s that a scheduler and its workers are waited for where they do not answer."""
THIS: Final = one_line(platform.node())
"""What this machine is called, for those who read of it on another."""
_MAKERS: Final = ("auralize", "numpy", "scipy", "soundfile")
"""Packages that have a hand in what a result is."""

_ENDED: Final = "a worker has ended"

_ADDRESS: Final = re.compile(r"((tcp|tls)://)?[^/\s]+:\d+")


class WorkerError(AuralizeError, OSError):
    """A worker is not fit for what it is sent, or is lost for good, and so no other work is begun."""


def makers() -> dict[str, str]:
    """The versions that results are made with here."""
    from importlib.metadata import version

    return {name: version(name) for name in _MAKERS}


def check_makers(wanted: Mapping[str, str]) -> None:
    """Raise WorkerError on a worker where results would be made with anything else than this."""
    _check_same(THIS, makers(), wanted)


def _check_same(where: str, found: Mapping[str, str | None], wanted: Mapping[str, str]) -> None:
    for name, right in wanted.items():
        if found[name] != right:
            has = f"{name} {found[name]}" if found[name] else f"no {name}"
            raise WorkerError(
                f"the worker on {where} has {has}, and the machine that asks {name} {right}; right is the "
                "same version on all, so that all make the same"
            )


def result_of(future: Future[T]) -> T:
    """What was asked for, or the error that it ended with; raises WorkerError where workers were lost."""
    try:
        return future.result()
    except CancelledError:
        why = "the scheduler of the workers was lost"
    except BrokenExecutor:
        why = _ENDED
    except Exception as error:
        if type(error).__module__.partition(".")[0] != "distributed":
            raise
        why = "one worker after the other was lost at the same work"
    raise WorkerError(why)


def processors() -> int:
    """Those that this process may use."""
    if sys.platform == "linux":
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


class Processes(Executor):
    """One for each processor of this machine, begun with the first work; they end with this process,
    however it ends."""

    def __init__(self) -> None:
        self._begun: Executor | None = None

    def submit(self, work: Callable[P, T], /, *given: P.args, **named: P.kwargs) -> Future[T]:
        if self._begun is None:
            self._begun = _begun()
        try:
            return self._begun.submit(work, *given, **named)
        except BrokenExecutor:
            raise WorkerError(_ENDED) from None

    def shutdown(self, wait: bool = True, *, cancel_futures: bool = False) -> None:
        """Who stops the program twice waits as well: it ends when none of them works any more."""
        if self._begun is not None:
            with signals_held():
                self._begun.shutdown(wait, cancel_futures=cancel_futures)

    def __exit__(self, kind: type[BaseException] | None, *_: object) -> None:
        self.shutdown(cancel_futures=kind is not None)


class _Here(Executor):
    """Does at once what it is given."""

    def submit(self, work: Callable[P, T], /, *given: P.args, **named: P.kwargs) -> Future[T]:
        future: Future[T] = Future()
        try:
            future.set_result(work(*given, **named))
        except Exception as error:
            future.set_exception(error)
        return future


def _begun() -> Executor:
    """Processes at work; where the system lets none begin, this one does all."""
    from multiprocessing import active_children

    if not _lets_begin(2 * processors() + 2):
        return _Here()
    before = active_children()
    try:
        # Until they leave signals to us: a process that has only just begun would tell of one.
        with signals_held(), catch_warnings():
            simplefilter("ignore", DeprecationWarning)  # of NumPy's threads, which hold nothing
            pool = _processes()
            pool.submit(int)
            return pool
    except (ImportError, NotImplementedError, OSError):  # no semaphores, memory, or processes left
        for child in set(active_children()).difference(before):
            child.kill()
        return _Here()


def _lets_begin(count: int) -> bool:
    """Whether the system lets so many more processes or threads begin. A pool has one of each for every
    worker, and two threads; it waits for ever where the last cannot begin."""
    done = threading.Event()
    begun = list[threading.Thread]()
    try:
        for _ in range(count):
            thread = threading.Thread(target=done.wait)
            thread.start()
            begun.append(thread)
    except RuntimeError:
        return False
    finally:
        done.set()
        for thread in begun:
            thread.join()
    return True


def _processes() -> Executor:
    from concurrent.futures import ProcessPoolExecutor
    from multiprocessing import get_context

    # Where threads of this process may hold something, without what they hold.
    alone = sys.platform == "linux" and threading.active_count() == 1
    way = get_context("fork" if alone else "spawn")
    return ProcessPoolExecutor(processors(), way, _end_with_parent)


def _end_with_parent() -> None:
    """Leave Ctrl-C, and a terminal's end, to the parent, which may be killed and then tells nobody."""
    from multiprocessing import parent_process

    for number in STOPPING:
        ended = number == signal.SIGTERM
        signal.signal(number, signal.SIG_DFL if ended else signal.SIG_IGN)
    parent = parent_process()
    assert parent is not None

    def watch() -> None:
        parent.join()
        os._exit(1)

    threading.Thread(target=watch, daemon=True).start()


@contextmanager
def cluster(address: str) -> Iterator[Executor]:
    """The workers of the scheduler at ``address``; raises WorkerError where none is there, or one not fit."""
    client = _client(address)
    with _unheard():
        try:
            _check_workers(client, address)
            yield client.get_executor(pure=False)
        finally:
            client.close(timeout=PATIENCE)


@contextmanager
def _unheard() -> Iterator[None]:
    """Without what dask itself has to say, with a traceback, of a scheduler that is lost."""
    handlers = logging.getLogger("distributed.client").handlers
    for handler in handlers:
        handler.addFilter(_nothing)
    try:
        yield
    finally:
        for handler in handlers:
            handler.removeFilter(_nothing)


def _nothing(_: logging.LogRecord) -> bool:
    return False


def _client(address: str) -> Client:
    try:
        from distributed import Client, Security
    except ImportError:
        raise RequestError(
            "a scheduler needs dask.distributed, which is not installed; `pip install distributed` "
            "brings it"
        ) from None
    if address.startswith("tls:") and not Security().get_connection_args("client")["ssl_context"]:
        raise RequestError(
            f"{address}: no certificate is there for it; right is one in dask's configuration, under "
            "distributed.comm.tls"
        )
    try:
        if _ADDRESS.fullmatch(address) is None:
            raise ValueError
        with catch_warnings():  # of versions that differ, of which we say what matters
            simplefilter("ignore")
            return Client(address, timeout=PATIENCE, set_as_default=False)
    except (OSError, ValueError):
        raise WorkerError(
            f"no scheduler answers at {address}; right is what `dask scheduler` says where it runs, such "
            "as tcp://192.168.1.10:8786"
        ) from None


def _check_workers(client: Client, address: str) -> None:
    """Refuse a scheduler without workers, and workers that have other versions, before anything is sent."""
    from importlib.metadata import PackageNotFoundError, version

    try:
        client.wait_for_workers(1, timeout=PATIENCE)
    except TimeoutError:
        raise WorkerError(
            f"the scheduler at {address} has no workers; `dask worker {address}` starts one"
        ) from None
    for name, wanted in makers().items():
        for where, found in client.run(version, name, on_error="return").items():
            if isinstance(found, str | PackageNotFoundError):  # else the worker has just been lost
                has = found if isinstance(found, str) else None
                _check_same(where, {name: has}, {name: wanted})
