"""Many cases at once: values in steps, or within tolerances."""

from __future__ import annotations

import argparse
import math
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from auralize.commands.progress import ProgressLine, telling
from auralize.commands.shared import (
    KINDS,
    add_across,
    add_into,
    add_limits,
    add_rig,
    add_scheduler,
    executor_of,
    limits,
    loaded,
    number_or_nan,
    picked,
    tolerance,
)
from auralize.errors import RequestError, one_line

if TYPE_CHECKING:
    from auralize.sweep.asked import AskedSweep
    from auralize.sweep.sweep import SweepOptions

MANY: Final = 4096
"""Cases that take longer to solve, some 5 s, than processes to begin."""
DESCRIPTION = """\
Solve many cases of a rig: every step of values in steps, each with values drawn
within tolerances. For each choice the nominal case, median, 5 % and 95 % (of
steps alone least and most) and worst; all cases as a table (CSV), with what its
columns are, how it was drawn, and what is answered, in the JSON beside it."""
EXAMPLES = """\
examples:
  auralize sweep lawn.toml --steps "runs.lawn.length = 10 m to 80 m in 15"
  auralize sweep lawn.toml --tolerance "runs.lawn.length = 30 m +- 2 m"
      --tolerance "runs.lawn.temperature = 5 degC to 45 degC"
      --tolerance "loads.stage.Re = +- 5 % as 2 sigma" --draws 20000

"62 m +- 2 m", or "60 m to 64 m": evenly between, none outside. "... as 2
sigma": normal, so that 95 % lie between, and some outside. "60 m, 62 m": one of
these, each as likely. Tolerances are independent of one another. Nominal is
what stands before +-, else what the rig file says.

Limits are those of `fit`: on the largest cable loss in the band of the load, or
20 Hz to 20 kHz; behind a transformer without what that loses. Several are kept
together. Where nothing keeps them, nearest is what exceeds one by the least
factor. Cost is by the lengths of each case: those of the nominal case, and of
all cases what 95 % do not exceed. Two values in steps, and nothing drawn, make
a table of the first limit, in the order above, or of the loss.

A sweep file (TOML) says the same by tables [steps] and [tolerances], with the
keys of a rig file:
  draws = 20000
  tolerances.runs.lawn.length = "30 m +- 2 m"
  limits.loss = "1 dB"
  prices.reel = 1.20

The same call again goes on where one was stopped or killed: what is done is
kept beside the result in a hidden folder until that is whole."""


