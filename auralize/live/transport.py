"""Playing a programme block by block: play, pause, jump and loop, with a fade wherever it breaks off."""

from __future__ import annotations

from typing import Final

import numpy as np

from auralize.errors import AudioFileError
from auralize.live.blocks import Taken, block_frames, rising
from auralize.live.read_ahead import Jump, Loop, Reader
from auralize.live.sources import Readable

SHORTEST_LOOP: Final = 0.1
"""s"""


class Transport:
    """Plays a programme: `take` for the audio callback, which never waits, all else for others.

    Begins paused at ``start`` (frames). Owns the programme and a thread that reads it.
    """

    def __init__(self, programme: Readable, start: int = 0) -> None:
        self.rate, self.channels, self.length = programme.rate, programme.channels, programme.frames
        self.block = block_frames(programme.rate)
        self.starved = 0
        """Times that a block had not been read when its turn came."""
        self.reader = Reader(programme, self.block, min(max(start, 0), self.length - 1))
        self.thread = self.reader.thread
        # Every one of these has one writer, the callback or the others, which never wait for it.
        self._press: object | None = None  # the wish to play, a new one each time; None: to pause
        self._current = self.reader.ready  # the jump that is played
        self._over: tuple[Jump, object | None] | None = None  # what came to its end, at which press
        self._running = False
        self._position = self._current.frame
        self._silence = Taken(np.zeros((self.block, self.channels)), (), False, False)
        self._faded = np.zeros((self.block, self.channels))
        self._rise = rising(self.block)[:, None]
        self._fall = self._rise[::-1]

    # ---- for any thread

    @property
    def playing(self) -> bool:
        """False when paused, and after the end."""
        return self._press is not None and not self.ended

    @property
    def position(self) -> int:
        """Frame that is played next."""
        jump = self.reader.wished
        return self._position if jump is self._current else jump.frame

    @property
    def ended(self) -> bool:
        """True after the last frame, until something else is wished."""
        over = self._over
        if over is None or over[0] is not self.reader.wished:
            return False
        return self._press is None or self._press is over[1]

    @property
    def looped(self) -> tuple[int, int] | None:
        """First frame and frame after the last of the loop."""
        loop = self.reader.loop
        return (loop.first, loop.stop) if loop else None

    @property
    def primed(self) -> bool:
        """True when playing can begin at once where it was wished."""
        ready = self.reader.ready
        return ready is self.reader.wished and bool(ready.blocks or ready.complete)

    def told_fault(self) -> str | None:
        """What stopped the reading since this was last asked, as one sentence."""
        fault, self.reader.fault = self.reader.fault, None
        return fault

    def play(self) -> None:
        """Go on; from the start (of the loop) after the end."""
        if self.ended:
            self.seek(self.reader.first)
        self._press = object()

    def pause(self) -> None:
        """Fade out within a block and stay there."""
        self._press = None

    def seek(self, frame: int) -> None:
        """Go to a frame, at most the last one; after the end, and stay there."""
        if self.ended:
            self._press = None
        self.reader.wish(min(max(frame, 0), self.length - 1))

    def loop(self, first: int, stop: int) -> None:
        """Play frames first to stop again and again; raises AudioFileError where that is too short."""
        first, stop = max(first, 0), min(stop, self.length)
        if stop - first < SHORTEST_LOOP * self.rate:
            raise AudioFileError(
                f"a loop of {max(0, stop - first) / self.rate:.3f} s was asked for; it must last "
                f"{SHORTEST_LOOP} s or more and lie within the programme"
            )
        self.reader.loop = Loop(first, stop)
        self.reader.wake()

    def unloop(self) -> None:
        """Play on after the end of the loop."""
        self.reader.loop = None
        self.reader.wake()

    def close(self) -> None:
        """End the reading; `take` gives what is left, and then silence."""
        self.reader.close()

    # ---- for the audio callback

    def take(self) -> Taken:
        """The next block. No lock, no wait; its samples are valid until the next call."""
        press, ready = self._press, self.reader.ready  # once, as both may change meanwhile
        if not self._running:
            return self._start(press, ready)
        leaves = press is None or ready is not self._current
        taken = self._next(press, fall=leaves)
        if leaves:
            self._running = press is not None
            self._go_to(ready)
        return taken

    def _start(self, press: object | None, ready: Jump) -> Taken:
        self._go_to(ready)
        complete = (
            ready.complete
        )  # looked at before the blocks, as the last of them comes before it
        if press is None or ready is not self.reader.wished or self._over == (ready, press):
            return self._silence  # paused; not read yet, and nothing is missed by waiting; ended
        if ready.blocks:
            self._running = True
            return self._next(press, rise=True)
        if complete:
            self.reader.exhausted = ready  # paused at the very end, and to be played on from there
        return self._silence

    def _go_to(self, ready: Jump) -> None:
        if ready is not self._current:
            self._position = ready.frame
            self._current = ready

    def _next(self, press: object | None, rise: bool = False, fall: bool = False) -> Taken:
        jump = self._current
        complete = jump.complete  # as in `_start`
        try:
            samples, pieces, _ = jump.blocks.popleft()
        except IndexError:
            self._running = False
            if complete:
                self._over = (jump, press)
            else:
                self.starved += 1
            return self._silence
        first, last = pieces[0], pieces[-1]
        self._position = last.frame + last.length
        # The start of the programme has no fade, and the start of a jump has had it.
        rise = rise and first.frame not in (0, first.begin)
        if rise or fall:
            np.multiply(samples, self._rise if rise else self._fall, out=self._faded)
            samples = self._faded
        return Taken(samples, pieces, rise, fall)
