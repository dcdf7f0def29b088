"""A sound file as it arrives, and what the cable keeps."""

from __future__ import annotations

import argparse
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any

from auralize.commands.progress import ProgressLine, telling
from auralize.commands.shared import add_across, add_rig, loaded, picked, typed_or_nan
from auralize.errors import RequestError

if TYPE_CHECKING:
    from auralize.circuit.signals import Signal
    from auralize.gains import Match


def add(commands: Any) -> None:
    command = commands.add_parser(
        "render", help="a sound file as it arrives, and what the cable keeps"
    )
    add_rig(command)
    command.add_argument("programme", type=Path, metavar="SOUND", help="sound file to render")
    command.add_argument(
        "--into",
        type=Path,
        default=Path(),
        metavar="FOLDER",
        help="where results go, made where it is not there (default: here)",
    )
    command.add_argument(
        "--match",
        default="installed",
        metavar="HOW",
        help='"installed" (no gain but common headroom), "loudness", or a frequency such as "1 kHz"',
    )
    command.add_argument(
        "--signals",
        default="receiving,drop",
        metavar="LIST",
        help="out of receiving, drop, sending; with commas (default: receiving,drop)",
    )
    add_across(command)
    command.add_argument(
        "--make-up",
        metavar="DB",
        help='gain on the drop, such as "20 dB" (default: chosen, and shown)',
    )
    command.add_argument(
        "--depth",
        choices=("16", "24", "32", "float"),
        help="bits of the results (default: as the source)",
    )
    command.add_argument("--flac", action="store_true", help="write FLAC instead of WAV")
    command.add_argument(
        "--tail",
        default="0 s",
        metavar="TIME",
        help='decay to keep after the end, such as "2 s" (default: none)',
    )
    command.set_defaults(command=run)


@telling
def run(arguments: argparse.Namespace) -> None:
    from auralize.figures.text import HEAT
    from auralize.renderer.files import RenderOptions, render
    from auralize.renderer.text import as_gains

    options = RenderOptions(
        match=_match(arguments.match),
        signals=_signals(arguments.signals),
        across=arguments.across,
        makeup=None if arguments.make_up is None else _makeup(arguments.make_up),
        depth=None if arguments.depth is None else _DEPTHS[arguments.depth],
        suffix=".flac" if arguments.flac else ".wav",
        tail=_tail(arguments.tail),
    )
    if "drop" not in options.signals:
        for option, asked in (
            ("--make-up", arguments.make_up is not None),
            ("--across", arguments.across != "both"),
        ):
            if asked:
                raise RequestError(f"{option}: it acts on the drop, which is not among --signals")
    choices = picked(arguments, loaded(arguments))
    with ProgressLine() as progress:
        done = render(arguments.programme, choices, arguments.into, options, progress)
    print(as_gains(done))
    if any(run.lay and run.lay.coiled for choice in choices for run in choice.runs.values()):
        print(HEAT)


_DEPTHS: Any = {"16": "PCM_16", "24": "PCM_24", "32": "PCM_32", "float": "FLOAT"}


def _match(text: str) -> Match:
    from auralize.gains import KNOWN_MATCHES, Match
    from auralize.units import parse_frequency

    said: str | float = text
    with suppress(ValueError):
        said = parse_frequency(text)
    try:
        return Match.of(said)
    except RequestError:
        raise RequestError(f"--match: {text!r} was found; right is {KNOWN_MATCHES}") from None


def _signals(text: str) -> tuple[Signal, ...]:
    from auralize.circuit.signals import SIGNALS

    asked = [part.strip() for part in text.split(",")]
    for name in asked:
        if name not in SIGNALS:
            raise RequestError(f"--signals: {name!r} is not known; right are {', '.join(SIGNALS)}")
    return tuple(signal for signal in SIGNALS if signal in asked)


def _makeup(text: str) -> float:
    level = typed_or_nan(text, "level", "dB")
    if not 0.0 <= level <= 80.0:
        comma = ", and a point for a comma" if "," in text else ""
        raise RequestError(
            f"--make-up: {text!r} was found; right is a gain from 0 dB to 80 dB{comma}"
        )
    return level


def _tail(text: str) -> float:
    seconds = typed_or_nan(text, "time", "s")
    if not 0.0 <= seconds <= 60.0:
        raise RequestError(f"--tail: {text!r} was found; right is a time from 0 s to 60 s")
    return seconds
