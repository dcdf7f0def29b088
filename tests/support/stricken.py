"""Commands that are struck while they run: by a signal, by a full disk, by a source that fails.

They run in forks of a process that has loaded all and worked all of it out once, so that each takes a
tenth of its time, and a moment at random is often one at which files are written.
"""

from __future__ import annotations

import errno
import json
import os
import resource
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any, NamedTuple, NoReturn

from auralize.files import STOPPING

TOUCHING = {"open", "os.chmod", "os.link", "os.mkdir", "os.remove", "os.rename", "os.rmdir"}
"""What Python tells of before a file or its name is touched (`sys.addaudithook`)."""


class Ended(NamedTuple):
    """How a command came to its end."""

    returncode: int
    """Minus the number of a signal that ended it."""
    stdout: str
    stderr: str
    seconds: float
    touches: int
    """How often files of its folder were touched."""


class Forge:
    """Runs commands in a folder, after one run of each in another."""

    def __init__(
        self, rehearsal: Path, commands: Sequence[Sequence[str]], prelude: str = ""
    ) -> None:
        self._process = subprocess.Popen(
            [sys.executable, __file__, prelude],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            cwd=rehearsal,
            env={**os.environ, "OPENBLAS_NUM_THREADS": "1"},
        )
        self._ask({"rehearse": [list(command) for command in commands]})

    def run(self, folder: Path, command: Sequence[str], **blow: Any) -> Ended:
        """One command, struck by a ``signal`` after so many ``seconds`` or before a ``touch``; or with a
        ``room`` in bytes for each file; or with a source that fails at a ``read``."""
        return Ended(*self._ask({"cwd": str(folder), "argv": list(command), **blow}))

    def _ask(self, what: dict[str, Any]) -> Any:
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._process.stdin.write(json.dumps(what) + "\n")
        self._process.stdin.flush()
        return json.loads(self._process.stdout.readline())

    def close(self) -> None:
        self._process.communicate(timeout=60)


# ---- in the process that forks -------------------------------------------------------------------


def _serve(prelude: str) -> None:
    """Answer each line of JSON on stdin by one on stdout."""
    exec(prelude, {})
    for line in sys.stdin:
        asked = json.loads(line)
        told = _rehearsed(asked["rehearse"]) if "rehearse" in asked else _struck(asked)
        sys.stdout.write(json.dumps(told) + "\n")
        sys.stdout.flush()


def _rehearsed(commands: list[list[str]]) -> str:
    from auralize.commands.main import main

    with tempfile.TemporaryFile() as aside:
        kept = os.dup(1)
        os.dup2(aside.fileno(), 1)
        for command in commands:
            assert main(command) == 0, command
        os.dup2(kept, 1)
        os.close(kept)
    return "ready"


def _struck(asked: dict[str, Any]) -> list[Any]:
    pipes = [os.pipe() for _ in range(3)]  # what is said is shorter than what a pipe holds
    signal.pthread_sigmask(
        signal.SIG_BLOCK, STOPPING
    )  # not before the child is as a process begins
    child = os.fork()
    if not child:
        for number, (_, writing) in zip((1, 2), pipes, strict=False):
            os.dup2(writing, number)
        _run(asked, pipes[2][1])
    signal.pthread_sigmask(signal.SIG_UNBLOCK, STOPPING)
    for _, writing in pipes:
        os.close(writing)
    begun = time.monotonic()
    if "seconds" in asked:
        time.sleep(asked["seconds"])
        os.kill(child, asked["signal"])  # it is not waited for yet: its number is its own
    status = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
    spent = time.monotonic() - begun
    said = []
    for reading, _ in pipes:
        with open(reading, "rb") as file:
            said.append(file.read().decode())
    return [status, *said[:2], spent, len(said[2])]


def _run(asked: dict[str, Any], telling: int) -> NoReturn:
    from auralize.commands.main import main

    code = 70
    try:
        os.chdir(asked["cwd"])
        _watch(asked, telling)
        if "room" in asked:  # Python ignores SIGXFSZ: a write beyond that is the error EFBIG
            resource.setrlimit(resource.RLIMIT_FSIZE, (asked["room"], asked["room"]))
        if "read" in asked:
            _spoil_reading(asked["read"])
        _be_struck()
        code = main(asked["argv"])
        sys.stdout.flush()
    except BaseException:
        import traceback

        traceback.print_exc()
    finally:
        sys.stderr.flush()
        os._exit(code)


def _be_struck() -> None:
    """From here on; by what came before, a process that has not come to a line of ours yet ends."""
    for number in STOPPING:
        signal.signal(number, signal.SIG_DFL)
    signal.pthread_sigmask(signal.SIG_UNBLOCK, STOPPING)
    signal.signal(signal.SIGINT, signal.default_int_handler)


def _watch(asked: dict[str, Any], telling: int) -> None:
    """Count what touches files of this folder; strike before the one that was asked for."""
    folder, left = os.getcwd(), [asked.get("touch", -1)]

    def hook(event: str, arguments: tuple[Any, ...]) -> None:
        if event in TOUCHING and isinstance(arguments[0], str | bytes | os.PathLike):
            if not os.path.abspath(os.fsdecode(arguments[0])).startswith(folder):
                return
            os.write(telling, b".")
            left[0] -= 1
            if left[0] == -1:  # once, as nobody presses a key twice within a microsecond
                os.kill(os.getpid(), asked["signal"])

    sys.addaudithook(hook)


def _spoil_reading(good: int) -> None:
    """Let the source fail at the read after so many good ones, as a stick that is pulled out does."""
    import io

    import soundfile as sf

    left, source = [good], "bells.wav"

    def failing(read: Any) -> Any:
        def reading(*arguments: Any, **named: Any) -> Any:
            of = getattr(arguments[0], "name", None) if arguments else None
            if of is None or os.fsdecode(of).endswith(source):
                left[0] -= 1
                if left[0] == -1:
                    raise OSError(errno.EIO, os.strerror(errno.EIO))
            return read(*arguments, **named)

        return reading

    def opening(name: Any, mode: str = "r", *rest: Any, **named: Any) -> Any:
        file = opened(name, mode, *rest, **named)
        if mode == "rb" and os.fsdecode(name).endswith(source):
            return _Failing(file, failing(file.read))
        return file

    opened, io.open = io.open, opening  # what pathlib opens by
    sf.SoundFile.read = failing(sf.SoundFile.read)


class _Failing:
    """A file of which reading is something else."""

    def __init__(self, file: Any, read: Any) -> None:
        self._file, self.read = file, read

    def __getattr__(self, name: str) -> Any:
        return getattr(self._file, name)

    def __enter__(self) -> Any:
        return self

    def __exit__(self, *_: object) -> None:
        self._file.close()


if __name__ == "__main__":
    _serve(sys.argv[1])
