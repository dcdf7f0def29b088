"""What length or size would do for a tolerance."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from auralize.commands.progress import telling
from auralize.commands.shared import add_limits, add_rig, limits, loaded, picked, tolerance
from auralize.errors import RequestError

if TYPE_CHECKING:
    from auralize.rig.loads import Band


def add(commands: Any) -> None:
    command = commands.add_parser("fit", help="what length or size would do for a tolerance")
    add_rig(command)
    what = command.add_mutually_exclusive_group()
    what.add_argument("--run", metavar="NAME", help="the run to fit (default: the only one)")
    what.add_argument(
        "--cable",
        metavar="NAME",
        help="size a cable over all runs that use it, for the worst of its loads",
    )
    limit = command.add_mutually_exclusive_group(required=True)
    add_limits(limit)
    command.add_argument(
        "--band",
        metavar="BAND",
        help='judged within this, such as "30 Hz to 120 Hz" (default: the band of the load, else 20 Hz to '
        "20 kHz; a damping factor: the band of the load, else DC)",
    )
    command.set_defaults(command=run)


@telling
def run(arguments: argparse.Namespace) -> None:
    from auralize.figures.fit import fit
    from auralize.figures.fit_text import as_fits
    from auralize.rig.work import working_out

    ((kind, text),) = limits(arguments).items()
    limit = tolerance(kind, text, f"--{kind}")
    band = None if arguments.band is None else _band(arguments.band)
    rig = loaded(arguments)
    found = []
    for choice in picked(arguments, rig):
        with working_out(f"what would do in choice {choice.name}"):
            found.append(
                fit(
                    rig,
                    choice,
                    arguments.run,
                    kind,
                    limit,
                    cable=arguments.cable,
                    load=arguments.load,
                    band=band,
                )
            )
    print(as_fits(rig.title, found, kind, limit))


def _band(text: str) -> Band:
    from auralize.rig.loads import parse_band

    try:
        return parse_band(text)
    except ValueError as error:
        raise RequestError(f"--band: {error}") from None
