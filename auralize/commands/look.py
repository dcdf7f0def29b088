"""What figures and pictures share: a choice to compare with, a programme to weigh by; how pictures look."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from auralize.errors import RequestError

if TYPE_CHECKING:
    from auralize.circuit.power import Drive
    from auralize.figures.picture import Look
    from auralize.rig.choice import Choice
    from auralize.rig.reading import Rig


def add_comparison(command: argparse.ArgumentParser) -> None:
    """The choice that others are compared with, and what it is weighted by."""
    command.add_argument(
        "--against", metavar="NAME", help="the choice that all others are compared with"
    )
    command.add_argument(
        "--programme",
        dest="weighing",
        type=Path,
        metavar="SOUND",
        help="a sound file, for its spectrum",
    )


def against(arguments: argparse.Namespace, rig: Rig, choices: list[Choice]) -> Choice:
    """The choice that was asked for at the same loudspeaker, or the first of all."""
    if arguments.against is None:
        return choices[0]
    return rig[arguments.against].at(arguments.load)


def sound(arguments: argparse.Namespace) -> Drive | None:
    """The spectrum of the sound file that was given; None where none was."""
    from auralize.figures.against import spectrum_of

    return None if arguments.weighing is None else spectrum_of(arguments.weighing)


def add_look(command: argparse.ArgumentParser) -> None:
    """How a picture looks."""
    command.add_argument(
        "--size", metavar="SIZE", help='width x height, such as "16 x 12 cm" (default: 8 x 11 in)'
    )
    command.add_argument("--dark", action="store_true", help="light lines on dark paper")


def look(arguments: argparse.Namespace) -> Look:
    """The size of the page, and its paper."""
    from auralize.figures.picture import PLAIN, Look

    size = PLAIN.size if arguments.size is None else _size(arguments.size)
    return Look(size, arguments.dark)


def _size(text: str) -> tuple[float, float]:
    """Inches of "16 x 12 cm", or of "6 in x 4 in"."""
    from auralize.figures.picture import LARGEST, SMALLEST
    from auralize.units import INCH, parse

    sides = [side.strip() for side in text.split("x")]
    unit = sides[-1].lstrip("0123456789. ")
    try:
        width, height = (
            parse(side if side[-1:].isalpha() else f"{side} {unit}", "length") / INCH
            for side in sides
        )
    except ValueError:
        width = height = 0.0
    if not (SMALLEST <= width <= LARGEST and SMALLEST <= height <= LARGEST):
        raise RequestError(
            f'--size: {text!r} was found; right is width x height, such as "16 x 12 cm", each from '
            "12 cm to 2 m"
        )
    return width, height
