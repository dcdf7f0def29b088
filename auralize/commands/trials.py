"""Checks logs of blind trials and sums them up."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from auralize.errors import RequestError, one_line


def add(commands: Any) -> None:
    command = commands.add_parser("trials", help="check logs of blind trials and sum them up")
    command.add_argument(
        "logs", type=Path, nargs="+", metavar="LOG", help="log of a session (.jsonl)"
    )
    command.set_defaults(command=run)


def run(arguments: argparse.Namespace) -> None:
    from auralize.figures.columns import hanging
    from auralize.trials.checking import summarise

    summary = summarise(arguments.logs)
    print("\n".join(hanging(one_line(sentence)) for sentence in summary.sentences))
    refused = [check.path for check in summary.checks if check.state == "refused"]
    if refused:
        raise RequestError(f"{', '.join(str(path) for path in refused)}: refused, and not counted")
