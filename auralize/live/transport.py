"""A programme streamed from disk: at any sample rate, from any place, in a loop, read ahead of time.

Fades lie on the programme, before any filter: all that follows is linear, so no jump can click. One
block lasts 10 to 20 ms, and every fade one block.
"""

from __future__ import annotations

import math
import threading
from collections import deque
from collections.abc import Sequence
from contextlib import ExitStack
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Final, NamedTuple

import numpy as np
import soundfile as sf

from auralize.audio.metering import Samples
from auralize.audio.reader import opened, probe
from auralize.errors import AudioFileError

SHORTEST_FADE: Final = 0.010
"""s; a block is the next power of two frames above it."""
MOST_CHANNELS: Final = 2
CHUNK: Final = 8192
"""Frames read from disk at once."""
READ_AHEAD: Final = 1.0
"""s of programme ready in memory."""
PRIMED: Final = 4
"""Blocks that are ready before playing goes to another place, and that a change of loop leaves."""
SHORTEST_LOOP: Final = 0.1
"""s"""
LOOK: Final = 0.05
"""s between two looks of the reader at how much has been taken."""

REACH: Final = 48
"""Samples of the lower rate on either side that the resampler looks at."""
KAISER_BETA: Final = 10.0


def block_frames(rate: int) -> int:
    """Frames of a block at ``rate`` Hz: a power of two that lasts 10 to 20 ms (512 at 48 kHz)."""
    return 1 << math.ceil(math.log2(SHORTEST_FADE * rate))


def rising(frames: int) -> Samples:
    """Raised cosine from 0 to 1, (frames,); with its own reverse it adds up to 1."""
    return np.asarray(np.sin(0.5 * np.pi * (np.arange(frames) + 0.5) / frames) ** 2)


# --- the file at any rate -------------------------------------------------------------------------


