"""The keys of a player: play, seek, volume, loop, output device; and news of what came of them."""

from __future__ import annotations

from typing import Final

from textual.screen import Screen

from auralize.errors import AuralizeError
from auralize.live.places import Destination, FromTo, Marker
from auralize.live.protocol import EngineLike

from .bindings import PLAYING
from .live_input import NO_LOOP, NO_SEEK
from .news import LASTS, News
from .places import PlacesScreen
from .words import clock

_SEEK: Final = 5.0
"""s"""
_NUDGE: Final = 0.1
"""s"""
_VOLUME_STEP: Final = 1.0
"""dB"""


class PlayerScreen(Screen[None]):
    """A screen that plays; it must have a `News`."""

    BINDINGS = PLAYING

    def __init__(self, engine: EngineLike) -> None:
        super().__init__()
        self.engine = engine
        self._loop_from: float | None = None
        """s; None: no start is marked."""
        self.markers: dict[str, float] = {}
        """Places in the programme by name, in s."""

    def say(self, words: str, lasts: float = LASTS, about: str = "") -> None:
        """News, for ``lasts`` seconds, or until there is other news about the same."""
        self.query_one(News).say(words, lasts, about)

    def action_play(self) -> None:
        """Play or pause."""
        if self.engine.status().playing:
            self.engine.pause()
        else:
            self.engine.play()

    def action_seek(self, steps: int) -> None:
        """Back or on."""
        self._move(steps * _SEEK)

    def action_nudge(self, steps: int) -> None:
        """Back or on by a tenth of a second."""
        self._move(steps * _NUDGE)

    def _move(self, seconds: float) -> None:
        status = self.engine.status()
        if status.live_input is not None:
            self.say(NO_SEEK)
            return
        self.engine.seek(min(max(0.0, status.position + seconds), status.length))

    def action_places(self) -> None:
        """Go to a time or a marker, mark this place, loop between two."""
        length = self.engine.status().length
        self.app.push_screen(PlacesScreen(self.markers, length), self._go)

    def _go(self, place: Destination | FromTo | Marker | None) -> None:
        if isinstance(place, Destination):
            self.engine.seek(place.seconds)
            self.say(f"At {clock(place.seconds)}")
        elif isinstance(place, FromTo):
            self._loop(place.start, place.end)
        elif isinstance(place, Marker):
            self.markers[place.name] = self.engine.status().position
            self.say(f"{place.name} is {clock(self.markers[place.name])}; t goes there")

    def action_volume(self, steps: int) -> None:
        """Louder or softer."""
        self.engine.set_volume(self.engine.status().volume + steps * _VOLUME_STEP)

    def action_device(self) -> None:
        """Next output device."""
        self.engine.next_device()

    def action_programme(self) -> None:
        """Next programme, from where it was left."""
        there = len(self.engine.programmes)
        if there < 2:
            self.say("There is no other sound: name several, or --signal, when the bench is opened")
        else:
            following = (self.engine.status().programme + 1) % there
            self.engine.change_programme(following)
            name = self.engine.programmes[following].name
            self.query_one(News).say(f"Opening {name}", about="programme")

    def action_loop(self) -> None:
        """First the start, then the end, then off."""
        status = self.engine.status()
        if status.live_input is not None:
            self.say(NO_LOOP)
        elif status.loop:
            self.engine.loop(None)
            self.say("Loop off", about="loop")
        elif self._loop_from is None:
            self._loop_from = status.position
            self.say(f"Loop from {clock(status.position)}; l again marks the end", about="loop")
        else:
            start, end = sorted((self._loop_from, status.position))
            self._loop_from = None
            self._loop(start, end)

    def _loop(self, start: float, end: float) -> None:
        try:
            self.engine.loop((start, end))
        except AuralizeError as error:
            self.say(str(error))
        else:
            self.say(f"Loop from {clock(start)} to {clock(end)}; l ends it", about="loop")
