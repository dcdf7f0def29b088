"""What the audio callback does: one convolver, a cross-fade, gains, a limiter. No device, no thread.

All that a filter needs of the past is the spectra of the input, which are the same for every filter.
So two rows are enough for any number of choices: one is heard, the other takes the filter that comes
next, is at once as if it had always been there, and is faded in over one block.
"""

from __future__ import annotations

import math
import time
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from auralize.audio.convolver import Convolver
from auralize.audio.metering import Samples
from auralize.live.blocks import Piece, Taken, assembled, block_frames, rising
from auralize.live.limiter import Limiter
from auralize.live.rise import Rise
from auralize.live.sources import Readable
from auralize.live.tap import Tap

LEAST_BLOCKS: Final = 32
"""Shortest convolver in blocks: 16384 taps at 48 kHz, four times what most filters need. An edit that needs
more is heard later by as many blocks as the new convolver has, while it fills; room that is not used costs
memory alone. The longest follows from `LONGEST_IMPULSE`."""
SOFT_START: Final = 0.5
"""s in which a device comes up from silence."""
LEVEL_BLOCKS: Final = 16
"""Blocks that the level shown looks back over."""

Block = NDArray[np.float32]


def enough_taps(rate: int, longest: int) -> int:
    """Room for impulse responses of up to ``longest`` taps: a power of two."""
    least = LEAST_BLOCKS * block_frames(rate)
    return max(least, 1 << (longest - 1).bit_length())


# --- commands -------------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class Voice:
    """Something to hear: an impulse response and a gain (linear)."""

    taps: NDArray[np.float64]
    gain: float


@dataclass(frozen=True, eq=False)
class Switch:
    """Fade over to this voice within the block, and let it come up slowly from ``rise`` dB under its gain."""

    voice: Voice
    rise: float = 0.0


@dataclass(frozen=True)
class Volume:
    """Go to this volume (linear) within the block."""

    amplitude: float


@dataclass(frozen=True)
class SoftStart:
    """Come up from silence."""


@dataclass(frozen=True)
class Grow:
    """Make room for impulse responses of so many taps; takes as long as they last."""

    taps: int


Command = Switch | Volume | SoftStart | Grow


@dataclass(frozen=True)
class Setup:
    """All that a player begins with."""

    rate: int
    channels: int
    taps: int
    """Room for impulse responses."""
    voice: Voice
    volume: float


@dataclass(frozen=True)
class Sounded:
    """Blocks with sound of the programme that a switch alone was heard in, past its fade."""

    switch: Switch | None
    blocks: int = 0
    stop: int = 0
    """The block after the last of them."""


@dataclass(frozen=True)
class Entry:
    """What one block was made of, for `replay`."""

    pieces: tuple[Piece, ...]
    rise: bool
    fall: bool
    commands: tuple[Command, ...]
    time: float
    """`time.perf_counter` when its making began."""


