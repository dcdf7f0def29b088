"""What the engine does now: what is heard and its gains; position, volume and level."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

from textual.widgets import Static

from .live_input import live_words
from .words import clock, gain_words, heard_words, level_bar, shortened

if TYPE_CHECKING:
    from auralize.live.status import Status

_BESIDE_BAR: Final = 50
"""Columns of the line of the volume that are not its bar."""
_BORDER: Final = 2
"""Columns beside the text."""
_SHORTEST_NAME: Final = 8
"""Columns under which the name of a programme is not worth showing."""


class Now(Static):
    """What is heard, how it was matched, and every gain but the volume."""

    def show(self, status: Status) -> None:
        """As things are."""
        gains = gain_words(status.heard, status.gains)
        self.update(f"{heard_words(status.heard)}\n{status.match.words}\n{gains}")


class Meters(Static):
    """Position in the programme, volume, level."""

    def show(self, status: Status, programme: str) -> None:
        """As things are; ``programme`` is the name of what sounds."""
        width = self.app.size.width
        place = _place(status, programme, width - _BORDER)
        self.update(f"{place}\n{_level(status, max(10, width - _BESIDE_BAR))}")


def _place(status: Status, name: str, width: int) -> str:
    """Position and, as far as there is room, the name of what sounds."""
    if status.live_input is not None:
        return live_words(status)
    doing = "playing" if status.playing else "ended" if status.ended else "paused"
    if status.playing and status.state != "running":
        doing = "waiting for the device at"
    loop = f", loop {clock(status.loop[0])} to {clock(status.loop[1])}" if status.loop else ""
    working = ", designing" if status.editing else ""
    whole = f" of {clock(status.length)}" if math.isfinite(status.length) else ""
    place = f"{doing} {clock(status.position)}{whole}{loop}{working}"
    room = width - len(place) - 2
    return f"{place}  {shortened(name, room)}" if name and room >= _SHORTEST_NAME else place


def _level(status: Status, width: int) -> str:
    level = status.peak_dbfs if status.state == "running" else -math.inf
    shown = f"{level:6.1f} dBFS" if math.isfinite(level) else "silent"
    limited = " LIMITED" if status.limiting else ""
    return f"volume {status.volume:+.0f} dB  [{level_bar(level, width)}] {shown}{limited}"
