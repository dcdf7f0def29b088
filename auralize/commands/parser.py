"""The commands and their options. Nothing heavy is imported for --help."""

from __future__ import annotations

import argparse
import re
import sys
from importlib import import_module
from typing import Any, Final, NoReturn

from auralize.commands.shared import CAUTION
from auralize.commands.swapped import refuse_swapped
from auralize.errors import ExitCode, one_line

COMMANDS: Final = (
    "figures",
    "render",
    "handover",
    "fit",
    "sweep",
    "plot",
    "filter",
    "bench",
    "trials",
    "sizes",
    "keys",
    "new",
    "demo",
)
"""Each a module beside this one."""

DESCRIPTION = """\
Hear what a loudspeaker cable run does to programme material, before anyone buys or pulls copper.
A rig file (TOML) describes amplifier, cables, runs and loudspeakers, and the choices to compare."""


class _Parser(argparse.ArgumentParser):
    """argparse, but a mistake is told in one sentence."""

    def parse_args(self, args: Any = None, namespace: Any = None) -> Any:
        found, rest = self.parse_known_args(args, namespace)
        refuse_swapped(found, rest, self.prog)
        if rest:
            self.error(f"unrecognized arguments: {' '.join(rest)}")
        return found

    def error(self, message: str) -> NoReturn:
        print(
            f"auralize: {one_line(_guessed(message))}; `{self.prog} --help` lists what is right",
            file=sys.stderr,
        )
        raise SystemExit(ExitCode.BAD_INPUT)


class _Command(_Parser):
    """Of one command, whose files may stand before, between and behind its options."""

    _again = False

    def parse_known_args(self, args: Any = None, namespace: Any = None) -> Any:
        """A file that may be left out argparse takes for left out at the first option: then once more."""
        found, rest = super().parse_known_args(args, namespace)
        if not rest or self._again:  # before Python 3.12 what is called below comes here
            return found, rest
        self._again = True
        try:
            return self.parse_known_intermixed_args(args, namespace)
        finally:
            self._again = False


def _guessed(message: str) -> str:
    """What argparse says of a word that is none of its choices, with the one that it is close to."""
    from auralize.rig.table import guess

    found = re.fullmatch(r"(.*invalid choice: '([^']*)')( \(choose from (.*)\))", message)
    if found is None:
        return message
    right = re.findall(r"[\w-]+", found[4])
    return f"{found[1]}{guess(found[2], right)}{found[3]}"


class _Version(argparse.Action):
    """Tells the version."""

    def __call__(self, *_: object) -> NoReturn:
        from auralize.outputs import VERSION

        print(f"auralize {VERSION}")
        raise SystemExit(ExitCode.OK)


def parser(first: str = "") -> argparse.ArgumentParser:
    """Of the command that is the ``first`` word of all, or else of all commands."""
    made = _Parser(prog="auralize", description=DESCRIPTION, epilog=CAUTION, allow_abbrev=False)
    made.formatter_class = argparse.RawDescriptionHelpFormatter
    made.add_argument("--version", action=_Version, nargs=0, help="tell the version, and end")
    commands = made.add_subparsers(
        metavar="COMMAND", required=True, dest="command_name", parser_class=_Command
    )
    for name in [first] if first in COMMANDS else COMMANDS:
        import_module(f"auralize.commands.{name}").add(commands)
    return made
