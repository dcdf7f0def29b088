"""Loss, drop and load over frequency, as a picture."""

from __future__ import annotations

import argparse
from typing import Any

from auralize.commands.look import add_comparison, add_look, against, look, sound
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
    add_comparison(command)
    add_look(command)
    command.set_defaults(command=run)


@telling
def run(arguments: argparse.Namespace) -> None:
    from auralize.figures.plot import save_plot
    from auralize.figures.plot_name import Drawn, plot_name
    from auralize.outputs import made_folder
    from auralize.rig.work import working_out

    rig = loaded(arguments)
    choices = picked(arguments, rig)
    if arguments.every_load:
        choices = [choice.at(load) for choice in choices for load in choice.network.loads]
    other = None if arguments.against is None else against(arguments, rig, choices)
    drawn = Drawn(
        arguments.across, other, arguments.weighing, arguments.every_load, look(arguments)
    )
    path = arguments.into / plot_name(rig, choices, drawn, f".{arguments.kind}")
    with made_folder(arguments.into), working_out("the curves"):
        told = save_plot(
            rig.title,
            choices,
            path,
            arguments.across,
            against=other,
            sound=sound(arguments),
            look=drawn.look,
            replaces=arguments.replace,
        )
    print(one_line(told))
