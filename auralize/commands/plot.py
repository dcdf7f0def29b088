"""Loss, drop and load over frequency, as a picture."""

from __future__ import annotations

import argparse
from typing import Any

from auralize.commands.progress import telling
from auralize.commands.shared import add_across, add_into, add_kind, add_rig, loaded, picked
from auralize.errors import one_line


def add(commands: Any) -> None:
    command = commands.add_parser("plot", help="loss, drop and load over frequency, as a picture")
    add_rig(command)
    add_kind(command, ("png", "svg", "pdf"), "kind of picture")
    add_into(command)
    command.add_argument(
        "--every-load", action="store_true", help="a curve for every loudspeaker of the rig"
    )
    add_across(command)
    command.set_defaults(command=run)


@telling
def run(arguments: argparse.Namespace) -> None:
    from auralize.figures.picture import plot_name, save_plot
    from auralize.outputs import made_folder
    from auralize.rig.work import working_out

    rig = loaded(arguments)
    choices = picked(arguments, rig)
    if arguments.every_load:
        choices = [choice.at(load) for choice in choices for load in choice.network.loads]
    name = plot_name(rig, choices, f".{arguments.kind}", arguments.across, arguments.every_load)
    path, across = arguments.into / name, arguments.across
    with made_folder(arguments.into), working_out("the curves"):
        told = save_plot(rig.title, choices, path, across, replaces=arguments.replace)
    print(one_line(told))
