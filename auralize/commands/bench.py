"""The listening bench. The library knows no screen: it is found by the name it is installed under."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import Any

from auralize.commands.shared import add_rig_file, installed
from auralize.errors import RequestError
from auralize.live.input_feed import InputFeed


def add(commands: Any) -> None:
    command = commands.add_parser(
        "bench", help="listen live, switch, edit, blind trials: in the terminal"
    )
    add_rig_file(command)
    command.add_argument(
        "programme", type=Path, nargs="?", metavar="SOUND", help="sound file to listen to"
    )
    command.add_argument(
        "--input", metavar="DEVICE", help="listen live to an input device instead of a file"
    )
    command.add_argument("--output", metavar="DEVICE", help="name or number of the output device")
    command.add_argument(
        "--sessions",
        type=Path,
        default=Path("trials"),
        metavar="FOLDER",
        help="where logs of blind trials go (default: trials)",
    )
    command.set_defaults(command=run)


def run(arguments: argparse.Namespace) -> None:
    if not (sys.stdin.isatty() and sys.stdout.isatty()):
        raise RequestError(
            "the bench needs a terminal; run it in one, not through a pipe or from a script"
        )
    if (arguments.programme is None) == (arguments.input is None):
        raise RequestError(
            "give a sound file to listen to, or --input and a device: one of the two"
        )
    open_bench = installed("auralize.screens", "bench")
    open_bench(
        arguments.rig,
        arguments.programme or InputFeed(arguments.input),
        arguments.output,
        arguments.sessions,
        files_anywhere=arguments.files_anywhere,
    )