class Player:
    """Makes block after block of what is heard: `render` for the callback, the rest for other threads.

    ``take`` gives the input. Only one thread may post a Switch or Grow. A journal, if given, gets one
    entry a block and grows without limit.
    """

    def __init__(
        self, setup: Setup, take: Callable[[], Taken], journal: list[Entry] | None = None
    ) -> None:
        self.setup = setup
        self.block = block_frames(setup.rate)
        self.blocks = 0
        """Blocks made so far: the heartbeat."""
        self.switches = 0
        """Cross-fades begun so far."""
        self.sounded = Sounded(None)
        """Of the last switch; from nothing again when a device is begun on."""
        self.tap: Tap | None = None
        """Gets each block while there is one."""
        self._take, self._journal = take, journal
        self._impulses = np.zeros((2, setup.taps))
        self._row = 0
        self._gains = [Rise(setup.voice.gain), Rise(0.0)]
        self._set_row(0, setup.voice)
        self._convolver = Convolver(self._impulses, setup.channels, self.block)
        self._successor = self._convolver
        self._young = 0  # blocks until the successor has heard enough to take over
        self._volume = setup.volume
        self._loudness = 0.0  # volume and soft start as they are now
        self._soft, self._soft_blocks = 0, round(SOFT_START * setup.rate / self.block)
        self._commands: deque[Command] = deque()
        self._asked = self._done = 0  # switches and growths
        self._fading: Switch | None = None
        self._limiter = Limiter(setup.rate, self.block)
        self._up = rising(self.block)[:, None]
        self._down = self._up[::-1]
        self._ramp = (np.arange(1, self.block + 1) / self.block)[:, None]
        self._seconds = self._ramp * (self.block / setup.rate)
        self._mix = np.zeros((self.block, setup.channels))
        self._other = np.zeros_like(self._mix)
        self._peaks = np.zeros(LEVEL_BLOCKS)
        self._powers = np.zeros(LEVEL_BLOCKS)

    # ---- for the thread that controls

    @property
    def ready(self) -> bool:
        """True when no switch and no growth is under way."""
        return self._asked == self._done

    @property
    def taps(self) -> int:
        """Room for impulse responses, now or as soon as `ready`."""
        return self._impulses.shape[1]

    def post(self, command: Command) -> None:
        """Do this from the next block on. Switch and Grow may be posted only when `ready`."""
        if isinstance(command, Switch | Grow):
            if not self.ready:
                raise RuntimeError("a switch was posted while another one was under way")
            self._asked += 1
            if isinstance(command, Switch):
                self._set_row(1 - self._row, command.voice)
                self._convolver.replace(self._impulses)
            else:
                more = command.taps - self.taps
                self._impulses = np.pad(self._impulses, ((0, 0), (0, more)))
                self._successor = Convolver(self._impulses, self.setup.channels, self.block)
        self._commands.append(command)

    def _set_row(self, row: int, voice: Voice) -> None:
        self._impulses[row] = 0.0
        self._impulses[row, : len(voice.taps)] = voice.taps

    @property
    def rising(self) -> float:
        """dB that what is heard has still to come up."""
        return self._gains[self._row].left

    @property
    def peak(self) -> float:
        """Highest sample of the last blocks."""
        return float(self._peaks.max())

    @property
    def power(self) -> float:
        """Mean square of the last blocks, over all channels."""
        return float(self._powers.mean())

    def left(self, latency: float) -> tuple[Switch | None, float]:
        """The last switch, and how long (s) its sound has been leaving a device of that latency (s)."""
        sounded, blocks = self.sounded, self.blocks
        held = math.ceil(latency * self.setup.rate / self.block) - max(0, blocks - sounded.stop)
        return sounded.switch, max(0, sounded.blocks - max(0, held)) * self.block / self.setup.rate

    @property
    def limiting(self) -> bool:
        """True while the limiter turns down."""
        return self._limiter.gain < 1.0

    # ---- for the callback

    def render(self, out: Block) -> None:
        """Fill (block, channels); a single channel goes to all that ``out`` has."""
        began = time.perf_counter() if self._journal is not None else 0.0
        commands = self._taken_commands()
        taken = self._take()
        only = None if self._fading else self._row  # the other row is needed in a cross-fade alone
        wet = self._convolver.process(taken.samples, only)
        if self._young:
            self._raise_successor(taken.samples)
        mix = self._mix
        gain = self._gains[self._row].next(self._seconds, moves=bool(taken.pieces))
        np.multiply(wet[0 if only is not None else self._row], gain, out=mix)
        if self._fading:
            self._cross_fade(wet)
        elif taken.samples.any():  # not of what comes out, which depends on what is heard
            self.sounded = Sounded(self.sounded.switch, self.sounded.blocks + 1, self.blocks + 1)
        self._apply_volume()
        self._limiter.run(mix)
        out[:] = mix
        tap = self.tap  # once, since another thread may take it away
        if tap is not None:
            frame = taken.pieces[0].frame if taken.pieces else None
            tap.put(taken.samples, out, self._loudness, frame)
        self._measure()
        if self._journal is not None:
            entry = Entry(taken.pieces, taken.rise, taken.fall, commands, began)
            self._journal.append(entry)
        self.blocks += 1

    def _taken_commands(self) -> tuple[Command, ...]:
        if not self._commands:
            return ()
        taken = []
        while self._commands:
            command = self._commands.popleft()
            taken.append(command)
            if isinstance(command, Volume):
                self._volume = command.amplitude
            elif isinstance(command, SoftStart):
                self._loudness, self._soft = 0.0, 0
                self.sounded = Sounded(self.sounded.switch)
            elif isinstance(command, Grow):
                self._young = command.taps // self.block
            else:
                self._gains[1 - self._row] = Rise(command.voice.gain, command.rise)
                self._fading = command
        return tuple(taken)

    def _raise_successor(self, samples: Samples) -> None:
        self._successor.process(samples)
        self._young -= 1
        if not self._young:
            self._convolver = self._successor
            self._done += 1

    def _cross_fade(self, wet: NDArray[np.float64]) -> None:
        other = 1 - self._row
        np.multiply(wet[other], self._up, out=self._other)
        self._other *= self._gains[other].next(self._seconds, moves=False)
        self._mix *= self._down
        self._mix += self._other
        self._row = other
        self.sounded = Sounded(self._fading)
        self._fading = None
        self.switches += 1
        self._done += 1

    def _apply_volume(self) -> None:
        target = self._volume
        if self._soft < self._soft_blocks:
            self._soft += 1
            target *= self._soft / self._soft_blocks
        if target == self._loudness:
            self._mix *= target
        else:
            self._mix *= self._loudness + (target - self._loudness) * self._ramp
            self._loudness = target

    def _measure(self) -> None:
        place = self.blocks % LEVEL_BLOCKS
        np.abs(self._mix, out=self._other)
        self._peaks[place] = self._other.max()
        flat = self._other.ravel()
        self._powers[place] = flat @ flat / len(flat)


def replay(setup: Setup, journal: Sequence[Entry], programme: Readable) -> Iterator[Block]:
    """What was played, block by block, from its journal and the programme at the same rate."""
    inputs: deque[Taken] = deque()
    player = Player(setup, inputs.popleft)
    up = rising(player.block)[:, None]
    for entry in journal:
        samples = assembled(programme, entry.pieces, player.block)
        if entry.rise:
            samples *= up
        if entry.fall:
            samples *= up[::-1]
        inputs.append(Taken(samples, entry.pieces, entry.rise, entry.fall))
        for command in entry.commands:
            player.post(command)
        out = np.zeros((player.block, setup.channels), np.float32)
        player.render(out)
        yield out
