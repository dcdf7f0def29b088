"""What several commands share: the rig and its choices, quantities as typed, parts found by name."""

from __future__ import annotations

import argparse
import math
from collections.abc import Sequence
from contextlib import AbstractContextManager, nullcontext
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from auralize.errors import RequestError

if TYPE_CHECKING:
    from concurrent.futures import Executor

    from auralize.figures.fit import Kind
    from auralize.rig.choice import Choice
    from auralize.rig.reading import Rig
    from auralize.units import Quantity

CAUTION = """\
Start quiet: a drop with make-up gain can be as loud as the programme. This tool predicts sound; it
approves no wiring. Loudspeaker lines can carry dangerous voltage: local codes and licensed practice
decide what may be installed."""

SOME = "only this choice; may be given several times (default: all)"
ONE = "the choice to take; needed where the rig has several"


def add_rig(command: argparse.ArgumentParser, which: str = SOME) -> None:
    """The rig file, and which of its choices and loudspeakers."""
    add_rig_file(command)
    command.add_argument("--choice", action="append", default=[], metavar="NAME", help=which)
    command.add_argument(
        "--load", metavar="NAME", help="hear this loudspeaker (default: what the rig file says)"
    )


def add_rig_file(command: argparse.ArgumentParser) -> None:
    """The rig file, and where its measurements may lie."""
    command.add_argument("rig", type=Path, metavar="RIG", help="rig file (TOML)")
    command.add_argument(
        "--files-anywhere",
        action="store_true",
        help="let the rig file name measurements outside of its folder",
    )


def add_across(command: argparse.ArgumentParser) -> None:
    """Which conductors the drop is over."""
    command.add_argument(
        "--across",
        choices=("both", "plus", "minus"),
        default="both",
        help="drop over both conductors, over plus, or over minus (default: both)",
    )


def add_makeup(command: argparse.ArgumentParser) -> None:
    """The gain on the drop."""
    command.add_argument(
        "--make-up",
        metavar="DB",
        help='gain on the drop, such as "20 dB", or "equal": for each its own, so that all drops are '
        "equally loud (default: one for all, chosen; always shown)",
    )


def add_into(command: argparse.ArgumentParser) -> None:
    """Where results go, and what becomes of files that are there."""
    command.add_argument(
        "--into",
        type=Path,
        default=Path(),
        metavar="FOLDER",
        help="where results go, made where it is not there (default: here)",
    )
    add_replace(command)


def add_kind(command: argparse.ArgumentParser, kinds: Sequence[str], words: str) -> None:
    """What kind of file is written; the first of them if nothing else is asked for."""
    command.add_argument(
        "--as", dest="kind", choices=kinds, default=kinds[0], help=f"{words} (default: {kinds[0]})"
    )


def add_replace(command: argparse.ArgumentParser) -> None:
    """What becomes of files that are there."""
    command.add_argument(
        "--replace",
        action="store_true",
        help="replace files that are there (default: only those that this same call made, unchanged)",
    )


def add_scheduler(command: argparse.ArgumentParser) -> None:
    """Who does the work."""
    command.add_argument(
        "--scheduler",
        metavar="ADDRESS",
        help="let the workers of this dask scheduler do it, such as tcp://192.168.1.10:8786 (default: this "
        "machine alone)",
    )


def executor_of(
    arguments: argparse.Namespace, by_all: bool = False
) -> AbstractContextManager[Executor | None]:
    """The workers that were asked for; else none, or where it pays all processors of this machine."""
    from auralize.executors import Processes, cluster, processors

    if arguments.scheduler is not None:
        return cluster(arguments.scheduler)
    return Processes() if by_all and processors() > 1 else nullcontext()


def loaded(arguments: argparse.Namespace) -> Rig:
    """The rig that was asked for."""
    from auralize.rig.reading import load_rig

    return load_rig(arguments.rig, files_anywhere=arguments.files_anywhere)


def picked(arguments: argparse.Namespace, rig: Rig) -> list[Choice]:
    """The choices that were asked for, at the loudspeaker that was asked for."""
    return [choice.at(arguments.load) for choice in rig.pick(arguments.choice)]


def typed_or_nan(text: str, quantity: Quantity, unit: str) -> float:
    """A quantity as typed, a bare number being in ``unit``; not a number where it is none."""
    from auralize.units import typed

    try:
        return typed(text, quantity, unit)
    except ValueError:
        return math.nan


def number_or_nan(text: str) -> float:
    """A number as typed; not a number where it is none."""
    try:
        return float(text)
    except ValueError:
        return math.nan


KINDS: Final[tuple[Kind, ...]] = ("loss", "deviation", "damping", "heat")
"""Figures that can be limited."""


def add_limits(command: argparse._ActionsContainer) -> None:
    """What is limited, and how much."""
    command.add_argument("--loss", metavar="DB", help='largest loss at the load, such as "0.5 dB"')
    command.add_argument(
        "--deviation",
        metavar="DB",
        help="largest departure of the loss from that at 1 kHz, or in the middle of a band without it",
    )
    command.add_argument("--damping", metavar="FACTOR", help="least damping factor at the load")
    command.add_argument(
        "--heat", metavar="PERCENT", help="largest share of the programme's power lost in cable"
    )


def limits(arguments: argparse.Namespace) -> dict[Kind, str]:
    """Those that were asked for, as typed."""
    texts = {kind: getattr(arguments, kind) for kind in KINDS}
    return {kind: text for kind, text in texts.items() if text is not None}


def tolerance(kind: Kind, text: str, option: str) -> float:
    """A limit as typed: dB, a factor, or a share of the power."""
    found, wrong = text.strip(), f"{option}: {text!r} was found; right is"
    if kind == "heat":
        share = number_or_nan(found.removesuffix("%")) / 100.0
        if not 0.0 < share < 1.0:
            raise RequestError(f'{wrong} a share such as "10 %"')
        return share
    if kind == "damping":
        factor = number_or_nan(found)
        if not 0.1 <= factor <= 1e6:
            raise RequestError(f"{wrong} a factor such as 20")
        return factor
    level = typed_or_nan(found, "level", "dB")
    if not 0.0 < level <= 40.0:
        raise RequestError(f'{wrong} a level such as "0.5 dB"')
    return level


def installed(group: str, name: str) -> Any:
    """What stands above the library (screens, demonstration), by the name under which it is installed."""
    from importlib.metadata import entry_points

    (found,) = entry_points(group=group, name=name)
    return found.load()
