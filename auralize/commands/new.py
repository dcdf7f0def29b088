"""A first rig file, by a few questions in a terminal or by options."""

from __future__ import annotations

import argparse
import os
import shlex
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

from auralize.errors import RequestError, RigError, one_line

ANSWERS: Final = {
    "size": ("size of one conductor, such as 2.5 mm2 or 14 AWG", "2.5 mm2"),
    "length": ("length of the run, one way, such as 30 m or 100 ft", "30 m"),
    "speaker": ("the loudspeaker's rated impedance, such as 8 ohm", "8 ohm"),
    "construction": ("twin, twisted pair, single cores or four-core", "twin"),
}
"""What is asked for, and what an empty answer means."""
_EXAMPLE: Final = '--size "2.5 mm2" --length "30 m" --speaker "8 ohm"'


def add(commands: Any) -> None:
    command = commands.add_parser(
        "new", help="write a first rig file, by a few questions or by options"
    )
    command.add_argument("file", type=Path, metavar="FILE", help="the rig file to make (.toml)")
    for name, (words, _) in ANSWERS.items():
        command.add_argument(f"--{name}", metavar=name.upper(), help=words)
    command.add_argument(
        "--against",
        metavar="SIZE",
        help="the size to compare with (default: the next thicker one)",
    )
    command.set_defaults(command=run)


def run(arguments: argparse.Namespace) -> None:
    from auralize.files import write_text

    path = arguments.file
    _check_free(path)
    given = {name: getattr(arguments, name) for name in ANSWERS}
    missing = [name for name, answer in given.items() if answer is None]
    if not sys.stdin.isatty():
        _require(path, [name for name in missing if name != "construction"])
        missing = []
    answers: dict[str, str] = {}
    text = ""
    for name in (*ANSWERS, "against"):
        if (answer := getattr(arguments, name)) is not None:
            answers[name] = answer
        elif name in missing:
            answers[name] = _asked(name, answers)
        text = _text(answers, name)
    _check_free(path)
    write_text(path, text)
    print(one_line(f"{path} is written; next: `auralize figures {shlex.quote(str(path))}`"))


def _check_free(path: Path) -> None:
    if path.suffix.lower() != ".toml":
        raise RequestError(f"{path}: a rig file's name ends in .toml; right is {path}.toml")
    if os.path.lexists(path):
        raise RequestError(f"{path}: it is there already, and stays; right is another name")


def _require(path: Path, missing: list[str]) -> None:
    if missing:
        options = ", ".join(f"--{name}" for name in missing)
        raise RequestError(
            f"{options}: missing, and there is no terminal to ask in; right is "
            f"`auralize new {shlex.quote(str(path))} {_EXAMPLE}`"
        )


def _asked(name: str, answers: Mapping[str, str]) -> str:
    """What is typed at a question, which is asked again until it can be."""
    words, usual = ANSWERS[name]
    while True:
        try:
            typed = input(f"{words} [{usual}]: ").strip() or usual
        except EOFError:
            raise RequestError(f"--{name}: no answer came; nothing is written") from None
        try:
            _text({**answers, name: typed}, name)
        except RequestError as error:
            print(error)
        else:
            return typed


def _text(answers: Mapping[str, str], name: str) -> str:
    """The file, what is not yet answered being as usual; RequestError tells of ``name``, which is new."""
    from auralize.figures.sizes import thicker
    from auralize.rig.beginning import STARTERS, Beginning, first_rig
    from auralize.units import parse

    whole = {key: usual for key, (_, usual) in ANSWERS.items()} | dict(answers)
    if whole["construction"] not in STARTERS:
        raise RequestError(
            f"--construction: {whole['construction']!r} was found; right to begin with is one of "
            f"{', '.join(STARTERS)}"
        )
    try:
        size = whole.pop("size")
        other = whole.pop("against", None) or thicker(size)
        thin, thick = sorted((size, other), key=lambda typed: parse(typed, "area"))
        if parse(thin, "area") == parse(thick, "area"):
            raise RequestError(f"--against: {other} is the same size; right is another")
        return first_rig(Beginning(size=thin, thick=thick, **whole))
    except RigError as error:
        raise RequestError(f"--{name}: {str(error).split(': ', 2)[-1]}") from None
    except ValueError as error:
        raise RequestError(f"--{name}: {error}") from None
