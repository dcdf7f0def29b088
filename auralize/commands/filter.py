"""Responses as filters to carry elsewhere."""

from __future__ import annotations

import argparse
import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from auralize.commands.progress import telling
from auralize.commands.shared import ONE, add_across, add_into, add_kind, add_rig, loaded, picked
from auralize.errors import RequestError, one_line

if TYPE_CHECKING:
    from auralize.circuit.signals import Signal
    from auralize.circuit.solution import Across
    from auralize.rig.choice import Choice
    from auralize.rig.reading import Rig

WHICH = f"{ONE}; a dsp takes all, or those that are given"


def add(commands: Any) -> None:
    command = commands.add_parser("filter", help="responses as filters to carry elsewhere")
    add_rig(command, WHICH)
    words = (
        "wav or txt: FIR; json: second-order sections; dsp: all choices, source, receiving end and drop "
        "with switches, as source text in Faust, for a plugin; it takes some seconds for each choice"
    )
    add_kind(command, ("wav", "txt", "json", "dsp"), words)
    add_into(command)
    command.add_argument(
        "--signal",
        choices=("receiving", "drop", "sending"),
        help="not with dsp, which has several (default: receiving)",
    )
    add_across(command)
    command.add_argument(
        "--rate",
        metavar="FREQUENCY",
        help='sample rate, such as "44.1 kHz" (default: 48 kHz; dsp: all usual ones)',
    )
    command.add_argument(
        "--minimum-phase", action="store_true", help="FIR without delay: magnitude exact, phase not"
    )
    command.set_defaults(command=run)


@telling
def run(arguments: argparse.Namespace) -> None:
    if arguments.minimum_phase and arguments.kind in ("json", "dsp"):
        raise RequestError(
            "--minimum-phase: second-order sections are minimum phase as they are; leave it out"
        )
    if arguments.kind == "dsp":
        _plugin(arguments)
    else:
        _one_filter(arguments)


def _one_filter(arguments: argparse.Namespace) -> None:
    from auralize.filters.export import export_filter, filter_name
    from auralize.outputs import made_folder
    from auralize.rig.work import working_out

    signal: Signal = arguments.signal or "receiving"
    if arguments.across != "both" and signal != "drop":
        raise RequestError("--across: it acts on the drop, which is not the --signal")
    rig = loaded(arguments)
    choices = picked(arguments, rig)
    if len(choices) != 1:
        names = ", ".join(rig.choices)
        raise RequestError(f"--choice: a filter is made from one choice; name one out of {names}")
    (choice,), rate = choices, _rate(arguments.rate or "48 kHz")
    what = (choice, signal, rate, arguments.minimum_phase)
    name = filter_name(arguments.rig.stem, *what, f".{arguments.kind}", arguments.across)
    path = arguments.into / name
    with made_folder(arguments.into), working_out(f"the filter of choice {choice.name}"):
        facts = export_filter(*what, path, arguments.across, replaces=arguments.replace)
    print(one_line(f"{path}: {facts}"))


def _plugin(arguments: argparse.Namespace) -> None:
    from auralize.filters.faust import RATES, export_faust, faust_name
    from auralize.filters.faust_text import PluginPanel
    from auralize.outputs import made_folder

    if arguments.signal:
        raise RequestError("--signal: a dsp has source, receiving end and drop; leave it out")
    rig: Rig = loaded(arguments)
    choices = picked(arguments, rig)
    rates = (_rate(arguments.rate),) if arguments.rate else RATES
    matches, makeup = _gains(choices, arguments.across)
    panel = PluginPanel(rig.title, arguments.across, rates, makeup)
    path = arguments.into / faust_name(arguments.rig.stem, choices, list(rig.choices), panel)
    with made_folder(arguments.into):
        facts = export_faust(choices, panel, matches, path, replaces=arguments.replace)
    print(one_line(f"{path}: {facts}"))


def _gains(choices: Sequence[Choice], across: Across) -> tuple[list[float], int]:
    """dB that match each choice to the source for pink noise, and the make-up that suits their drops.

    Peaks are taken to be as far apart as loudnesses, from a source that reaches the ceiling.
    """
    from auralize.audio.metering import Level
    from auralize.filters.faust import pink_loudness
    from auralize.gains import CEILING, chosen_makeup, loudness_gain
    from auralize.units import amplitude

    matches = [loudness_gain(0.0, pink_loudness(choice, "receiving")) for choice in choices]
    kept = [pink_loudness(choice, "drop", across) for choice in choices]
    drops = [Level(loudness, amplitude(CEILING + loudness)) for loudness in kept]
    return matches, round(chosen_makeup(0.0, zip(drops, matches, strict=True)))


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
