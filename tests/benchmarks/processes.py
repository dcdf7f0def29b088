"""A process of its own, with those that it starts: how long it takes, and what memory all of them have."""

from __future__ import annotations

import os
import re
import subprocess
import sys
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

Command = Sequence[str]
HERE = Path(__file__).parent
USUAL = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
"""Compiled modules are kept, as they are where auralize is installed: else each start compiles all anew."""
BETWEEN = 0.03
"""s between two looks at memory."""
SUMS = sys.platform == "linux"
"""Whether the memory of several processes can be added up: elsewhere their shares of a page are not told."""
_PSS = re.compile(r"^Pss: +(\d+) kB", re.MULTILINE)


@dataclass(frozen=True)
class Ran:
    """What a command took."""

    seconds: float
    processor: float
    """s, of all its processes that were waited for."""
    memory: float
    """MB (2^20 bytes): the most that its processes had together at any look, else the largest of them."""


def run(command: Command, *, looked_at: bool = False) -> Ran:
    """Run it to its end; ``looked_at``: with looks at the memory of all its processes, which slow it down.

    What those before left to be written to disk is written first.
    """
    if hasattr(os, "sync"):
        os.sync()
    start = time.perf_counter()
    child = subprocess.Popen(
        command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, env=USUAL
    )
    most = _most_memory(child.pid) if looked_at and SUMS else 0.0
    _, status, used = os.wait4(child.pid, 0)
    seconds = time.perf_counter() - start
    child.returncode = os.waitstatus_to_exitcode(status)  # it is waited for
    if child.returncode:
        raise SystemExit(f"{' '.join(command)}: exit code {child.returncode}")
    unit = 2**20 if sys.platform == "darwin" else 2**10
    return Ran(seconds, used.ru_utime + used.ru_stime, most or used.ru_maxrss / unit)


def inside(function: str, *arguments: object, of: str = "programmes") -> Command:
    """A function of a module beside this one, in a process of its own."""
    given = ", ".join(
        f"Path({str(one)!r})" if isinstance(one, Path) else repr(one) for one in arguments
    )
    program = (
        f"import sys; sys.path.insert(0, {str(HERE)!r}); from pathlib import Path; "
        f"import {of}; {of}.{function}({given})"
    )
    return [sys.executable, "-c", program]


def told(command: Command) -> str:
    """What it prints."""
    return subprocess.run(command, check=True, capture_output=True, text=True).stdout


def columns(command: Command) -> list[list[float]]:
    """What a process tells of each round in a line, without its first, in which all is new to it."""
    lines = told(command).splitlines()[1:]
    return [
        list(column) for column in zip(*(map(float, line.split()) for line in lines), strict=True)
    ]


def _most_memory(root: int) -> float:
    """MB that a child and its descendants have together, the most until it ends."""
    most = 0.0
    while os.waitid(os.P_PID, root, os.WEXITED | os.WNOWAIT | os.WNOHANG) is None:
        most = max(most, sum(map(_memory, _family(root))))
        time.sleep(BETWEEN)
    return most


def _family(root: int) -> Iterator[int]:
    """A process and its descendants."""
    yield root
    for thread in Path(f"/proc/{root}/task").glob("*/children"):
        for child in _read(thread).split():
            yield from _family(int(child))


def _memory(process: int) -> float:
    """MB, of pages that several have in common its share; 0 of one that has ended."""
    found = _PSS.search(_read(Path(f"/proc/{process}/smaps_rollup")))
    return int(found[1]) / 2**10 if found else 0.0


def _read(path: Path) -> str:
    """Nothing where the process has ended meanwhile."""
    try:
        return path.read_text()
    except (FileNotFoundError, ProcessLookupError):
        return ""
