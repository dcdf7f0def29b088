"""The commands and their options. Nothing heavy is imported for --help."""

from __future__ import annotations

import argparse
import sys
from typing import Final, NoReturn

from auralize.commands import bench, demo, figures, filter, fit, keys, plot, render, trials
from auralize.commands.shared import CAUTION
from auralize.errors import ExitCode, one_line

COMMANDS: Final = (figures, render, fit, plot, filter, bench, trials, keys, demo)

DESCRIPTION = """\
Hear what a loudspeaker cable run does to programme material, before anyone buys or pulls copper.
A rig file (TOML) describes amplifier, cables, runs and loudspeakers, and the choices to compare."""


class _Parser(argparse.ArgumentParser):
    """argparse, but a mistake is told in one sentence."""

    def error(self, message: str) -> NoReturn:
        print(
            f"auralize: {one_line(message)}; `{self.prog} --help` lists what is right",
            file=sys.stderr,
        )
        raise SystemExit(ExitCode.BAD_INPUT)


class _Version(argparse.Action):
    """Tells the version that is installed, which is looked up for nothing else."""

    def __call__(self, *_: object) -> NoReturn:
        from importlib.metadata import version

        print(f"auralize {version('auralize')}")
        raise SystemExit(ExitCode.OK)


def parser() -> argparse.ArgumentParser:
    """Of all commands."""
    made = _Parser(prog="auralize", description=DESCRIPTION, epilog=CAUTION, allow_abbrev=False)
    made.formatter_class = argparse.RawDescriptionHelpFormatter
    made.add_argument("--version", action=_Version, nargs=0, help="tell the version, and end")
    commands = made.add_subparsers(metavar="COMMAND", required=True)
    for command in COMMANDS:
        command.add(commands)
    return made
