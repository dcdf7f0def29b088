"""The command line: runs what was asked, and ends in good order whatever happens.

What it needs is imported where that can be stopped: Ctrl-C may come at any time.
"""

from __future__ import annotations

import errno
import io
import os
import sys
from collections.abc import Sequence

from auralize.errors import AuralizeError, ExitCode


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command; returns the exit code."""
    try:
        _have_streams()
        return _run(argv)
    except AuralizeError as error:
        from auralize.errors import one_line

        print(f"auralize: {one_line(str(error))}", file=sys.stderr)
        return error.code
    except BrokenPipeError:
        sys.stderr.close()  # what reads our output went away; there is no one to tell
        return ExitCode.OK
    except OSError as error:
        if _is_nowhere():
            print(
                "auralize: the folder that you work in is gone; right is to change into one that is there",
                file=sys.stderr,
            )
            return ExitCode.BAD_INPUT
        if error.errno not in (errno.ENOSPC, errno.EDQUOT, errno.EIO, errno.EFBIG):
            raise
        reason = (error.strerror or str(error)).lower()
        print(f"auralize: the output cannot be written: {reason}", file=sys.stderr)
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())  # what is left in its buffer
        return ExitCode.BAD_INPUT
    except (MemoryError, RuntimeError) as error:
        lacking = "memory" if isinstance(error, MemoryError) else "threads"
        if lacking == "threads" and "start new thread" not in str(error):
            raise
        print(
            f"auralize: the system lets this program have no more {lacking} (ulimit)",
            file=sys.stderr,
        )
        return ExitCode.BAD_INPUT
    except KeyboardInterrupt as stopped:
        left = str(stopped) or "nothing partial is left behind"
        print(f"auralize: stopped; {left}", file=sys.stderr)
        return ExitCode.INTERRUPTED


def _run(argv: Sequence[str] | None) -> int:
    _stop_in_good_order()
    _keep_to_our_threads()
    _end_without_search()
    from auralize.commands.parser import parser

    argv = sys.argv[1:] if argv is None else argv
    try:
        arguments = parser(*argv[:1]).parse_args(argv)
    except SystemExit:  # after --help or --version
        sys.stdout.flush()
        raise
    if isinstance(sys.stdout, io.TextIOWrapper):
        sys.stdout.reconfigure(errors="backslashreplace")
    arguments.command(arguments)
    sys.stdout.flush()
    return ExitCode.OK


def _is_nowhere() -> bool:
    """Whether the folder that we were started in was removed: no name without a folder leads anywhere."""
    try:
        os.getcwd()
    except FileNotFoundError:
        return True
    return False


def _keep_to_our_threads() -> None:
    """Let NumPy's OpenBLAS, unless it was told otherwise, start no threads: they spin where they wait,
    and no product here is large enough to gain by them. Read when NumPy is imported."""
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")


def _end_without_search() -> None:
    """Let Python end without a search for garbage in all there is: files were closed by name."""
    import atexit
    import gc

    atexit.register(gc.freeze)


def _have_streams() -> None:
    """Where a stream was closed before we came, put nothing in its place: else the next file to be
    opened would get its number, and what is said would go into a sound."""
    for number in range(3):
        try:
            os.fstat(number)
        except OSError:
            os.open(os.devnull, os.O_RDWR)  # the lowest number that is free
    # Open for as long as the program runs.
    sys.stdin = sys.stdin or open(os.devnull)  # noqa: SIM115
    sys.stdout = sys.stdout or open(os.devnull, "w")  # noqa: SIM115
    sys.stderr = sys.stderr or open(os.devnull, "w")  # noqa: SIM115


def _stop_in_good_order() -> None:
    """Take what ends us as Ctrl-C: nothing partial is left. What is ignored (`nohup`) stays so."""
    import signal

    from auralize.files import STOPPING

    for number in STOPPING:
        if signal.getsignal(number) == signal.SIG_DFL:
            signal.signal(number, signal.default_int_handler)
