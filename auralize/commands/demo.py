"""The demonstration. It stands above the library, and is found by the name it is installed under."""

from __future__ import annotations

import argparse
import textwrap
from pathlib import Path
from typing import Any

from auralize.commands.progress import ProgressLine, telling
from auralize.commands.shared import CAUTION, add_replace, installed


def add(commands: Any) -> None:
    command = commands.add_parser(
        "demo", help="the Saltmarsh Tide Mill, made and rendered: start here"
    )
    command.add_argument(
        "folder",
        type=Path,
        nargs="?",
        default=Path("tide-mill"),
        metavar="FOLDER",
        help="where it goes",
    )
    add_replace(command)
    command.set_defaults(command=run)


@telling
def run(arguments: argparse.Namespace) -> None:
    make_demo = installed("auralize.examples", "demo")
    with ProgressLine() as progress:
        text = make_demo(arguments.folder, progress, arguments.replace)
    folder = arguments.folder
    print(text)
    print(f"Next: auralize figures {folder / 'saltmarsh.toml'}, or live:")
    print(f"      auralize bench {folder / 'saltmarsh.toml'} {folder / 'programme.wav'}")
    print(textwrap.fill(CAUTION, 80))
