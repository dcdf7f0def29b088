"""What length or size would do for a tolerance."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from auralize.commands.progress import telling
from auralize.commands.shared import KINDS, add_rig, loaded, picked, tolerance
from auralize.errors import RequestError

if TYPE_CHECKING:
    from auralize.figures.fit import Kind
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
    limit.add_argument("--loss", metavar="DB", help='largest loss at the load, such as "0.5 dB"')
    limit.add_argument(
        "--deviation",
        metavar="DB",
        help="largest departure of the loss from that at 1 kHz, or in the middle of a band without it",
    )
    limit.add_argument("--damping", metavar="FACTOR", help="least damping factor at the load")
    limit.add_argument(
        "--heat", metavar="PERCENT", help="largest share of the programme's power lost in cable"
    )
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

    kind, limit = _tolerance(arguments)
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


def _tolerance(arguments: argparse.Namespace) -> tuple[Kind, float]:
    """What limits, and how much."""
    for kind in KINDS:
        if (text := getattr(arguments, kind)) is not None:
            return kind, tolerance(kind, text, f"--{kind}")
    raise AssertionError("argparse asks for one of them")


def _band(text: str) -> Band:
    from auralize.rig.loads import parse_band

    try:
        return parse_band(text)
    except ValueError as error:
        raise RequestError(f"--band: {error}") from None
