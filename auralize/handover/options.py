"""What can be asked of a hand-over."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from typing import Final, Literal

from auralize.gains import INSTALLED, DropsWay, Match
from auralize.rig.stepped import SteppedValue

Kind = Literal["flac", "wav"]
"""Of the sound in the page."""


@dataclass(frozen=True)
class HandoverOptions:
    """All that can be chosen besides rig, choices and sound file."""

    match: Match = INSTALLED
    """How the page and the set begin."""
    makeup: float | None = None
    """dB on the drop; None: chosen, the same for all choices."""
    drops: DropsWay = "one"
    """Whether drops have that one gain, or each its own, so that they are equally loud."""
    start: float | None = None
    """s at which the region begins; None: where the choices differ most."""
    seconds: float | None = None
    """Its length; None: `USUAL_SECONDS`, or to the end where a start is given."""
    kind: Kind = "flac"
    steps: SteppedValue | None = None
    """What the page has a slider for."""
    date: datetime.date | None = None
    """The day that is told; None: on which the sound file was last changed."""
    replaces: bool = False
    """Whether an earlier hand-over may be replaced, whatever call made it."""

    @property
    def said(self) -> tuple[object, ...]:
        """What makes a difference to the content."""
        steps = None if self.steps is None else (self.steps.place, self.steps.values)
        where = (self.start, self.seconds, self.kind)
        return (self.match.data, self.makeup, self.drops, *where, steps, str(self.date))


USUAL: Final = HandoverOptions()
