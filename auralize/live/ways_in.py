"""Two ways into a listening: a programme that is read, and an input that is heard as it comes."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final, Protocol

from auralize.filters.fir import RunFilters
from auralize.live.incoming import Incoming
from auralize.live.input_feed import InputFeed
from auralize.live.measurer import Measurer, RunLevels, SourceMeasured
from auralize.live.running import LOOK, SLOPE, Running
from auralize.live.sources import Feed
from auralize.live.status import Event
from auralize.live.transport import Transport


def transport_of(
    source: Feed, rate: int, tell: Callable[[Event], None], start: int
) -> Transport | Incoming:
    """Plays it, from frame ``start``; raises AudioFileError."""
    if isinstance(source, InputFeed):
        return Incoming(source.guard, rate, lambda text: tell(Event("programme", text)), start)
    return Transport(source.opened(rate), start)


PREDICTED: Final = "Gains are predicted from what came in so far, and follow it slowly"


class LevelsWanted(Protocol):
    """Who is told of levels."""

    rate: int
    tell: Callable[[Event], None]

    def source_measured(self, source: SourceMeasured, most: float | None = None) -> None:
        """So loud is what is played."""

    def run_measured(self, name: str, filters: RunFilters, levels: RunLevels) -> None:
        """So loud is a choice."""


def measurer_of(
    source: Feed, transport: Transport | Incoming, told: LevelsWanted
) -> Measurer | Running:
    """Finds out how loud it is."""
    if isinstance(transport, Incoming):
        first = [PREDICTED]

        def came_in(measured: SourceMeasured) -> None:
            if first:
                told.tell(Event("programme", first.pop()))
            told.source_measured(measured, SLOPE * LOOK if transport.playing else None)

        return Running(transport.tapped, told.rate, transport.channels, came_in)
    return Measurer(
        source,
        told.rate,
        told.source_measured,
        told.run_measured,
        lambda text: told.tell(Event("programme", text)),
    )
