"""What figures and pictures share: the choice that others are compared with, and a programme to weigh by."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from auralize.rig.choice import Choice
    from auralize.rig.reading import Rig


def add_comparison(command: argparse.ArgumentParser) -> None:
    """The choice that others are compared with, and what it is weighted by."""
    command.add_argument(
        "--against", metavar="NAME", help="compare with this choice (figures: the first)"
    )
    command.add_argument(
        "--programme", type=Path, metavar="SOUND", help="weigh by the spectrum of this sound file"
    )


def against(arguments: argparse.Namespace, rig: Rig, choices: list[Choice]) -> Choice:
    """The choice that was asked for at the same loudspeaker, or the first of all."""
    if arguments.against is None:
        return choices[0]
    return rig[arguments.against].at(arguments.load)