class Programme:
    """A sound file of one or two channels as if it had been sampled at ``rate`` Hz, from any place.

    Raises AudioFileError for what cannot be read or has more channels. Not for two threads at once.
    """

    def __init__(self, path: Path, rate: int | None = None) -> None:
        self.info = probe(path)
        if self.info.channels > MOST_CHANNELS:
            raise AudioFileError(
                f"{path} has {self.info.channels} channels; for listening live, one or two are right"
            )
        self.rate = rate or self.info.rate
        self.channels = self.info.channels
        self.frames = -(-self.info.frames * self.rate // self.info.rate)
        same = self.rate == self.info.rate
        self._resampler = None if same else _Resampler(self.info.rate, self.rate)
        self._closing = ExitStack()
        self._file = self._closing.enter_context(opened(path))
        self._kept_from, self._kept = 0, np.zeros((0, self.channels))
        self._chunk_index, self._chunk = -1, self._kept

    def close(self) -> None:
        """Let go of the file."""
        self._closing.close()

    def read(self, start: int, count: int) -> Samples:
        """(count, channels) from frame ``start`` (0 or more) on; silence after the end."""
        out = np.zeros((count, self.channels))
        done = 0
        while done < count and start + done < self.frames:
            index, inside = divmod(start + done, CHUNK)
            piece = self._in_chunk(index)[inside : inside + count - done]
            out[done : done + len(piece)] = piece
            done += len(piece)
        return out

    def _in_chunk(self, index: int) -> Samples:
        if index != self._chunk_index:
            start = index * CHUNK
            stop = min(start + CHUNK, self.frames)
            if self._resampler is None:
                self._chunk = self._decoded(start, stop)
            else:
                first, last = self._resampler.needs(start, stop)
                self._chunk = self._resampler.run(self._around(first, last), first, start, stop)
            self._chunk_index = index
        return self._chunk

    def _around(self, first: int, last: int) -> Samples:
        """Frames first to last, with silence where the file has none."""
        inside = self._decoded(max(first, 0), min(last, self.info.frames))
        return np.pad(inside, ((max(-first, 0), max(last - self.info.frames, 0)), (0, 0)))

    def _decoded(self, start: int, stop: int) -> Samples:
        """Frames of the file; those of the last call are kept, so that going on needs no seek."""
        offset = start - self._kept_from
        kept = self._kept[offset:][: stop - start] if offset >= 0 else self._kept[:0]
        self._kept = np.concatenate([kept, self._fetched(start + len(kept), stop)])
        self._kept_from = start
        return self._kept

    def _fetched(self, start: int, stop: int) -> Samples:
        if start >= stop:
            return np.zeros((0, self.channels))
        at = f"{start / self.info.rate:.1f} s"
        try:
            if self._file.tell() != start:
                self._file.seek(start)
            samples = self._file.read(stop - start, dtype="float64", always_2d=True)
        except sf.LibsndfileError as error:
            raise AudioFileError(
                f"{self.info.path} cannot be decoded after {at} ({error}); fetch it again from "
                "where it came"
            ) from error
        if len(samples) < stop - start:
            raise AudioFileError(
                f"{self.info.path} is damaged or cut short after {at}; fetch it again from where it "
                "came"
            )
        if not np.isfinite(samples).all():
            raise AudioFileError(
                f"{self.info.path} holds NaN or an infinite value after {at}; every sample must be "
                "a finite number"
            )
        return samples


class _Resampler:
    """Rational resampling by a Kaiser-windowed sinc; any stretch of the result by itself.

    Flat within 0.001 dB up to 0.466 of the lower rate (20.5 kHz at 44.1 kHz); images and aliases
    under -95 dB from 0.534 of it on, and none is heard between: they mirror what is above 20.5 kHz.
    """

    def __init__(self, from_rate: int, to_rate: int) -> None:
        common = math.gcd(from_rate, to_rate)
        self._up, self._down = to_rate // common, from_rate // common
        longest = max(self._up, self._down)
        self._half = REACH * longest
        place = np.arange(-self._half, self._half + 1)
        window = np.kaiser(len(place), KAISER_BETA)
        self._taps = np.sinc(place / longest) * window * (self._up / longest)

    def needs(self, start: int, stop: int) -> tuple[int, int]:
        """First frame of the file for frames start to stop of the result, and that after the last."""
        first = -((self._half - start * self._down) // self._up)
        return first, ((stop - 1) * self._down + self._half) // self._up + 1

    def run(self, samples: Samples, first: int, start: int, stop: int) -> Samples:
        """Frames start to stop, from ``samples`` that begin with frame ``first`` of the file."""
        from scipy.signal import upfirdn

        lead = start * self._down - first * self._up + self._half
        pad = -lead % self._down  # so that frame `start` falls on an output of the polyphase filter
        taps = np.concatenate([np.zeros(pad), self._taps])
        out = upfirdn(taps, samples, self._up, self._down, axis=0)
        skip = (lead + pad) // self._down
        return np.ascontiguousarray(out[skip : skip + stop - start])


# --- what is played, block by block ---------------------------------------------------------------


class Piece(NamedTuple):
    """``length`` frames of the programme from ``frame`` on, at place ``at`` of a block."""

    at: int
    frame: int
    length: int
    begin: int | None
    """Frame from which this pass through the programme fades in."""
    end: int | None
    """Frame up to which it has faded out."""


class Taken(NamedTuple):
    """One block of input, and where it comes from; no piece is silence."""

    samples: Samples
    pieces: tuple[Piece, ...]
    rise: bool
    """The whole block fades in (after a pause)."""
    fall: bool
    """The whole block fades out (before a pause or a jump)."""


def assembled(programme: Programme, pieces: Sequence[Piece], block: int) -> Samples:
    """The (block, channels) that pieces describe."""
    out = np.zeros((block, programme.channels))
    window = rising(block)
    for piece in pieces:
        part = programme.read(piece.frame, piece.length)
        if piece.begin is not None:
            _fade(part, window, piece.frame - piece.begin)
        if piece.end is not None:
            _fade(part[::-1], window, piece.end - piece.frame - piece.length)
        out[piece.at : piece.at + piece.length] = part
    return out


def _fade(part: Samples, window: Samples, distance: int) -> None:
    """Fade in what lies less than a window after a point ``distance`` frames before ``part``."""
    faded = window[distance : distance + len(part)]
    part[: len(faded)] *= faded[:, None]


@dataclass(frozen=True)
class _Loop:
    first: int
    stop: int


@dataclass(frozen=True)
class _Place:
    """Where reading goes on: in a pass through the programme that may end and begin elsewhere."""

    frame: int
    begin: int | None
    end: int | None = None
    then: int = 0
    """Where the next pass begins, if this one ends."""


@dataclass(eq=False)
class _Jump:
    """A wish to play from ``frame``, and what has been read of it."""

    frame: int
    blocks: deque[tuple[Samples, tuple[Piece, ...], _Place]] = field(default_factory=deque)
    complete: bool = False
    """Nothing follows: the end of the programme, or damage."""


class Transport:
    """Plays a programme: `take` for the audio callback, which never waits, all else for others.

    Begins paused at ``start`` (frames). Owns the programme and a thread that reads it.
    """

    def __init__(self, programme: Programme, start: int = 0) -> None:
        self._programme = programme
        self.rate, self.channels, self.length = programme.rate, programme.channels, programme.frames
        self.block = block_frames(programme.rate)
        self.fault: str | None = None
        """What stopped the reading, as one sentence."""
        self.starved = 0
        """Blocks that had not been read when their time came."""
        self._ahead = max(2 * PRIMED, round(READ_AHEAD * self.rate / self.block))
        self._jump = _Jump(min(max(start, 0), self.length - 1))  # the last wish
        self._ready = self._jump  # the wish that reading has reached
        self._current = self._jump  # the wish that is played
        self._ended: _Jump | None = None
        self._loop: _Loop | None = None
        self._playing = self._running = False
        self._position = self._jump.frame
        self._closing = False
        self._silence = Taken(np.zeros((self.block, self.channels)), (), False, False)
        self._faded = np.zeros((self.block, self.channels))
        self._rise = rising(self.block)[:, None]
        self._fall = self._rise[::-1]
        self._wake = threading.Event()
        self.reader = threading.Thread(target=self._read_ahead, name="reader", daemon=True)
        self.reader.start()

    # ---- for any thread

    @property
    def playing(self) -> bool:
        """False when paused, and after the end."""
        return self._playing

    @property
    def position(self) -> int:
        """Frame that is played next."""
        jump = self._jump
        return self._position if jump is self._current else jump.frame

    @property
    def ended(self) -> bool:
        """True after the last frame, until something else is wished."""
        return self._ended is self._jump

    @property
    def looped(self) -> tuple[int, int] | None:
        """First frame and frame after the last of the loop."""
        loop = self._loop
        return (loop.first, loop.stop) if loop else None

    @property
    def primed(self) -> bool:
        """True when playing can begin at once where it was wished."""
        return self._ready is self._jump and bool(self._ready.blocks or self._ready.complete)

    def play(self) -> None:
        """Go on; from the start (of the loop) after the end."""
        if self.ended:
            self.seek(self._loop.first if self._loop else 0)
        self._playing = True

    def pause(self) -> None:
        """Fade out within a block and stay there."""
        self._playing = False

    def seek(self, frame: int) -> None:
        """Go to a frame, at most the last one."""
        self._jump = _Jump(min(max(frame, 0), self.length - 1))
        self._wake.set()

    def loop(self, first: int, stop: int) -> None:
        """Play frames first to stop again and again; raises AudioFileError where that is too short."""
        first, stop = max(first, 0), min(stop, self.length)
        if stop - first < SHORTEST_LOOP * self.rate:
            raise AudioFileError(
                f"a loop of {max(0, stop - first) / self.rate:.3f} s was asked for; it must last "
                f"{SHORTEST_LOOP} s or more and lie within the programme"
            )
        self._loop = _Loop(first, stop)
        self._wake.set()

    def unloop(self) -> None:
        """Play on after the end of the loop."""
        self._loop = None
        self._wake.set()

    def close(self) -> None:
        """End the reading; `take` gives what is left, and then silence."""
        self._closing = True
        self._wake.set()

    # ---- for the audio callback

    def take(self) -> Taken:
        """The next block. No lock, no wait; its samples are valid until the next call."""
        if not self._running:
            return self._start()
        fall = not self._playing or self._ready is not self._current
        taken = self._next(fall=fall)
        if fall:
            self._running = self._playing
            self._go_to_ready()
        return taken

    def _start(self) -> Taken:
        if self._current is not self._ready:
            self._go_to_ready()
        if not self._playing:
            return self._silence
        self._running = True
        blocks = self._current.blocks
        if not blocks and not self._current.complete:
            self._running = False  # not read yet, and nothing is missed by waiting
            return self._silence
        return self._next(rise=True)

    def _go_to_ready(self) -> None:
        if self._current is not self._ready:
            self._current = self._ready
            self._position = self._current.frame

    def _next(self, rise: bool = False, fall: bool = False) -> Taken:
        jump = self._current
        try:
            samples, pieces, _ = jump.blocks.popleft()
        except IndexError:
            if jump.complete:
                self._ended = jump
                self._playing = self._running = False
            else:
                self.starved += 1
            return self._silence
        first, last = pieces[0], pieces[-1]
        self._position = last.frame + last.length
        # The start of the programme has no fade, and the start of a jump has had it.
        rise = rise and first.frame not in (0, first.begin)
        if rise or fall:
            np.multiply(samples, self._rise if rise else self._fall, out=self._faded)
            if rise and fall:
                self._faded *= self._fall
            samples = self._faded
        return Taken(samples, pieces, rise, fall)

    # ---- for the reader

    def _read_ahead(self) -> None:
        place, loop, jump = self._first_place(self._jump.frame), None, self._jump
        with ExitStack() as stack:
            stack.callback(self._programme.close)
            while not self._closing:
                if jump is not self._jump:
                    jump = self._jump
                    place, loop = self._first_place(jump.frame), self._loop
                elif loop is not self._loop:
                    loop = self._loop
                    place = self._within(self._taken_back(jump, place), loop)
                elif jump.complete or len(jump.blocks) >= self._ahead:
                    self._wake.wait(LOOK)
                    self._wake.clear()
                else:
                    place = self._read_block(jump, place, loop)

    def _first_place(self, frame: int) -> _Place:
        place, loop = _Place(frame, frame or None), self._loop
        # A jump to behind the loop plays on from there.
        if loop and frame < loop.stop - self.block:
            return replace(place, end=loop.stop, then=loop.first)
        return place

    def _taken_back(self, jump: _Jump, place: _Place) -> _Place:
        """Give up what has been read beyond the next blocks, to read it anew."""
        jump.complete = False
        while len(jump.blocks) > PRIMED:
            try:
                place = jump.blocks.pop()[2]
            except IndexError:  # the callback was quicker
                break
        return place

    def _within(self, place: _Place, loop: _Loop | None) -> _Place:
        """The same place under another loop; a fade that has begun is brought to its end."""
        fading = place.end is not None and place.frame > place.end - self.block
        if loop is None:
            return place if fading else replace(place, end=None)
        if fading:
            return replace(place, then=loop.first)
        end = min(max(loop.stop, place.frame + self.block), self.length)
        return replace(place, end=end, then=loop.first)

    def _read_block(self, jump: _Jump, place: _Place, loop: _Loop | None) -> _Place:
        start, pieces, at = place, [], 0
        complete = False
        while at < self.block and not complete:
            stop = self.length if place.end is None else place.end
            count = min(self.block - at, stop - place.frame)
            if count > 0:
                pieces.append(Piece(at, place.frame, count, place.begin, place.end))
                place = replace(place, frame=place.frame + count)
                at += count
            if place.frame >= stop:
                if place.end is None:
                    complete = True
                else:
                    end = loop.stop if loop else None
                    place = _Place(place.then, place.then or None, end, place.then)
        try:
            samples = assembled(self._programme, pieces, self.block)
        except AudioFileError as error:
            self.fault = str(error)
            jump.complete = True
            self._ready = jump
            return place
        if pieces:
            jump.blocks.append((samples, tuple(pieces), start))
        jump.complete = complete
        if complete or len(jump.blocks) >= PRIMED:
            self._ready = jump
        return place