def add(commands: Any) -> None:
    command = commands.add_parser(
        "sweep",
        help="many cases: values in steps, or within tolerances",
        description=DESCRIPTION,
        epilog=EXAMPLES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    add_rig(command)
    command.add_argument(
        "varied", type=Path, nargs="?", metavar="SWEEP", help="sweep file (TOML): what varies"
    )
    command.add_argument(
        "--steps",
        action="append",
        default=[],
        metavar="VALUES",
        help='a value of the rig file in steps, such as "runs.pond.length = 20 m, 40 m"; several times: '
        "all combined",
    )
    command.add_argument(
        "--tolerance",
        action="append",
        default=[],
        metavar="VALUE",
        help='a value within a tolerance, such as "runs.pond.length = 62 m +- 2 m"; several times: '
        "all drawn",
    )
    command.add_argument(
        "--draws", metavar="N", help="cases drawn from the tolerances, at each step (default: 1000)"
    )
    command.add_argument("--seed", metavar="N", help="of the draws (default: 1)")
    _add_answers(command)
    add_across(command)
    add_scheduler(command)
    add_into(command)
    command.set_defaults(command=run)


def _add_answers(command: argparse.ArgumentParser) -> None:
    """What is asked of all cases."""
    add_limits(command)
    command.add_argument(
        "--price",
        action="append",
        default=[],
        metavar="CABLE=PRICE",
        help="of a metre of a cable, such as reel=1.20, once for each: for the cheapest within all limits",
    )
    command.add_argument(
        "--matters",
        choices=KINDS,
        help="which value moves this figure most: each alone over its range",
    )
    command.add_argument(
        "--plot",
        choices=("png", "svg", "pdf"),
        help="loss and drop over frequency as a picture of this kind: medians, and bands of 5 to 95 %% and "
        "25 to 75 %%, or of steps alone of least to most",
    )


@telling
def run(arguments: argparse.Namespace) -> None:
    from auralize.sweep.answers import as_alone, as_cheapest, as_kept
    from auralize.sweep.crossed import as_crossed
    from auralize.sweep.sweep import sweep_rig
    from auralize.sweep.text import as_text

    asked = _asked(arguments)
    options = _options(arguments, asked)
    rig = loaded(arguments)
    choices = picked(arguments, rig)
    cases = asked.cases(rig, choices)
    with (
        ProgressLine() as progress,
        executor_of(arguments, len(cases) >= MANY) as executor,
        asked.blaming(),
    ):
        done = sweep_rig(rig, choices, cases, arguments.into, options, progress, _say, executor)
    print(as_text(rig, cases, done.found, done.nominal))
    if crossed := as_crossed(cases, done.found, options.requirements):
        print(f"\n{crossed}")
    if done.cheapest is not None:
        print(f"\n{as_cheapest(done.cheapest, cases, done.found)}")
    elif options.requirements:
        print(f"\n{as_kept(done.found, options.requirements)}")
    if options.matters is not None:
        print(f"\n{as_alone(done.alone, options.matters)}")
    print(f"\n{one_line(str(done.table))}: all cases as a table")
    if done.picture is not None:
        print(f"{one_line(str(done.picture))}: loss and drop from 20 Hz to 20 kHz")


def _say(words: str) -> None:
    print(f"auralize: {one_line(words)}", file=sys.stderr)


def _options(arguments: argparse.Namespace, asked: AskedSweep) -> SweepOptions:
    from auralize.sweep.requirement import Requirement
    from auralize.sweep.sweep import SweepOptions

    if asked.prices and not asked.limits:
        with asked.naming(*asked.prices):
            right = ", ".join(f"--{kind}" for kind in KINDS)
            raise RequestError(f"--price needs a limit; right is one of {right} with it")
    by_option = limits(arguments)
    requirements = []
    for kind in KINDS:
        if (text := asked.limits.get(kind)) is not None:
            name = f"{'--' if kind in by_option else 'limits.'}{kind}"
            with asked.naming(name):
                requirements.append(Requirement(kind, tolerance(kind, text, name)))
    return SweepOptions(
        across=arguments.across,
        requirements=requirements,
        prices=asked.prices,
        prices_in=asked.file_of(*asked.prices)
        if asked.prices.keys() <= asked.files.keys()
        else None,
        matters=arguments.matters,
        plot=None if arguments.plot is None else f".{arguments.plot}",
        replaces=arguments.replace,
    )


def _prices(texts: Sequence[str]) -> dict[str, float]:
    prices: dict[str, float] = {}
    for cable, price in map(_price, texts):
        if prices.setdefault(cable, price) != price:
            raise RequestError(
                f"--price: {prices[cable]:g} and {price:g} were found for {cable}; right is one price"
            )
    return prices


def _price(text: str) -> tuple[str, float]:
    cable, _, price = text.rpartition("=")
    number = number_or_nan(price)
    if not (cable and math.isfinite(number)):
        raise RequestError(f"--price: {text!r} was found; right is a cable and a price: reel=1.20")
    return cable.strip(), number


def _asked(arguments: argparse.Namespace) -> AskedSweep:
    from auralize.sweep.asked import AskedSweep, read_sweep
    from auralize.sweep.cases import MOST_CASES

    by_options = AskedSweep(
        arguments.steps,
        arguments.tolerance,
        _whole("--draws", arguments.draws, 1, MOST_CASES),
        _whole("--seed", arguments.seed, 0, 2**32 - 1),
        limits(arguments),
        _prices(arguments.price),
    )
    if arguments.varied is None:
        return by_options
    return read_sweep(arguments.varied).beside(by_options)


def _whole(option: str, text: str | None, low: int, high: int) -> int | None:
    if text is None:
        return None
    number = number_or_nan(text)
    if not (low <= number <= high and number.is_integer()):
        raise RequestError(
            f"{option}: {text!r} was found; right is a whole number from {low} to {high}"
        )
    return int(number)
