"""What comes in from an input device, played as it comes: the transport of a live input.

`put` is for the callback of the input, `take` for that of the output; neither waits. Where both are one
stream they have one clock, and every sample goes through as it is. Else a ring lies between the two and
the slow loop of `auralize.live.drift` follows the difference of their clocks. Nothing is written to disk.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable
from typing import Final, Protocol

import numpy as np
from numpy.typing import NDArray

from auralize.audio.metering import Samples
from auralize.errors import RequestError
from auralize.live.blocks import Piece, Taken, block_frames
from auralize.live.drift import HALF, DriftLoop, Interpolator
from auralize.live.guard import HOWLED, Guard
from auralize.live.ring import Ring
from auralize.live.sources import ENDLESS
from auralize.units import decibels

CHANNELS: Final = 2
"""Of every live input; one channel goes to both."""
HELD: Final = 1.0
"""s that the ring holds."""
CUSHION: Final = 0.015
"""s that a callback of either device may come late; doubled after a gap."""
MOST_CUSHION: Final = 0.12
"""s"""
TOO_FULL: Final = 0.1
"""s over the target from which frames are left out, with a gap, instead of waiting for the loop."""
SLOW_RISE: Final = 3.0
"""s in which an input comes up when it is first let through, and when it is back."""
DRIFT_KNOWN: Final = 120.0
"""s after which the loop has found the difference of the clocks."""
NO_PLACES: Final = "a live input has no other place to go to: it is heard as it comes"
NO_LOOP: Final = "a live input cannot be looped: what came in is not kept"
NO_TRIAL: Final = (
    "a blind trial needs the same material each time, and a live input is never the same twice; "
    "open a sound file for it"
)


class InputLevels(Protocol):
    """Of what is played."""

    @property
    def limiting(self) -> bool:
        """True while it is turned down."""

    @property
    def peak(self) -> float:
        """Linear, of the last blocks."""

    @property
    def power(self) -> float:
        """Mean square of the same."""


class Incoming:
    """Plays what comes in. The surface of `auralize.live.transport.Transport`, of which it can do less."""

    length = ENDLESS
    ended = False
    looped: tuple[int, int] | None = None
    primed = True
    thread = None

    def __init__(
        self, guard: Guard, rate: int, tell: Callable[[str], None], start: int = 0
    ) -> None:
        self.rate, self.channels, self.block = rate, CHANNELS, block_frames(rate)
        self.starved = 0
        """Blocks that had not come when their time came, while the input was there."""
        self.tapped = Ring(round(HELD * rate), CHANNELS, rate)
        """All that comes in once more, for whoever measures it."""
        self._guard, self._tell = guard, tell
        self._playing = False
        self._clear(one_clock=True)
        self.apart = False
        self._position = start
        self._level, self._step = 0.0, 1.0  # as it is, and by how much it rises in a block
        self._ramp = (np.arange(1, self.block + 1) / self.block)[:, None]
        self._silence = np.zeros((self.block, CHANNELS))
        self._heard_from = False

    def _clear(self, one_clock: bool) -> None:
        self.one_clock = one_clock
        self._ring = Ring(round(HELD * self.rate), CHANNELS, self.rate)
        self._loop = DriftLoop(self.rate, self.block)
        self._interpolator = Interpolator(self.block, CHANNELS)
        self._cushion = CUSHION
        self._filled = False
        self._blocks = 0

    # ---- for any thread

    @property
    def playing(self) -> bool:
        """False when muted."""
        return self._playing and self._guard.open

    @property
    def position(self) -> int:
        """Frames that have gone by."""
        return self._position

    @property
    def drift(self) -> float | None:
        """By how much the clock of the input is faster, of the rate; None: there is one clock."""
        return None if self.one_clock else self._loop.drift

    @property
    def held(self) -> float:
        """s between the input's callback and the filters."""
        if not self.apart:
            return 0.0
        return (self._target + (0 if self.one_clock else HALF)) / self.rate

    @property
    def arriving(self) -> bool:
        """True once something has come in since `begin`."""
        return self._heard_from

    @property
    def _target(self) -> float:
        return 2.0 * self.block + self._cushion * self.rate

    def told_fault(self) -> str | None:
        """Nothing can be damaged."""
        return None

    def play(self) -> None:
        """Let it sound; the guard asks first."""
        question = self._guard.pressed()
        if question:
            self._tell(question)
            return
        self._playing = True

    def pause(self) -> None:
        """Mute within a block."""
        self._playing = False

    def seek(self, frame: int) -> None:
        """Cannot be."""
        self._tell(NO_PLACES.capitalize())

    def loop(self, first: int, stop: int) -> None:
        """Cannot be."""
        raise RequestError(NO_LOOP)

    def unloop(self) -> None:
        """There is no loop."""

    def begin(self, one_clock: bool, apart: bool = True) -> None:
        """A device is opened, and neither callback comes yet; ``apart``: each has its own."""
        self._clear(one_clock)
        self.apart = apart
        self._heard_from = False
        self.rise_slowly()

    def rise_slowly(self) -> None:
        """From silence, in `SLOW_RISE`."""
        self._level, self._step = 0.0, self.block / (SLOW_RISE * self.rate)

    def look(self, player: InputLevels) -> None:
        """From time to time, with what is played: where it howls, be silent, and ask again."""
        crest = decibels(player.peak) - decibels(math.sqrt(player.power))
        if not self._guard.howls(player.limiting, crest, time.monotonic()):
            return
        self._guard.shut()
        self._tell(HOWLED)

    def close(self) -> None:
        """Be silent."""
        self._playing = False

    # ---- for the callbacks

    def put(self, samples: NDArray[np.float32]) -> None:
        """(frames, channels of the device) have come in."""
        self._ring.put(samples[:, :CHANNELS], time.perf_counter())
        self._heard_from = True

    def take(self) -> Taken:
        """The next block; its samples are valid until the next call."""
        came = self._exact() if self.one_clock else self._followed(time.perf_counter())
        if came is None:
            self._level = 0.0  # and comes up from there
            return Taken(self._silence, (), False, False)
        self.tapped.put(came, 0.0)
        pieces = (Piece(0, self._position, self.block, None, None),)
        self._position += self.block
        return self._shaped(came, pieces)

    def _exact(self) -> Samples | None:
        surplus = self._ring.filling - round(self._target)
        if self.apart and not self._filled:
            if surplus < 0:
                return None
            self._fill(surplus)
        if self._ring.filling < self.block:
            self.starved += self._heard_from
            self._filled = False
            return None
        return self._ring.take(self.block)

    def _followed(self, now: float) -> Samples | None:
        ring, interpolator = self._ring, self._interpolator
        excess = ring.due(now, 2.0 * self.block) + interpolator.ahead - self._target
        if not self._filled:
            if excess < 0.0:
                return None
            self._fill(round(excess))
            excess = 0.0
        elif excess > TOO_FULL * self.rate:
            self.starved += 1
            self._fill(round(excess))
            excess = 0.0
        ratio = self._loop.step(excess)
        if ring.filling < interpolator.needs:
            self.starved += 1
            self._filled = False
            self._cushion = min(2.0 * self._cushion, MOST_CUSHION)
            return None
        return interpolator.run(ring.take(interpolator.needs), ratio)

    def _fill(self, surplus: int) -> None:
        """Begin with the ring filled as it is to be."""
        self._ring.skip(surplus)
        self._loop.settle()
        self._filled = True

    def _shaped(self, came: Samples, pieces: tuple[Piece, ...]) -> Taken:
        """At the level that it has come up to."""
        before = self._level
        self._level = min(before + self._step, 1.0) if self.playing else 0.0
        if self._level == before == 1.0:
            return Taken(came, pieces, False, False)
        if self._level == before == 0.0:
            return Taken(self._silence, (), False, False)
        if self._level == 1.0:
            self._step = 1.0  # from now on it goes up within a block
        came *= before + (self._level - before) * self._ramp
        return Taken(came, pieces, False, False)
