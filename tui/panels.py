"""What the engine does now: what is heard and its gains; position, volume and level."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

from .live_input import live_words
from .still import Still
from .words import clock, gain_words, heard_words, level_bar, level_words, step_words

if TYPE_CHECKING:
    from collections.abc import Mapping

    from auralize.gains import Heard
    from auralize.live.status import Status

_BESIDE_BAR: Final = 50
"""Columns of the line of the volume that are not its bar."""


class Now(Still):
    """What is heard, what is matched, every gain but the volume, and how much louder a switch would be."""

    def show(self, status: Status, steps: Mapping[Heard, float]) -> None:
        """As things are; ``steps`` in dB to what can be switched to, as far as they are known."""
        width, height = self.content_size
        heard, step = heard_words(status.heard), step_words(status, steps, width)
        lines = [heard, level_words(status, width), gain_words(status, width)]
        if height > len(lines):
            lines.append(step)
        elif step:
            room = width - len(heard) - 2
            step = step_words(status, steps, room)
            if len(step) <= room:
                lines[0] = f"{heard}  {step}"
        self.update("\n".join(lines))


class Meters(Still):
    """Position in the programme, volume, level."""

    def show(self, status: Status) -> None:
        """As things are."""
        self.update(
            f"{place_words(status)}\n{_level(status, max(10, self.app.size.width - _BESIDE_BAR))}"
        )


def place_words(status: Status) -> str:
    """What the transport does, and where."""
    if status.live_input is not None:
        return live_words(status)
    doing = "playing" if status.playing else "ended" if status.ended else "paused"
    if status.playing and status.state != "running":
        doing = "waiting for the device at"
    loop = f", loop {clock(status.loop[0])} to {clock(status.loop[1])}" if status.loop else ""
    working = ", designing" if status.editing else ""
    whole = f" of {clock(status.length)}" if math.isfinite(status.length) else ""
    return f"{doing} {clock(status.position)}{whole}{loop}{working}"


def _level(status: Status, width: int) -> str:
    level = status.peak_dbfs if status.state == "running" else -math.inf
    shown = f"{level:6.1f} dBFS" if math.isfinite(level) else "silent"
    limited = " LIMITED" if status.limiting else ""
    return f"volume {status.volume:+.0f} dB  [{level_bar(level, width)}] {shown}{limited}"
