"""The command line: reads what was asked, calls the library, prints. Nothing heavy is imported for --help."""

from __future__ import annotations

import argparse
import errno
import io
import os
import signal
import sys
from collections.abc import Callable, Sequence
from typing import Final, NoReturn

from auralize.commands import bench, demo, figures, filter, fit, plot, render, trials
from auralize.commands.shared import CAUTION
from auralize.errors import AuralizeError, ExitCode
from auralize.files import STOPPING

COMMANDS: Final = (figures, render, fit, plot, filter, bench, trials, demo)

DESCRIPTION = """\
Hear what a loudspeaker cable run does to programme material, before anyone buys or pulls copper.
A rig file (TOML) describes amplifier, cables, runs and loudspeakers, and the choices to compare."""


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command; returns the exit code."""
    arguments = _parser().parse_args(argv)
    command: Callable[[argparse.Namespace], None] = arguments.command
    _stop_in_good_order()
    try:
        if isinstance(sys.stdout, io.TextIOWrapper):
            sys.stdout.reconfigure(errors="backslashreplace")
        command(arguments)
        sys.stdout.flush()
    except AuralizeError as error:
        print(f"auralize: {error}", file=sys.stderr)
        return ExitCode.BAD_INPUT
    except BrokenPipeError:
        sys.stderr.close()  # what reads our output went away; there is no one to tell
        return ExitCode.OK
    except OSError as error:
        if error.errno not in (errno.ENOSPC, errno.EIO, errno.EFBIG):
            raise
        reason = (error.strerror or str(error)).lower()
        print(f"auralize: the output cannot be written: {reason}", file=sys.stderr)
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())  # what is left in its buffer
        return ExitCode.BAD_INPUT
    except KeyboardInterrupt:
        print("auralize: stopped; nothing partial is left behind", file=sys.stderr)
        return ExitCode.INTERRUPTED
    return ExitCode.OK


def _stop_in_good_order() -> None:
    """Take what ends us as Ctrl-C: nothing partial is left. What is ignored (`nohup`) stays so."""
    for number in STOPPING:
        if signal.getsignal(number) == signal.SIG_DFL:
            signal.signal(number, signal.default_int_handler)


class _Parser(argparse.ArgumentParser):
    """argparse, but a mistake is told in one sentence."""

    def error(self, message: str) -> NoReturn:
        print(f"auralize: {message}; `{self.prog} --help` lists what is right", file=sys.stderr)
        raise SystemExit(ExitCode.BAD_INPUT)


class _Version(argparse.Action):
    """Tells the version that is installed, which is looked up for nothing else."""

    def __call__(self, *_: object) -> NoReturn:
        from importlib.metadata import version

        print(f"auralize {version('auralize')}")
        raise SystemExit(ExitCode.OK)


def _parser() -> argparse.ArgumentParser:
    parser = _Parser(prog="auralize", description=DESCRIPTION, epilog=CAUTION, allow_abbrev=False)
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    parser.add_argument("--version", action=_Version, nargs=0, help="tell the version, and end")
    commands = parser.add_subparsers(metavar="COMMAND", required=True)
    for command in COMMANDS:
        command.add(commands)
    return parser
