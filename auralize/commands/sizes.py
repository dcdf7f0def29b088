"""The usual sizes of conductors and what they have per length."""

from __future__ import annotations

import argparse
from typing import Any


def add(commands: Any) -> None:
    command = commands.add_parser(
        "sizes", help="usual conductors, metric and AWG: resistance, diameter"
    )
    command.set_defaults(command=run)


def run(arguments: argparse.Namespace) -> None:
    from auralize.figures.sizes import as_sizes

    print(as_sizes())
