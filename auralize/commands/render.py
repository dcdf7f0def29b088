"""Sound files as they arrive, and what the cable keeps."""

from __future__ import annotations

import argparse
import math
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from auralize.commands.progress import ProgressLine, telling
from auralize.commands.shared import (
    add_across,
    add_into,
    add_makeup,
    add_rig,
    add_scheduler,
    executor_of,
    loaded,
    number_or_nan,
    picked,
    typed_or_nan,
)
from auralize.errors import RequestError, SomeFailedError

if TYPE_CHECKING:
    from auralize.circuit.signals import Signal
    from auralize.gains import Match
    from auralize.renderer.facts import Rendered
    from auralize.renderer.options import RenderOptions


def add(commands: Any) -> None:
    command = commands.add_parser(
        "render", help="sound files as they arrive, and what the cable keeps"
    )
    add_rig(command)
    command.add_argument(
        "sounds",
        type=Path,
        nargs="+",
        metavar="SOUND",
        help="sound file to render, or a folder: all in it by name, none below it",
    )
    add_into(command)
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
        help="out of receiving, drop, sending, and beside them source: at the same gain as the results; "
        "with commas (default: receiving,drop)",
    )
    add_across(command)
    _add_content(command)
    add_scheduler(command)
    command.set_defaults(command=run)


def _add_content(command: argparse.ArgumentParser) -> None:
    """What is in each result, besides the signal."""
    add_makeup(command)
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
    command.add_argument(
        "--from",
        dest="start",
        metavar="TIME",
        help='where an excerpt begins, such as "90 s" or 1:30; it is faded in and out in 10 ms',
    )
    command.add_argument(
        "--for", dest="seconds", metavar="TIME", help='how long it is, such as "20 s"'
    )
    command.add_argument("--mono", action="store_true", help="render the mean of all channels")


@telling
def run(arguments: argparse.Namespace) -> None:
    from auralize.figures.columns import hanging
    from auralize.figures.sentences import heat
    from auralize.renderer.batch import render_all, sounds_in
    from auralize.renderer.files import render
    from auralize.renderer.text import as_gains, as_summary

    options = _options(arguments)
    rig = loaded(arguments)
    choices = picked(arguments, rig)
    sounds = sounds_in(arguments.sounds)
    with ProgressLine() as progress:
        alone = len(sounds) == 1 and arguments.scheduler is None

        def tell(done: Rendered) -> None:
            progress.wipe()
            print(as_gains(done, alone=alone), flush=True)

        with executor_of(arguments, by_all=True) as executor:
            if alone:
                tell(render(sounds[0], choices, arguments.into, options, progress, executor))
                failed = []
            else:
                asked = replace(rig, choices={choice.name: choice for choice in choices})
                by = {"workers" if arguments.scheduler is None else "executor": executor}
                batch = render_all(sounds, asked, arguments.into, options, progress, tell, **by)
                failed = batch.failed
        if not alone:
            print(as_summary(batch))
    for caution in heat(choices):
        print(hanging(caution))
    if failed:
        names = ", ".join(path.name for path, _ in failed)
        raise SomeFailedError(f"of {len(sounds)} sound files {len(failed)} failed: {names}")


def _options(arguments: argparse.Namespace) -> RenderOptions:
    from auralize.renderer.options import RenderOptions
    from auralize.renderer.take import Excerpt

    signals, source = _signals(arguments.signals)
    if "drop" not in signals:
        for option, asked in (
            ("--make-up", arguments.make_up is not None),
            ("--across", arguments.across != "both"),
        ):
            if asked:
                raise RequestError(f"{option}: it acts on the drop, which is not among --signals")
    return RenderOptions(
        match=as_match(arguments.match),
        signals=signals,
        source=source,
        across=arguments.across,
        makeup=None if arguments.make_up in (None, "equal") else as_makeup(arguments.make_up),
        drops="equal" if arguments.make_up == "equal" else "one",
        depth=None if arguments.depth is None else _DEPTHS[arguments.depth],
        suffix=".flac" if arguments.flac else ".wav",
        tail=_tail(arguments.tail),
        excerpt=Excerpt(
            0.0 if arguments.start is None else as_start(arguments.start),
            None if arguments.seconds is None else as_seconds(arguments.seconds),
            arguments.mono,
        ),
        replaces=arguments.replace,
    )


_DEPTHS: Any = {"16": "PCM_16", "24": "PCM_24", "32": "PCM_32", "float": "FLOAT"}


def as_match(text: str) -> Match:
    """What was typed behind --match."""
    from auralize.gains import KNOWN_MATCHES, Match
    from auralize.units import parse_frequency

    said: str | float = text
    with suppress(ValueError):
        said = parse_frequency(text)
    try:
        return Match.of(said)
    except RequestError:
        raise RequestError(f"--match: {text!r} was found; right is {KNOWN_MATCHES}") from None


def _signals(text: str) -> tuple[tuple[Signal, ...], bool]:
    from auralize.renderer.options import signals_of

    try:
        return signals_of(part.strip() for part in text.split(","))
    except RequestError as error:
        raise RequestError(f"--{error}") from None


def as_makeup(text: str) -> float:
    """dB typed behind --make-up."""
    level = typed_or_nan(text, "level", "dB")
    if not 0.0 <= level <= 80.0:
        comma = ", and a point for a comma" if "," in text else ""
        raise RequestError(
            f"--make-up: {text!r} was found; right is a gain from 0 dB to 80 dB{comma}, or equal"
        )
    return level


def _tail(text: str) -> float:
    seconds = typed_or_nan(text, "time", "s")
    if not 0.0 <= seconds <= 60.0:
        raise RequestError(f"--tail: {text!r} was found; right is a time from 0 s to 60 s")
    return seconds


def as_start(text: str) -> float:
    """s typed behind --from."""
    minutes, colon, seconds = text.partition(":")
    moment = typed_or_nan(text, "time", "s")
    if colon and minutes.isdecimal():
        rest = number_or_nan(seconds)
        moment = 60.0 * int(minutes) + rest if 0.0 <= rest < 60.0 else math.nan
    if not 0.0 <= moment <= _LONGEST:
        raise RequestError(f'--from: {text!r} was found; right is a time such as "90 s" or 1:30')
    return moment


def as_seconds(text: str) -> float:
    """s typed behind --for."""
    seconds = typed_or_nan(text, "time", "s")
    if not 0.0 < seconds <= _LONGEST:
        raise RequestError(f'--for: {text!r} was found; right is a time above 0 s, such as "20 s"')
    return seconds


_LONGEST: Final = 86_400.0
"""s; one day."""
