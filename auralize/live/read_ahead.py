"""Reading ahead: which frames come next, in a loop or on to the end, read by a thread of its own."""

from __future__ import annotations

import threading
from collections import deque
from contextlib import closing
from dataclasses import dataclass, field, replace
from typing import Final

from auralize.audio.metering import Samples
from auralize.errors import AudioFileError
from auralize.live.blocks import Piece, assembled
from auralize.live.sources import Readable

AHEAD: Final = 1.0
"""s of programme ready in memory."""
PRIMED: Final = 4
"""Blocks that are ready before playing goes to another place, and that a change of loop leaves."""
READER_LOOK: Final = 0.05
"""s between two looks of the reader at how much has been taken."""


@dataclass(frozen=True)
class Loop:
    """Frames ``first`` to ``stop``, again and again."""

    first: int
    stop: int


@dataclass(frozen=True)
class Place:
    """Where reading goes on: in a pass through the programme that may end and begin elsewhere."""

    frame: int
    begin: int | None
    end: int | None = None
    then: int = 0
    """Where the next pass begins, if this one ends."""


@dataclass(eq=False)
class Jump:
    """A wish to play from ``frame``, and what has been read of it."""

    frame: int
    blocks: deque[tuple[Samples, tuple[Piece, ...], Place]] = field(default_factory=deque)
    """Samples, what they are, and the place where they begin."""
    complete: bool = False
    """Nothing follows: the end of the programme, or damage."""


def first_place(frame: int, loop: Loop | None, block: int) -> Place:
    """Where a jump begins; one to behind the loop plays on from there."""
    place = Place(frame, frame or None)
    if loop and frame < loop.stop - block:
        return replace(place, end=loop.stop, then=loop.first)
    return place


def within(place: Place, loop: Loop | None, block: int, length: int) -> Place:
    """The same place under another loop; a fade that has begun is brought to its end."""
    fading = place.end is not None and place.frame > place.end - block
    if loop is None:
        return place if fading else replace(place, end=None)
    if fading:
        return replace(place, then=loop.first)
    end = min(max(loop.stop, place.frame + block), length)
    return replace(place, end=end, then=loop.first)


def next_pieces(
    place: Place, loop: Loop | None, block: int, length: int
) -> tuple[list[Piece], Place, bool]:
    """What the next block is made of, where reading goes on, and whether the programme is at its end."""
    pieces, at = [], 0
    while at < block:
        stop = length if place.end is None else place.end
        count = min(block - at, stop - place.frame)
        if count > 0:
            pieces.append(Piece(at, place.frame, count, place.begin, place.end))
            place = replace(place, frame=place.frame + count)
            at += count
        if place.frame >= stop:
            if place.end is None:
                return pieces, place, True
            end = loop.stop if loop else None
            place = Place(place.then, place.then or None, end, place.then)
    return pieces, place, False


class Reader:
    """Reads what is ``wished`` of a programme that it owns, in blocks of ``block`` frames.

    ``wished`` and ``loop`` may be set from any thread, then `wake`. ``ready`` is the last wish of which
    enough has been read to play it; its blocks are taken from the left.
    """

    def __init__(self, programme: Readable, block: int, start: int) -> None:
        self.wished = self.ready = Jump(start)
        self.loop: Loop | None = None
        self.fault: str | None = None
        """What stopped the reading, as one sentence."""
        self._programme, self._block = programme, block
        self._ahead = max(2 * PRIMED, round(AHEAD * programme.rate / block))
        self._closing = False
        self._wake = threading.Event()
        self.thread = threading.Thread(target=self._read, name="reader", daemon=True)
        self.thread.start()

    def wake(self) -> None:
        """Heed at once what was set."""
        self._wake.set()

    def close(self) -> None:
        """End the reading; what has been read stays."""
        self._closing = True
        self._wake.set()

    def _read(self) -> None:
        jump, loop = self.wished, self.loop
        place = first_place(jump.frame, loop, self._block)
        with closing(self._programme):
            while not self._closing:
                if jump is not self.wished:
                    jump, loop = self.wished, self.loop
                    place = first_place(jump.frame, loop, self._block)
                elif loop is not self.loop:
                    loop = self.loop
                    place = self._taken_back(jump, place)
                    place = within(place, loop, self._block, self._programme.frames)
                elif jump.complete or len(jump.blocks) >= self._ahead:
                    self._wake.wait(READER_LOOK)
                    self._wake.clear()
                else:
                    place = self._read_block(jump, place, loop)

    def _taken_back(self, jump: Jump, place: Place) -> Place:
        """Give up what has been read beyond the next blocks, to read it anew."""
        jump.complete = False
        while len(jump.blocks) > PRIMED:
            try:
                place = jump.blocks.pop()[2]
            except IndexError:  # the callback was quicker
                break
        return place

    def _read_block(self, jump: Jump, start: Place, loop: Loop | None) -> Place:
        length = self._programme.frames
        pieces, place, complete = next_pieces(start, loop, self._block, length)
        try:
            samples = assembled(self._programme, pieces, self._block)
        except AudioFileError as error:
            self.fault = str(error)
            jump.complete = True
            self.ready = jump
            return place
        if pieces:
            jump.blocks.append((samples, tuple(pieces), start))
        jump.complete = complete
        if complete or len(jump.blocks) >= PRIMED:
            self.ready = jump
        return place
