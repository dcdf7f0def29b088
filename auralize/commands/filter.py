"""One response as a filter to carry elsewhere."""

from __future__ import annotations

import argparse
import math
from typing import Any

from auralize.commands.progress import telling
from auralize.commands.shared import ONE, add_across, add_into, add_kind, add_rig, loaded, picked
from auralize.errors import RequestError, one_line


def add(commands: Any) -> None:
    command = commands.add_parser("filter", help="one response as a filter to carry elsewhere")
    add_rig(command, ONE)
    add_kind(command, ("wav", "txt", "json"), "wav or txt: FIR; json: second-order sections")
    add_into(command)
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
    from auralize.filters.export import export_filter, filter_name
    from auralize.outputs import made_folder
    from auralize.rig.work import working_out

    if arguments.across != "both" and arguments.signal != "drop":
        raise RequestError("--across: it acts on the drop, which is not the --signal")
    rig = loaded(arguments)
    choices = picked(arguments, rig)
    if len(choices) != 1:
        names = ", ".join(rig.choices)
        raise RequestError(f"--choice: a filter is made from one choice; name one out of {names}")
    (choice,), rate = choices, _rate(arguments.rate)
    if arguments.kind == "json" and arguments.minimum_phase:
        raise RequestError(
            "--minimum-phase: second-order sections are minimum phase as they are; leave it out"
        )
    what = (choice, arguments.signal, rate, arguments.minimum_phase)
    name = filter_name(arguments.rig.stem, *what, f".{arguments.kind}", arguments.across)
    path = arguments.into / name
    with made_folder(arguments.into), working_out(f"the filter of choice {choice.name}"):
        facts = export_filter(*what, path, arguments.across, replaces=arguments.replace)
    print(one_line(f"{path}: {facts}"))


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
