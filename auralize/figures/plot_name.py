"""What a plot is called: after all that makes it what it is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from auralize.circuit.solution import Across
from auralize.figures.picture import PLAIN, Look
from auralize.outputs import among, file_name
from auralize.rig.choice import Choice
from auralize.rig.reading import Rig


@dataclass(frozen=True)
class Drawn:
    """What a plot shows besides its choices, and how."""

    across: Across = "both"
    against: Choice | None = None
    programme: Path | None = None
    every_load: bool = False
    look: Look = PLAIN


def plot_name(rig: Rig, choices: Sequence[Choice], drawn: Drawn, suffix: str) -> str:
    """The name of the file."""
    stem = "rig" if rig.path is None else rig.path.stem
    moved = [choice.place_tag for choice in choices if choice.place_tag]
    width, height = drawn.look.size
    return file_name(
        [
            stem,
            among(list(dict.fromkeys(choice.name for choice in choices)), list(rig)),
            "every-load" if drawn.every_load else "".join(moved[:1]),
            "" if drawn.across == "both" else f"drop-{drawn.across}",
            "" if drawn.against is None else f"against-{drawn.against.name}",
            "" if drawn.programme is None else f"with-{drawn.programme.stem}",
            "" if drawn.look.size == PLAIN.size else f"{width * 2.54:.4g}x{height * 2.54:.4g}cm",
            "dark" if drawn.look.dark else "",
            "plot",
        ],
        suffix,
    )
