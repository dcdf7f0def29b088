"""Convolution of a sound that is there as a whole: segments that need nothing of one another.

Overlap-save, several segments a batch. Two channels travel as one complex signal, which a real impulse
response leaves unmixed. Where a segment begins depends on the impulse responses alone: the output has the
same bits whatever blocks the input arrives in, and whatever threads take up the batches.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from auralize.audio.convolver import CHANNELS_PER_SIGNAL
from auralize.audio.denormals import without_denormals
from auralize.audio.transforms import fft, ifft

SIZE_PER_REACH: Final = 4
"""A transform of four times the impulse responses loses a quarter of itself to the overlap. Measured at
1 000 to 12 000 taps in single precision: 2 and 8 are no faster."""
SMALLEST_SIZE: Final = 8192
LARGEST_SIZE: Final = 1 << 17
"""Frames; beyond it, as little as holds twice the impulse responses: no cache holds more."""
BATCH_BYTES: Final = 1 << 20
"""Spectra worked on at once, in single precision: with their products they stay in the second cache."""


class OverlapSave:
    """How sounds of ``channels`` are cut for impulse responses of up to ``reach`` taps.

    So many ``segments`` a batch, or as many as the cache likes.
    """

    def __init__(self, reach: int, channels: int, segments: int | None = None) -> None:
        self.reach, self.channels = reach, channels
        power = 1 << (reach - 1).bit_length()
        roomy = min(max(SIZE_PER_REACH * power, SMALLEST_SIZE), LARGEST_SIZE)
        self.size = max(roomy, 2 * power)
        """Of a transform."""
        self._pairs = -(-channels // CHANNELS_PER_SIGNAL)
        self._advance = self.size - (reach - 1)
        single = np.dtype(np.complex64).itemsize
        liked = max(1, BATCH_BYTES // (single * self._pairs * self.size))
        self._batch = liked if segments is None else segments
        self.frames = self._batch * self._advance
        """Of output in a batch."""

    def response(self, taps: NDArray[np.float64], kind: type = np.complex128) -> NDArray[Any]:
        """Of an impulse response, at the frequencies of a transform."""
        return np.asarray(np.fft.fft(taps, self.size), kind)

    def before(self, delay: int) -> int:
        """Frames of input that the first of output needs before its own, ``delay`` taken out."""
        return self.reach - 1 - delay

    def windows(
        self, blocks: Iterable[NDArray[Any]], silence: int, frames: int, kind: type
    ) -> Iterator[NDArray[Any]]:
        """What each batch is made of, (pairs, n): ``frames`` of output in all.

        ``blocks`` are (n, channels), any n, the first with what is `before` the output, or so many frames
        of ``silence`` in place of that; silence is behind them. All of them are taken.
        """
        before, real = self.reach - 1, kind(0).real.dtype
        window: NDArray[Any] = np.zeros((self._pairs, before + self.frames), kind)
        held, done = silence, 0
        for block in blocks:
            at = 0
            while at < len(block):
                taken = min(len(block) - at, window.shape[1] - held)
                self._put(block[at : at + taken], window[:, held : held + taken].view(real))
                at, held = at + taken, held + taken
                if held == window.shape[1]:
                    yield window
                    done, held = done + self.frames, before
                    window = self._following(window)
        while done < frames:
            window[:, held:] = 0.0
            yield window
            done, held = done + self.frames, before
            window = self._following(window)

    def _following(self, window: NDArray[Any]) -> NDArray[Any]:
        """A new one, since threads may be at work on the last, that begins with the end of it."""
        new = np.empty_like(window)
        new[:, : self.reach - 1] = window[:, self.frames :]
        return new

    def _put(self, block: NDArray[Any], lanes: NDArray[Any]) -> None:
        """The channels of a block, in pairs side by side; an odd one beside silence."""
        for channel in range(0, self.channels, CHANNELS_PER_SIGNAL):
            pair = block[:, channel : channel + CHANNELS_PER_SIGNAL]
            lane = lanes[channel // CHANNELS_PER_SIGNAL].reshape(-1, CHANNELS_PER_SIGNAL)
            lane[:, : pair.shape[1]] = pair
            lane[:, pair.shape[1] :] = 0.0
            if lane.dtype != block.dtype:  # what double precision holds well may be denormal here
                without_denormals(lane)

    def rms(self, window: NDArray[Any]) -> float:
        """The highest of any segment, both channels of a pair together."""
        real = window.real.dtype
        powers = [
            np.vecdot(lanes, lanes).max() / self.size
            for lanes in (segment.view(real) for segment in self._segments(window))
        ]
        return float(np.sqrt(max(powers)))

    def spectra(self, window: NDArray[Any]) -> NDArray[Any]:
        """(segments, pairs, size) of a batch."""
        return fft(self._segments(window))

    def _segments(self, window: NDArray[Any]) -> NDArray[Any]:
        row, item = window.strides
        shape = (self._batch, self._pairs, self.size)
        strides = (self._advance * item, row, item)
        return np.lib.stride_tricks.as_strided(window, shape, strides, writeable=False)

    def shortest(self, frames: int) -> OverlapSave:
        """The same, whose batch is of at least so many frames."""
        return OverlapSave(self.reach, self.channels, max(1, -(-frames // self._advance)))

    def add(self, spectra: NDArray[Any], response: NDArray[Any], onto: NDArray[Any]) -> None:
        """Add what a response makes of a batch to (frames, channels), whose rows lie one after another."""
        made = ifft(spectra * response)[..., self.reach - 1 :]
        if self.channels == CHANNELS_PER_SIGNAL:  # without a copy
            rows = onto.reshape(self._batch, -1)
            rows += made[:, 0].view(onto.dtype)
        else:
            onto += self._samples(made.swapaxes(0, 1))

    def unfiltered(self, window: NDArray[Any], late: int) -> NDArray[Any]:
        """The input ``late`` frames before the newest of the output: (frames, channels)."""
        begin = self.reach - 1 - late
        return self._samples(window[:, begin : begin + self.frames])

    def _samples(self, pairs: NDArray[Any]) -> NDArray[Any]:
        """(pairs, ..., frames) as (all frames, channels)."""
        lanes = pairs.reshape(self._pairs, -1).view(pairs.real.dtype)
        lined = lanes.reshape(self._pairs, self.frames, CHANNELS_PER_SIGNAL)
        if self._pairs == 1:
            return lined[0, :, : self.channels]
        both = lined.transpose(1, 0, 2).reshape(self.frames, -1)
        return both[:, : self.channels]
