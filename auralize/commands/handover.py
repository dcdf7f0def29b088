"""A folder for a client or a crew: a page that plays anywhere, and a set of sound files."""

from __future__ import annotations

import argparse
import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from auralize.commands.progress import ProgressLine, telling
from auralize.commands.render import as_makeup, as_match, as_seconds, as_start
from auralize.commands.shared import add_makeup, add_rig, loaded, picked
from auralize.errors import RequestError

if TYPE_CHECKING:
    from auralize.handover.options import HandoverOptions

DESCRIPTION = """\
Make a folder to hand over: page.html, which plays in any browser by a double
click, without a network, and switches between source, receiving end and drop of
every choice; and a demonstration set of sound files with a track, its cue
sheet, all gains and checksums. Made twice, it is the same to the byte."""
EXAMPLES = """\
examples:
  auralize handover lawn.toml music.wav --into lawn
  auralize handover lawn.toml music.wav --into lawn --match loudness --from 1:30
      --for "15 s"
  auralize handover lawn.toml music.wav --into lawn
      --steps "runs.lawn.length = 20 m, 40 m, 80 m"

The folder appears whole or not at all."""


def add(commands: Any) -> None:
    command = commands.add_parser(
        "handover",
        help="a folder with a page that plays anywhere, and a set of sound files",
        description=DESCRIPTION,
        epilog=EXAMPLES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    add_rig(command)
    command.add_argument(
        "sound", type=Path, metavar="SOUND", help="sound file, mono or stereo, of 8 to 96 kHz"
    )
    command.add_argument(
        "--into", type=Path, required=True, metavar="FOLDER", help="the folder to make; needed"
    )
    command.add_argument(
        "--replace",
        action="store_true",
        help="replace an earlier hand-over (default: only one that this same call made, unchanged); "
        "never a folder with any other file in it",
    )
    _add_gains(command)
    _add_content(command)
    command.set_defaults(command=run)


def _add_gains(command: argparse.ArgumentParser) -> None:
    command.add_argument(
        "--match",
        default="installed",
        metavar="HOW",
        help='how it begins: "installed" (no gain but common headroom), "loudness", or a frequency such '
        'as "1 kHz"; in the page the first two can be had too',
    )
    add_makeup(command)


def _add_content(command: argparse.ArgumentParser) -> None:
    """What is in the folder, besides its gains."""
    command.add_argument(
        "--from",
        dest="start",
        metavar="TIME",
        help='where the region begins, such as "90 s" or 1:30 (default: where the choices differ most)',
    )
    command.add_argument(
        "--for",
        dest="seconds",
        metavar="TIME",
        help='how long it is, such as "15 s" (default: 20 s, or less where the page would pass 10 MB)',
    )
    command.add_argument(
        "--sound",
        dest="kind",
        choices=("flac", "wav"),
        default="flac",
        help="kind of the sound in it, 24 bit (default: flac)",
    )
    command.add_argument(
        "--steps",
        metavar="VALUES",
        help="a slider: a value of the rig file by its key, in steps for all choices, such as "
        '"runs.pond.length = 20 m, 40 m"',
    )
    command.add_argument(
        "--date",
        metavar="DAY",
        help="the day it tells, such as 2026-05-01 (default: when the sound file was last changed)",
    )


@telling
def run(arguments: argparse.Namespace) -> None:
    from auralize.figures.columns import hanging
    from auralize.figures.sentences import heat
    from auralize.handover.handover import hand_over
    from auralize.handover.text import as_handed_over

    options = _options(arguments)
    rig = loaded(arguments)
    choices = picked(arguments, rig)
    with ProgressLine() as progress:
        done = hand_over(rig, choices, arguments.sound, arguments.into, options, progress)
    print(as_handed_over(done))
    for caution in heat(choices):
        print(hanging(caution))


def _options(arguments: argparse.Namespace) -> HandoverOptions:
    from auralize.handover.options import HandoverOptions

    equal = arguments.make_up == "equal"
    return HandoverOptions(
        match=as_match(arguments.match),
        makeup=None if equal or arguments.make_up is None else as_makeup(arguments.make_up),
        drops="equal" if equal else "one",
        start=None if arguments.start is None else as_start(arguments.start),
        seconds=None if arguments.seconds is None else as_seconds(arguments.seconds),
        kind=arguments.kind,
        steps=None if arguments.steps is None else _steps(arguments.steps),
        date=None if arguments.date is None else _day(arguments.date),
        replaces=arguments.replace,
    )


def _steps(text: str) -> Any:
    from auralize.rig.stepped import SteppedValue

    try:
        return SteppedValue.of(text)
    except RequestError as error:
        raise RequestError(f"--{error}") from None


def _day(text: str) -> datetime.date:
    try:
        return datetime.datetime.strptime(text, "%Y-%m-%d").date()  # no weeks, as ISO has them
    except ValueError:
        raise RequestError(
            f"--date: {text!r} was found; right is a day such as 2026-05-01"
        ) from None
