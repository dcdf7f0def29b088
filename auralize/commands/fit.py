"""What length or size would do for a tolerance."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from auralize.commands.progress import telling
from auralize.commands.shared import add_rig, loaded, number_or_nan, picked, typed_or_nan
from auralize.errors import RequestError

if TYPE_CHECKING:
    from auralize.figures.fit import Kind


def add(commands: Any) -> None:
    command = commands.add_parser("fit", help="what length or size would do for a tolerance")
    add_rig(command)
    command.add_argument("--run", metavar="NAME", help="the run to fit (default: the only one)")
    limit = command.add_mutually_exclusive_group(required=True)
    limit.add_argument("--loss", metavar="DB", help="largest loss, 20 Hz to 20 kHz")
    limit.add_argument("--deviation", metavar="DB", help="largest deviation of it from 1 kHz")
    limit.add_argument("--heat", metavar="PERCENT", help="largest share of the power in the cable")
    command.set_defaults(command=run)


@telling
def run(arguments: argparse.Namespace) -> None:
    from auralize.figures.fit import fit
    from auralize.figures.text import as_fits
    from auralize.rig.work import working_out

    kind, tolerance = _tolerance(arguments)
    rig = loaded(arguments)
    found = []
    for choice in picked(arguments, rig):
        with working_out(f"what would do in choice {choice.name}"):
            found.append(fit(rig, choice, arguments.run, kind, tolerance))
    print(as_fits(rig.title, found, kind, tolerance))


def _tolerance(arguments: argparse.Namespace) -> tuple[Kind, float]:
    """What limits, and how much: dB, or a share of the power."""
    if arguments.heat is not None:
        share = number_or_nan(arguments.heat.strip().removesuffix("%")) / 100.0
        if not 0.0 < share < 1.0:
            raise RequestError(
                f'--heat: {arguments.heat!r} was found; right is a share such as "10 %"'
            )
        return "heat", share
    kind: Kind = "loss" if arguments.loss is not None else "deviation"
    text = arguments.loss if kind == "loss" else arguments.deviation
    level = typed_or_nan(text, "level", "dB")
    if not 0.0 < level <= 40.0:
        raise RequestError(f'--{kind}: {text!r} was found; right is a level such as "0.5 dB"')
    return kind, level
