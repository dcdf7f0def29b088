"""A tap on what is played: the audio callback copies its blocks into a ring, whoever wants them reads them.

No lock and no memory is taken by the callback, and it never waits. It counts the blocks that it has written;
whoever reads looks at the count again afterwards, and so knows whether what he read was being overwritten.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from auralize.audio.metering import Samples

HELD: Final = 1.4
"""s that the ring holds."""


@dataclass(frozen=True, eq=False)
class Tapped:
    """Blocks that follow each other."""

    source: Samples
    """(frames, channels) as the filters got it, faded where playing breaks off."""
    played: NDArray[np.float32]
    """(frames, channels) as it left for the device."""
    volume: float
    """At its end (linear), as it is while coming up softly."""
    frame: int | None
    """Of the programme, where the last block begins; None: silence."""
    lost: int
    """Blocks before these that were overwritten before they were read."""


class Tap:
    """A ring of blocks; `put` is for the audio callback, `read` for one other thread."""

    def __init__(self, block: int, channels: int, rate: int) -> None:
        self.size = max(4, round(HELD * rate / block))
        """Blocks, one of which may be being written."""
        self.written = 0
        """Blocks so far."""
        self._read = 0
        self._source = np.zeros((self.size, block, channels))
        self._played = np.zeros((self.size, block, channels), np.float32)
        self._volume = np.zeros(self.size)
        self._frame = np.zeros(self.size, np.int64)

    def put(
        self, source: Samples, played: NDArray[np.float32], volume: float, frame: int | None
    ) -> None:
        """One block; of what is played, the channels of the programme."""
        place = self.written % self.size
        self._source[place] = source
        self._played[place] = played[:, : source.shape[1]]
        self._volume[place] = volume
        self._frame[place] = -1 if frame is None else frame
        self.written += 1  # last: until then nobody reads it

    def read(self) -> Tapped:
        """All blocks since the last time, or what is left of them."""
        first, ahead = self._read, 0
        while True:
            written = self.written  # anew: whoever was held up long would never catch up else
            first = min(written, max(first, written - self.size + 1 + ahead))
            places = np.arange(first, written) % self.size
            source, played = self._source[places], self._played[places]
            volume, frame = self._volume[places], self._frame[places]
            if self.written - self.size < first:
                break
            ahead = self.size // 4  # of the writer
        lost, self._read = first - self._read, written
        channels = source.shape[2]
        return Tapped(
            source.reshape(-1, channels),
            played.reshape(-1, channels),
            float(volume[-1]) if len(volume) else 0.0,
            int(frame[-1]) if len(frame) and frame[-1] >= 0 else None,
            lost,
        )
