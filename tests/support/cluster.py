"""A scheduler of dask and three workers, each a process of its own that can be killed.

They are forked from a process that has loaded all, so that they begin at once.
"""

from __future__ import annotations

import asyncio
import math
import multiprocessing
import os
import signal
import sys
from collections.abc import Callable
from functools import partial
from multiprocessing.connection import Connection
from typing import Any

from auralize.renderer import passage, sent
from auralize.sweep.sent import SentCases

FORKED = multiprocessing.get_context("forkserver")
"""Where processes of tests come from."""
FORKED.set_forkserver_preload(
    ["__main__", "distributed", "auralize.renderer.sent", "auralize.sweep.sent"]
)


class Cluster:
    """The first worker kills itself before it names its ``strike``-th file, the second when it is to solve
    cases."""

    def __init__(self, strike: int) -> None:
        reading, writing = FORKED.Pipe(duplex=False)
        self.scheduler = FORKED.Process(target=_schedule, args=(writing,), daemon=True)
        self.scheduler.start()
        self.address: str = reading.recv()
        self.workers = [
            FORKED.Process(target=_work, args=(self.address, blow, writing), daemon=True)
            for blow in (partial(_be_killed_naming, strike), _be_killed_solving, _live)
        ]
        for worker in self.workers:
            worker.start()
        for _ in self.workers:
            reading.recv()  # it has joined

    def close(self) -> None:
        for process in (*self.workers, self.scheduler):
            process.kill()
            process.join()


def _schedule(telling: Connection) -> None:
    from distributed import Scheduler

    async def life() -> None:
        async with Scheduler(host="127.0.0.1", port=0, dashboard=False) as scheduler:
            telling.send(scheduler.address)
            await scheduler.finished()

    _quiet()
    asyncio.run(life())


def _work(address: str, blow: Callable[[], None], telling: Connection) -> None:
    from distributed import Worker

    async def life() -> None:
        async with Worker(address, nthreads=1, dashboard=False) as worker:
            telling.send(worker.address)
            await worker.finished()

    _quiet()
    sent.EVERY = 0.01  # type: ignore[misc]
    passage.SHORT = math.inf  # type: ignore[misc]  # an import of SciPy's transforms less
    blow()
    asyncio.run(life())


def _quiet() -> None:
    os.dup2(os.open(os.devnull, os.O_RDWR), 2)


def _be_killed_naming(strike: int) -> None:
    left = [strike]

    def hook(event: str, arguments: tuple[Any, ...]) -> None:
        if event == "os.rename" and str(arguments[1]).endswith((".wav", ".json")):
            left[0] -= 1
            if left[0] == 0:
                os.kill(os.getpid(), signal.SIGKILL)

    sys.addaudithook(hook)


def _be_killed_solving() -> None:
    SentCases.run = lambda _: os.kill(os.getpid(), signal.SIGKILL)  # type: ignore[method-assign]


def _live() -> None:
    pass
