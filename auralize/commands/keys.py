"""Every table and key of a rig file."""

from __future__ import annotations

import argparse
from typing import Any

from auralize.errors import RequestError


def add(commands: Any) -> None:
    command = commands.add_parser(
        "keys", help="all that a rig file can say: tables, keys, units, defaults, examples"
    )
    command.add_argument(
        "table",
        nargs="?",
        metavar="TABLE",
        help='this table only, such as "runs" or "loads" (default: all)',
    )
    command.set_defaults(command=run)


def run(arguments: argparse.Namespace) -> None:
    from auralize.rig.keys import WORDS
    from auralize.rig.keys_text import as_reference
    from auralize.rig.table import guess

    table = arguments.table
    if table is not None and table not in WORDS:
        raise RequestError(
            f"{table!r} is no table of a rig file{guess(table, WORDS)}; right is one of {', '.join(WORDS)}"
        )
    print(as_reference(table))
