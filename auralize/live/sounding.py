"""The thread that makes what is wished audible, one cross-fade after another."""

from __future__ import annotations

import math
import threading
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from auralize.gains import step
from auralize.live.player import Grow, Player, Switch, Voice, enough_taps
from auralize.live.rise import rise_for
from auralize.units import decibels

SAME_GAIN_RATIO: Final = 1e-4
"""Of the gain: a change under 0.001 dB is not worth a cross-fade."""
RETRY: Final = 0.003
"""s between two looks whether the switch under way is done."""


@dataclass(frozen=True)
class Sound:
    """A voice, and which wish it fulfils."""

    voice: Voice
    wish: int
    loudness: float | None = None
    """LUFS but for the volume; None: not yet known."""
    elsewhere: bool = False
    """Whether it is of another programme than what comes after it."""

    def like(self, other: Sound) -> bool:
        """Whether there is nothing to be done to get from one to the other."""
        mine, its = self.voice, other.voice
        same = mine.taps is its.taps and math.isclose(mine.gain, its.gain, rel_tol=SAME_GAIN_RATIO)
        return same and self.wish == other.wish

    def step_from(self, other: Sound) -> float:
        """dB by which this is louder; as noise would be where that is not yet known of the programme.

        After another programme it may be any number then.
        """
        if self.loudness is None or other.loudness is None:
            return math.inf if other.elsewhere else step(other._noise, self._noise)
        return step(other.loudness, self.loudness)

    @property
    def _noise(self) -> float:
        return decibels(self.voice.gain * float(np.linalg.norm(self.voice.taps)))


class Sounding:
    """Posts to a player what ``wished`` tells: the sound, and the taps of the longest filter there is.

    There is always room for that one, so that none is heard later than others. ``now`` is what sounds, or
    is being faded in.
    """

    def __init__(self, player: Player, now: Sound, wished: Callable[[], tuple[Sound, int]]) -> None:
        self.now = now
        self._switch: Switch | None = None  # to what is ``now``
        self._player, self._wished = player, wished
        self._closing = False
        self._wake = threading.Event()
        self.thread = threading.Thread(target=self._work, name="sounding", daemon=True)
        self.thread.start()

    def wake(self) -> None:
        """What is wished may have changed."""
        self._wake.set()

    def come_from(self, loudness: float | None) -> None:
        """Before a wish: what is heard now is another programme, of so many LUFS (None: not known)."""
        self.now = replace(self.now, wish=-1, loudness=loudness, elsewhere=True)

    def left(self, wish: int, latency: float) -> float:
        """s for which what was wished last has been leaving a device of that latency (s), alone."""
        switch, seconds = self._player.left(latency)
        fulfils = self.now.wish == wish and switch is not None and switch is self._switch
        return seconds if fulfils else 0.0

    def settled(self, wish: int) -> bool:
        """Whether this wish is heard, and nothing else any more."""
        return self.now.wish == wish and self._player.ready

    def close(self) -> None:
        """End soon."""
        self._closing = True
        self._wake.set()

    def _work(self) -> None:
        while not self._closing:
            self._wake.wait()
            self._wake.clear()
            while not self._closing and (due := self._due()):
                if not self._player.ready:  # at most a block later, unless there is no device
                    self._wake.wait(RETRY)
                    self._wake.clear()
                elif isinstance(due, Grow):
                    self._player.post(due)
                else:
                    left = 0.0 if self.now.elsewhere else self._player.rising
                    rise = rise_for(due.step_from(self.now) + left)
                    switch = Switch(due.voice, rise)
                    self._player.post(switch)
                    self._switch, self.now = switch, due

    def _due(self) -> Sound | Grow | None:
        sound, longest = self._wished()
        if longest > self._player.taps:
            return Grow(enough_taps(self._player.setup.rate, longest))
        if not sound.like(self.now):
            return sound
        self.now = sound  # its loudness may be known by now
        return None
