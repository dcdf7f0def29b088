"""Many cases at once: values in steps, or within tolerances."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from auralize.commands.progress import ProgressLine, telling
from auralize.commands.shared import add_across, add_into, add_rig, loaded, number_or_nan, picked
from auralize.errors import RequestError, one_line

if TYPE_CHECKING:
    from auralize.sweep.asked import AskedSweep

DESCRIPTION = """\
Solve many cases of a rig: every step of values in steps, each with values drawn within tolerances.
For each choice the nominal case, median, 5 % and 95 % and worst; all cases as a table (CSV), with what
its columns are, and how it was drawn, in the JSON beside it."""
EXAMPLES = """\
examples:
  auralize sweep lawn.toml --steps "runs.lawn.length = 10 m to 80 m in 15"
  auralize sweep lawn.toml --tolerance "runs.lawn.length = 30 m +- 2 m"
      --tolerance "runs.lawn.temperature = 5 degC to 45 degC"
      --tolerance "loads.stage.Re = +- 5 % as 2 sigma" --draws 20000

"62 m +- 2 m", or "60 m to 64 m": evenly between, none outside. "... as 2 sigma": normal, so that 95 % lie
between, and some outside. "60 m, 62 m": one of these, each as likely. Tolerances are independent of one
another. A sweep file (TOML) says the same by tables [steps] and [tolerances], with the keys of a rig file:
  draws = 20000
  tolerances.runs.lawn.length = "30 m +- 2 m\""""


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
    add_across(command)
    add_into(command)
    command.set_defaults(command=run)


@telling
def run(arguments: argparse.Namespace) -> None:
    from auralize.outputs import check_ours, made_folder
    from auralize.sweep.saved import save_sweep, sweep_call, sweep_name
    from auralize.sweep.solving import solve_all, solve_nominal
    from auralize.sweep.text import as_text

    asked = _asked(arguments)
    rig, across = loaded(arguments), arguments.across
    choices = picked(arguments, rig)
    cases = asked.cases(rig, choices)
    path = arguments.into / sweep_name(rig, choices, cases, across, ".csv")
    call = sweep_call(choices, cases, across)
    with made_folder(arguments.into), ProgressLine() as progress:
        check_ours(path, call, arguments.replace)
        nominal = solve_nominal(rig, choices, cases, across=across)
        found = solve_all(rig, choices, cases, across=across, progress=progress)
        check_ours(path, call, arguments.replace)  # somebody may have put a file there meanwhile
        save_sweep(rig, cases, found, nominal, path, call)
    print(as_text(rig, cases, found, nominal))
    print(one_line(f"\n{path}: all cases as a table".lstrip("\n")))


def _asked(arguments: argparse.Namespace) -> AskedSweep:
    from auralize.sweep.asked import AskedSweep, read_sweep
    from auralize.sweep.cases import MOST_CASES

    by_options = AskedSweep(
        arguments.steps,
        arguments.tolerance,
        _whole("--draws", arguments.draws, 1, MOST_CASES),
        _whole("--seed", arguments.seed, 0, 2**32 - 1),
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
