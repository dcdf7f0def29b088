"""Hear what a loudspeaker cable run does to programme material, before anyone buys or pulls copper.

The way through: rig file -> circuit -> complex response -> filter -> renderer -> file or loudspeaker.

>>> import auralize as au
>>> rig = au.load_rig("saltmarsh.toml")
>>> rig
<Rig 'Saltmarsh Tide Mill: the run across the mill pond': reel, bought, beams>
>>> float(abs(rig["reel"].response([1000.0], signal="drop"))[0].round(4))
0.1477

Nothing heavy is imported before it is asked for. Every error that a user can mend is an `AuralizeError`,
and a ValueError or an OSError as well.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from auralize.errors import (
        AudioFileError,
        AuralizeError,
        DesignError,
        FileError,
        MeasurementError,
        RequestError,
        RigError,
    )
    from auralize.figures.fit import fit
    from auralize.figures.rows import by_choice, by_frequency
    from auralize.filters.fir import Fir
    from auralize.gains import Match
    from auralize.renderer.arrays import Processor, design_filter, render
    from auralize.renderer.batch import render_file
    from auralize.rig.choice import Choice
    from auralize.rig.reading import Rig, load_rig, read_rig

__all__ = [
    "AudioFileError",
    "AuralizeError",
    "Choice",
    "DesignError",
    "FileError",
    "Fir",
    "Match",
    "MeasurementError",
    "Processor",
    "RequestError",
    "Rig",
    "RigError",
    "by_choice",
    "by_frequency",
    "design_filter",
    "fit",
    "load_rig",
    "read_rig",
    "render",
    "render_file",
]

_ROOMS = {
    "errors": (
        "AudioFileError", "AuralizeError", "DesignError", "FileError", "MeasurementError",
        "RequestError", "RigError",
    ),
    "figures.fit": ("fit",),
    "figures.rows": ("by_choice", "by_frequency"),
    "filters.fir": ("Fir",),
    "gains": ("Match",),
    "renderer.arrays": ("Processor", "design_filter", "render"),
    "renderer.batch": ("render_file",),
    "rig.choice": ("Choice",),
    "rig.reading": ("Rig", "load_rig", "read_rig"),
}  # fmt: skip
_ROOM_OF = {name: room for room, names in _ROOMS.items() for name in names}


def __getattr__(name: str) -> Any:
    """What stands in `__all__`, imported when it is asked for the first time."""
    if name not in _ROOM_OF:
        raise AttributeError(f"auralize has no {name!r}; it has {', '.join(__all__)}")
    found = globals()[name] = getattr(import_module(f"auralize.{_ROOM_OF[name]}"), name)
    return found


def __dir__() -> list[str]:
    return sorted([*globals(), *__all__])
