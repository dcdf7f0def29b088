"""How what is listened to is heard: level match, make-up gain, volume."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager

from auralize.gains import MOST_MAKEUP, DropsWay, Match
from auralize.live.known import Known
from auralize.live.player import Player, SoftStart, Volume
from auralize.live.remembered import LOWEST_VOLUME
from auralize.live.sounding import Sounding
from auralize.live.wanted import Wanted
from auralize.units import amplitude


class Adjusted:
    """What can be turned of a `Listening`, whose parts these are. From any thread."""

    wanted: Wanted
    player: Player
    _known: Known
    _sounding: Sounding
    _lock: threading.Lock

    @contextmanager
    def _anew(self) -> Iterator[None]:
        """What changes within is heard, with the gains that follow from it."""
        with self._lock:
            yield
            self._known.rebalance()
        self._sounding.wake()

    def set_match(self, match: Match) -> None:
        """As installed, by loudness, or by the level at a frequency in Hz."""
        with self._anew():
            self.wanted.match = match

    def set_makeup(self, makeup: float | None) -> None:
        """dB on the drops at one gain, held between 0 and `MOST_MAKEUP`; None: chosen."""
        with self._anew():
            self.wanted.makeup = None if makeup is None else min(max(makeup, 0.0), MOST_MAKEUP)

    def set_drops(self, way: DropsWay) -> None:
        """All drops at one make-up gain, or each at its own, so that they are equally loud."""
        with self._anew():
            self.wanted.drops = way

    def set_volume(self, volume: float) -> None:
        """dB, held between `LOWEST_VOLUME` and 0."""
        self.wanted.volume = min(max(volume, LOWEST_VOLUME), 0.0)
        self.player.post(Volume(amplitude(self.wanted.volume)))

    def soften(self) -> None:
        """Come up from silence in the next half second."""
        self.player.post(SoftStart())

    def hush(self) -> None:
        """Be silent from the next block on, until a volume is set."""
        self.player.post(Volume(0.0))
