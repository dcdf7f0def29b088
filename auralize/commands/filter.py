"""One response as a filter to carry elsewhere."""

from __future__ import annotations

import argparse
import math
from pathlib import Path
from typing import Any

from auralize.commands.progress import telling
from auralize.commands.shared import ONE, add_across, add_rig, loaded, picked
from auralize.errors import RequestError


def add(commands: Any) -> None:
    command = commands.add_parser("filter", help="one response as a filter to carry elsewhere")
    add_rig(command, ONE)
    command.add_argument(
        "file", type=Path, metavar="FILE", help=".wav or .txt for FIR, .json for IIR"
    )
    command.add_argument("--signal", choices=("receiving", "drop", "sending"), default="receiving")
    add_across(command)
    command.add_argument(
        "--rate",
        default="48 kHz",
        metavar="FREQUENCY",
        help='sample rate, such as "44.1 kHz" (default: 48 kHz)',
    )
    command.add_argument(
        "--minimum-phase", action="store_true", help="FIR without delay: magnitude exact, phase not"
    )
    command.set_defaults(command=run)


@telling
def run(arguments: argparse.Namespace) -> None:
    from auralize.filters.export import export_filter
    from auralize.rig.work import working_out

    if arguments.across != "both" and arguments.signal != "drop":
        raise RequestError("--across: it acts on the drop, which is not the --signal")
    rig = loaded(arguments)
    choices = picked(arguments, rig)
    if len(choices) != 1:
        names = ", ".join(rig.choices)
        raise RequestError(f"--choice: a filter is made from one choice; name one out of {names}")
    (choice,), rate = choices, _rate(arguments.rate)
    minimum_phase, across = arguments.minimum_phase, arguments.across
    with working_out(f"the filter of choice {choice.name}"):
        facts = export_filter(choice, arguments.signal, rate, minimum_phase, arguments.file, across)
    print(facts)


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
