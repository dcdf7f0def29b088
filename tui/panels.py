"""What the engine does now: what is heard and its gains; position, volume and level."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

from textual.widgets import Static

from .live_input import live_words
from .words import clock, gain_words, heard_words, level_bar

if TYPE_CHECKING:
    from auralize.live.status import Status

_BESIDE_BAR: Final = 50
"""Columns of the line of the volume that are not its bar."""


class Now(Static):
    """What is heard, how it was matched, and every gain but the volume."""

    def show(self, status: Status) -> None:
        """As things are."""
        gains = gain_words(status.heard, status.gains)
        self.update(f"{heard_words(status.heard)}\n{status.match.words}\n{gains}")


class Meters(Static):
    """Position in the programme, volume, level."""

    def show(self, status: Status) -> None:
        """As things are."""
        self.update(
            f"{_place(status)}\n{_level(status, max(10, self.app.size.width - _BESIDE_BAR))}"
        )


def _place(status: Status) -> str:
    if status.live_input is not None:
        return live_words(status)
    doing = "playing" if status.playing else "ended" if status.ended else "paused"
    if status.playing and status.state != "running":
        doing = "waiting for the device at"
    loop = f", loop {clock(status.loop[0])} to {clock(status.loop[1])}" if status.loop else ""
    working = ", designing" if status.editing else ""
    return f"{doing} {clock(status.position)} of {clock(status.length)}{loop}{working}"


def _level(status: Status, width: int) -> str:
    level = status.peak_dbfs if status.state == "running" else -math.inf
    shown = f"{level:6.1f} dBFS" if math.isfinite(level) else "silent"
    limited = " LIMITED" if status.limiting else ""
    return f"volume {status.volume:+.0f} dB  [{level_bar(level, width)}] {shown}{limited}"
