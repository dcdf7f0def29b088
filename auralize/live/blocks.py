"""Blocks of a programme: how long they are, what they are made of, and the fades at their edges.

Fades lie on the programme, before any filter: all that follows is linear, so no jump can click. One
block lasts 10 to 20 ms, and every fade one block.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final, NamedTuple

import numpy as np

from auralize.audio.metering import Samples
from auralize.live.sources import Readable

SHORTEST_FADE: Final = 0.010
"""s; a block is the next power of two frames above it."""


def block_frames(rate: int) -> int:
    """Frames of a block at ``rate`` Hz: a power of two that lasts 10 to 20 ms (512 at 48 kHz)."""
    return 1 << math.ceil(math.log2(SHORTEST_FADE * rate))


def rising(frames: int) -> Samples:
    """Raised cosine from 0 to 1, (frames,); with its own reverse it adds up to 1."""
    return np.asarray(np.sin(0.5 * np.pi * (np.arange(frames) + 0.5) / frames) ** 2)


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


def assembled(programme: Readable, pieces: Sequence[Piece], block: int) -> Samples:
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
