"""The listening bench. The library knows no screen: it is found by the name it is installed under."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from auralize.commands.shared import add_rig_file, installed
from auralize.errors import RequestError

if TYPE_CHECKING:
    from auralize.live.sources import Feed


def add(commands: Any) -> None:
    command = commands.add_parser(
        "bench", help="listen live, switch, edit, blind trials: in the terminal"
    )
    add_rig_file(command)
    command.add_argument(
        "sounds",
        nargs="*",
        type=Path,
        metavar="SOUND",
        help="sound files to listen to; n is the next",
    )
    command.add_argument(
        "--signal",
        action="append",
        default=[],
        metavar="WORDS",
        help='test signal beside them or instead, also several times: "pink", "white", "programme", '
        '"sine 1 kHz -20 dBFS", "sweep 20 Hz to 20 kHz 10 s", "steps 1 s"; levels are rms',
    )
    command.add_argument(
        "--input",
        metavar="DEVICE",
        help="listen live to an input device instead: name or number",
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
    programmes = programmes_of(arguments.sounds, arguments.signal, arguments.input)
    open_bench = installed("auralize.screens", "bench")
    open_bench(
        arguments.rig,
        programmes,
        arguments.output,
        arguments.sessions,
        files_anywhere=arguments.files_anywhere,
    )


def programmes_of(
    sounds: Sequence[Path], signals: Sequence[str], device: str | None = None
) -> list[Feed]:
    """What was named on the command line, each looked at once; raises AuralizeError."""
    # Here, so that the other commands need not load what these need.
    from auralize.audio.stimulus_text import parse_stimulus
    from auralize.live.input_feed import InputFeed
    from auralize.live.sources import SIGNAL_RATE, FileFeed, SignalFeed

    if device is not None:
        if sounds or signals:
            raise RequestError(
                "--input is heard instead of sound files and signals; leave those out"
            )
        return [InputFeed(device)]
    named: list[Feed] = [
        *(FileFeed(path) for path in sounds),
        *(SignalFeed(parse_stimulus(text)) for text in signals),
    ]
    if not named:
        raise RequestError(
            "the bench has nothing to play; name a sound file, or a test signal such as "
            '--signal "pink"'
        )
    for feed in named:
        feed.opened(SIGNAL_RATE).close()
    return named
