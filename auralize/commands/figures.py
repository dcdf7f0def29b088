"""The numbers: a table, JSON or comma-separated values."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from auralize.commands.look import add_comparison, against, sound
from auralize.commands.progress import telling
from auralize.commands.shared import add_across, add_rig, loaded, picked
from auralize.errors import RequestError

if TYPE_CHECKING:
    from auralize.figures.against import Difference
    from auralize.rig.choice import Choice


def add(commands: Any) -> None:
    command = commands.add_parser("figures", help="loss, deviation, damping, power: the numbers")
    add_rig(command)
    command.add_argument(
        "--at",
        default="octaves",
        metavar="WHERE",
        help='"octaves", "thirds", or frequencies with commas: "100 Hz,1 kHz,16 kHz"',
    )
    add_across(command)
    add_comparison(command)
    form = command.add_mutually_exclusive_group()
    form.add_argument("--json", action="store_true", help="print JSON")
    form.add_argument("--csv", action="store_true", help="print comma-separated values")
    command.add_argument(
        "--by",
        choices=("frequency", "loudspeaker", "choice"),
        default="frequency",
        help="what the rows of --csv are by (default: frequency)",
    )
    command.set_defaults(command=run)


@telling
def run(arguments: argparse.Namespace) -> None:
    from auralize.figures import data
    from auralize.figures.numbers import figures
    from auralize.figures.text import as_table
    from auralize.rig.work import working_out

    if arguments.by != "frequency" and not arguments.csv:
        raise RequestError("--by says what the rows of --csv are by; right is both, or neither")
    rig = loaded(arguments)
    frequencies = _frequencies(arguments.at)
    found, choices = [], picked(arguments, rig)
    first = against(arguments, rig, choices)
    for choice in choices:
        with working_out(f"the figures of choice {choice.name}"):
            found.append(figures(choice, frequencies, arguments.across))
    compared = _compared(arguments, choices, first)
    if arguments.json:
        print(data.as_json(rig.title, found, compared))
    elif arguments.csv:
        print(data.as_csv(found, arguments.by, compared), end="")
    else:
        print(as_table(rig.title, found, compared))


def _compared(
    arguments: argparse.Namespace, choices: list[Choice], first: Choice
) -> list[Difference]:
    """Each choice against the first; nothing where there is no other."""
    from auralize.figures.against import differences
    from auralize.rig.work import working_out

    programme = sound(arguments)
    with working_out("the comparison"):
        return differences(choices, first, programme, arguments.across)


def _frequencies(text: str) -> tuple[float, ...]:
    from auralize.audio.bands import OCTAVES, THIRD_OCTAVES
    from auralize.circuit.cable import TABLE_TOP
    from auralize.units import parse_frequency

    named = {"octaves": OCTAVES, "thirds": THIRD_OCTAVES}
    if text in named:
        return named[text]
    try:
        given = tuple(parse_frequency(part) for part in text.split(","))
    except ValueError as error:
        raise RequestError(f'--at: {error}, or "octaves", or "thirds"') from None
    if not all(0.0 <= f <= TABLE_TOP for f in given):
        raise RequestError(f"--at: {text!r} was found; right are frequencies from 0 Hz to 1 MHz")
    return given
