"""The command line: reads what was asked, calls the library, prints. Nothing heavy is imported for --help."""

from __future__ import annotations

import argparse
import errno
import io
import math
import os
import signal
import sys
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

from auralize.errors import AuralizeError, ExitCode, RequestError

if TYPE_CHECKING:
    from auralize.figures.fit import Kind
    from auralize.render import Match, Signal
    from auralize.rig.choice import Choice
    from auralize.rig.reading import Rig
    from auralize.units import Quantity

DESCRIPTION = """\
Hear what a loudspeaker cable run does to programme material, before anyone buys or pulls copper.
A rig file (TOML) describes amplifier, cables, runs and loudspeakers, and the choices to compare."""

CAUTION = """\
Start quiet: a drop with make-up gain can be as loud as the programme. This tool predicts sound; it
approves no wiring. Loudspeaker lines can carry dangerous voltage: local codes and licensed practice
decide what may be installed."""


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command; returns the exit code."""
    arguments = _parser().parse_args(argv)
    command: Callable[[argparse.Namespace], None] = arguments.command
    signal.signal(signal.SIGTERM, signal.default_int_handler)  # as Ctrl-C: nothing partial is left
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
    _add_figures(commands)
    _add_render(commands)
    _add_fit(commands)
    _add_plot(commands)
    _add_filter(commands)
    _add_bench(commands)
    _add_trials(commands)
    _add_demo(commands)
    return parser


_SOME = "only this choice; may be given several times (default: all)"
_ONE = "the choice to take; needed where the rig has several"


def _add_rig(command: argparse.ArgumentParser, which: str = _SOME) -> None:
    command.add_argument("rig", type=Path, metavar="RIG", help="rig file (TOML)")
    command.add_argument("--choice", action="append", default=[], metavar="NAME", help=which)
    command.add_argument(
        "--load", metavar="NAME", help="hear this loudspeaker (default: what the rig file says)"
    )


def _picked(arguments: argparse.Namespace, rig: Rig) -> list[Choice]:
    """The choices that were asked for, at the loudspeaker that was asked for."""
    return [choice.at(arguments.load) for choice in rig.pick(arguments.choice)]


def _add_figures(commands: Any) -> None:
    command = commands.add_parser("figures", help="loss, deviation, damping, power: the numbers")
    _add_rig(command)
    command.add_argument(
        "--at",
        default="octaves",
        metavar="WHERE",
        help='"octaves", "thirds", or frequencies with commas: "100 Hz,1 kHz,16 kHz"',
    )
    form = command.add_mutually_exclusive_group()
    form.add_argument("--json", action="store_true", help="print JSON")
    form.add_argument("--csv", action="store_true", help="print comma-separated values")
    command.set_defaults(command=_figures)


def _add_render(commands: Any) -> None:
    command = commands.add_parser(
        "render", help="a sound file as it arrives, and what the cable keeps"
    )
    _add_rig(command)
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
    command.add_argument(
        "--conductors", type=int, choices=(1, 2), help="drop over one conductor or both"
    )
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
    command.set_defaults(command=_render)


def _add_fit(commands: Any) -> None:
    command = commands.add_parser("fit", help="what length or size would do for a tolerance")
    _add_rig(command)
    command.add_argument("--run", metavar="NAME", help="the run to fit (default: the only one)")
    limit = command.add_mutually_exclusive_group(required=True)
    limit.add_argument("--loss", metavar="DB", help="largest loss, 20 Hz to 20 kHz")
    limit.add_argument("--deviation", metavar="DB", help="largest deviation of it from 1 kHz")
    limit.add_argument("--heat", metavar="PERCENT", help="largest share of the power in the cable")
    command.set_defaults(command=_fit)


def _add_plot(commands: Any) -> None:
    command = commands.add_parser("plot", help="loss, drop and load over frequency, as a picture")
    _add_rig(command)
    command.add_argument("picture", type=Path, metavar="FILE", help=".png, .svg or .pdf")
    command.add_argument(
        "--every-load", action="store_true", help="a curve for every loudspeaker of the rig"
    )
    command.set_defaults(command=_plot)


def _add_filter(commands: Any) -> None:
    command = commands.add_parser("filter", help="one response as a filter to carry elsewhere")
    _add_rig(command, _ONE)
    command.add_argument(
        "file", type=Path, metavar="FILE", help=".wav or .txt for FIR, .json for IIR"
    )
    command.add_argument("--signal", choices=("receiving", "drop", "sending"), default="receiving")
    command.add_argument(
        "--rate",
        default="48 kHz",
        metavar="FREQUENCY",
        help='sample rate, such as "44.1 kHz" (default: 48 kHz)',
    )
    command.add_argument(
        "--minimum-phase", action="store_true", help="FIR without delay: magnitude exact, phase not"
    )
    command.set_defaults(command=_filter)


def _add_bench(commands: Any) -> None:
    command = commands.add_parser(
        "bench", help="listen live, switch, edit, blind trials: in the terminal"
    )
    command.add_argument("rig", type=Path, metavar="RIG", help="rig file (TOML)")
    command.add_argument("programme", type=Path, metavar="SOUND", help="sound file to listen to")
    command.add_argument("--output", metavar="DEVICE", help="name or number of the output device")
    command.add_argument(
        "--sessions",
        type=Path,
        default=Path("trials"),
        metavar="FOLDER",
        help="where logs of blind trials go (default: trials)",
    )
    command.set_defaults(command=_bench)


def _add_trials(commands: Any) -> None:
    command = commands.add_parser("trials", help="check logs of blind trials and sum them up")
    command.add_argument(
        "logs", type=Path, nargs="+", metavar="LOG", help="log of a session (.jsonl)"
    )
    command.set_defaults(command=_trials)


def _add_demo(commands: Any) -> None:
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
    command.set_defaults(command=_demo)


def _figures(arguments: argparse.Namespace) -> None:
    from auralize.figures import numbers as figures
    from auralize.figures import text as show
    from auralize.rig.reading import load_rig

    rig = load_rig(arguments.rig)
    frequencies = _frequencies(arguments.at)
    found = [figures.figures(choice, frequencies) for choice in _picked(arguments, rig)]
    if arguments.json:
        print(show.as_json(rig.title, found))
    elif arguments.csv:
        print(show.as_csv(found), end="")
    else:
        print(show.as_table(rig.title, found))


def _frequencies(text: str) -> tuple[float, ...]:
    from auralize.circuit.cable import TABLE_TOP
    from auralize.figures import numbers as figures
    from auralize.units import parse_frequency

    named = {"octaves": figures.OCTAVES, "thirds": figures.THIRD_OCTAVES}
    if text in named:
        return named[text]
    try:
        given = tuple(parse_frequency(part) for part in text.split(","))
    except ValueError as error:
        raise RequestError(f'--at: {error}, or "octaves", or "thirds"') from None
    if not all(0.0 <= f <= TABLE_TOP for f in given):
        raise RequestError(f"--at: {text!r} was found; right are frequencies from 0 Hz to 1 MHz")
    return given


def _render(arguments: argparse.Namespace) -> None:
    from auralize.figures import text as show
    from auralize.render import Wishes, render
    from auralize.rig.reading import load_rig

    wishes = Wishes(
        match=_match(arguments.match),
        signals=_signals(arguments.signals),
        conductors=arguments.conductors or 2,
        makeup=None if arguments.make_up is None else _decibels(arguments.make_up),
        depth=None if arguments.depth is None else _DEPTHS[arguments.depth],
        suffix=".flac" if arguments.flac else ".wav",
        tail=_tail(arguments.tail),
    )
    for option, value in (("--make-up", arguments.make_up), ("--conductors", arguments.conductors)):
        if value is not None and "drop" not in wishes.signals:
            raise RequestError(f"{option}: it acts on the drop, which is not among --signals")
    choices = _picked(arguments, load_rig(arguments.rig))
    with _ProgressLine() as progress:
        done = render(arguments.programme, choices, arguments.into, wishes, progress)
    print(show.as_gains(done))
    if any(run.lay and run.lay.coiled for choice in choices for run in choice.runs.values()):
        print(show.HEAT)


_DEPTHS: Any = {"16": "PCM_16", "24": "PCM_24", "32": "PCM_32", "float": "FLOAT"}


def _match(text: str) -> Match:
    from auralize.units import parse_frequency

    if text == "installed" or text == "loudness":
        return text  # type: ignore[return-value]
    try:
        frequency = parse_frequency(text)
    except ValueError:
        frequency = 0.0
    if not 10.0 <= frequency <= 40_000.0:
        raise RequestError(
            f'--match: {text!r} was found; right is "installed", "loudness", or a frequency from 10 Hz '
            "to 40 kHz"
        )
    return frequency


def _signals(text: str) -> tuple[Signal, ...]:
    from auralize.render import SIGNALS

    asked = [part.strip() for part in text.split(",")]
    for name in asked:
        if name not in SIGNALS:
            raise RequestError(f"--signals: {name!r} is not known; right are {', '.join(SIGNALS)}")
    return tuple(signal for signal in SIGNALS if signal in asked)


def _decibels(text: str) -> float:
    level = _typed(text, "level", "dB")
    if not 0.0 <= level <= 80.0:
        comma = ", and a point for a comma" if "," in text else ""
        raise RequestError(
            f"--make-up: {text!r} was found; right is a gain from 0 dB to 80 dB{comma}"
        )
    return level


def _tail(text: str) -> float:
    seconds = _typed(text, "time", "s")
    if not 0.0 <= seconds <= 60.0:
        raise RequestError(f"--tail: {text!r} was found; right is a time from 0 s to 60 s")
    return seconds


def _fit(arguments: argparse.Namespace) -> None:
    from auralize.figures import text as show
    from auralize.figures.fit import fit
    from auralize.rig.reading import load_rig

    kind, tolerance = _tolerance(arguments)
    rig = load_rig(arguments.rig)
    found = [fit(rig, choice, arguments.run, kind, tolerance) for choice in _picked(arguments, rig)]
    print(show.as_fits(rig.title, found, kind, tolerance))


def _tolerance(arguments: argparse.Namespace) -> tuple[Kind, float]:
    """What limits, and how much: dB, or a share of the power."""
    if arguments.heat is not None:
        share = _number(arguments.heat.strip().removesuffix("%")) / 100.0
        if not 0.0 < share < 1.0:
            raise RequestError(
                f'--heat: {arguments.heat!r} was found; right is a share such as "10 %"'
            )
        return "heat", share
    kind: Kind = "loss" if arguments.loss is not None else "deviation"
    text = arguments.loss if kind == "loss" else arguments.deviation
    level = _typed(text, "level", "dB")
    if not 0.0 < level <= 40.0:
        raise RequestError(f'--{kind}: {text!r} was found; right is a level such as "0.5 dB"')
    return kind, level


def _typed(text: str, quantity: Quantity, unit: str) -> float:
    """A quantity as typed, a bare number being in ``unit``; not a number where it is none."""
    from auralize.units import typed

    try:
        return typed(text, quantity, unit)
    except ValueError:
        return math.nan


def _number(text: str) -> float:
    """A number as typed; not a number where it is none."""
    try:
        return float(text)
    except ValueError:
        return math.nan


def _plot(arguments: argparse.Namespace) -> None:
    from auralize.figures.picture import save_plot
    from auralize.rig.reading import load_rig

    rig = load_rig(arguments.rig)
    choices = _picked(arguments, rig)
    if arguments.every_load:
        choices = [choice.at(load) for choice in choices for load in choice.network.loads]
    print(save_plot(rig.title, choices, arguments.picture))


def _filter(arguments: argparse.Namespace) -> None:
    from auralize.filters.export import export_filter
    from auralize.rig.reading import load_rig

    rig = load_rig(arguments.rig)
    choices = _picked(arguments, rig)
    if len(choices) != 1:
        names = ", ".join(rig.choices)
        raise RequestError(f"--choice: a filter is made from one choice; name one out of {names}")
    rate = _rate(arguments.rate)
    print(
        export_filter(choices[0], arguments.signal, rate, arguments.minimum_phase, arguments.file)
    )


def _rate(text: str) -> int:
    """A sample rate in Hz, of which an exporter says whether it can be."""
    from auralize.units import parse_frequency

    try:
        hertz = parse_frequency(text)
    except ValueError:
        hertz = math.nan
    if not hertz.is_integer():
        raise RequestError(
            f'--rate: {text!r} was found; right is a whole number of Hz, such as "48 kHz"'
        )
    return int(hertz)


def _bench(arguments: argparse.Namespace) -> None:
    from importlib.metadata import entry_points

    if not (sys.stdin.isatty() and sys.stdout.isatty()):
        raise RequestError(
            "the bench needs a terminal; run it in one, not through a pipe or from a script"
        )
    # The core knows no screen: the bench is found by the name under which it is installed.
    (screen,) = entry_points(group="auralize.screens", name="bench")
    screen.load()(arguments.rig, arguments.programme, arguments.output, arguments.sessions)


def _trials(arguments: argparse.Namespace) -> None:
    from auralize.trials.checking import summarise

    summary = summarise(arguments.logs)
    print("\n".join(summary.sentences))
    refused = [check.path for check in summary.checks if check.state == "refused"]
    if refused:
        raise RequestError(f"{', '.join(str(path) for path in refused)}: refused, and not counted")


def _demo(arguments: argparse.Namespace) -> None:
    from audio_demo.demo import make_demo

    with _ProgressLine() as progress:
        text = make_demo(arguments.folder, progress)
    print(text)
    print(CAUTION)


class _ProgressLine:
    """Share done and time left on stderr, for work of over two seconds, if a person watches."""

    def __init__(self) -> None:
        self._start = time.monotonic()
        self._shown = 0.0
        self._watched = sys.stderr.isatty()

    def __enter__(self) -> _ProgressLine:
        return self

    def __exit__(self, *exception: object) -> None:
        if self._shown:
            print("\r\033[K", end="", file=sys.stderr, flush=True)

    def __call__(self, share: float) -> None:
        now = time.monotonic()
        spent = now - self._start
        if not self._watched or spent < 2.0 or now - self._shown < 0.2 or share <= 0.0:
            return
        self._shown = now
        left = spent / share - spent
        print(f"\r\033[K{share:4.0%} done, {left:.0f} s left", end="", file=sys.stderr, flush=True)
