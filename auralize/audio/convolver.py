"""A block convolver with state: the same one renders files and feeds the loudspeaker.

Uniformly partitioned overlap-save. Two channels travel as one complex signal, which a real impulse
response leaves unmixed; every filter shares the forward transforms. All work is cut into hops of
fixed length, so the output has the same bits whatever blocks the input arrives in.
"""

from collections.abc import Callable
from functools import partial
from itertools import count
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from auralize.audio.denormals import without_denormals

OFFLINE_HOP_PER_TAP: Final = 3
"""Hop over taps offline: a transform of four times the impulse response loses a quarter of itself
to the overlap. Measured at 512 to 16384 taps: a quarter faster than 1, and no slower than 7."""

SMALLEST_OFFLINE_HOP: Final = 4096
"""Frames; below this the cost of the calls shows."""

LARGEST_OFFLINE_HOP: Final = 65536
"""Frames; beyond it a transform no longer fits the cache, and partitions are cheaper."""

BATCH_BYTES: Final = 1 << 21
"""Spectra worked on at once, sized to stay within a usual second-level cache."""

CHANNELS_PER_SIGNAL: Final = 2


def offline_hop(taps: int) -> int:
    """The hop (frames) that renders a file fastest with impulse responses of `taps` samples."""
    power = 1 << (max(taps, 1) - 1).bit_length()
    return min(max(OFFLINE_HOP_PER_TAP * power, SMALLEST_OFFLINE_HOP), LARGEST_OFFLINE_HOP)


def fast_length(least: int) -> int:
    """The next length without prime factors above 11, which is transformed fast."""
    for length in count(least):
        rest = length
        for prime in (2, 3, 5, 7, 11):
            while rest % prime == 0:
                rest //= prime
        if rest == 1:
            break
    return length


def _transforms(workers: int, single: bool) -> tuple[Callable[..., Any], ...]:
    """Along the last axis: of real numbers up to half the rate, forward, and back into the same array.

    NumPy's have the same bits as SciPy's in double precision, and need no import of 0.2 s; but only
    SciPy's have threads, and they take half the time in single precision.
    """
    if workers == 1 and not single:
        return np.fft.rfft, np.fft.fft, lambda spectra: np.fft.ifft(spectra, out=spectra)
    from scipy import fft

    backward = partial(fft.ifft, overwrite_x=True, workers=workers)
    return fft.rfft, partial(fft.fft, workers=workers), backward


class Convolver:
    """Real impulse responses (filters, taps) run over `channels` channels, hop by hop.

    Relative error about 1e-15 of the loudest channel of a pair: a silent channel beside a loud one
    carries that much of rounding. Samples must be finite, since one that is not spoils its pair for
    the length of the impulse response. Not for two threads at once, save for `replace`.

    `max_taps` keeps room for longer impulse responses to come (see `replace`); `workers` are the
    threads of the transforms, of use when blocks hold many hops; ``single`` precision takes half the
    time, and its relative error is about 1e-7. Raises ValueError on a shape or a count that cannot be.
    """

    def __init__(
        self,
        impulses: NDArray[np.float64],
        channels: int,
        hop: int,
        workers: int = 1,
        *,
        max_taps: int | None = None,
        single: bool = False,
    ) -> None:
        self._real: type[np.floating] = np.float32 if single else np.float64
        self._complex: type[np.complexfloating] = np.complex64 if single else np.complex128
        impulses = _checked_impulses(impulses)
        if channels < 1 or hop < 1 or workers < 1:
            raise ValueError(
                f"A convolver got channels={channels}, hop={hop}, workers={workers}; "
                "each must be at least 1"
            )
        self.filters, taps = impulses.shape
        self.channels = channels
        self.hop = hop
        taps = max(taps, max_taps or 0)
        self._partitions = -(-taps // hop)
        self._rfft, self._fft, self._ifft = _transforms(workers, single)
        self._size = fast_length(hop + min(taps, hop) - 1)
        self._overlap = self._size - hop
        self.max_taps = self._overlap + 1 if self._partitions == 1 else self._partitions * hop
        """Taps; the longest impulse responses that `replace` takes."""
        self._allocate()
        self._responses = self._transform(impulses)

    def _allocate(self) -> None:
        """All memory the convolver ever holds; `process` adds only the array it gives back."""
        pairs = -(-self.channels // CHANNELS_PER_SIGNAL)
        hop_bytes = self.filters * pairs * self._size * np.dtype(self._complex).itemsize
        self._batch = max(1, BATCH_BYTES // hop_bytes)
        self._window = np.zeros((pairs, self._overlap + self._batch * self.hop), self._complex)
        row, item = self._window.strides
        self._segments = np.lib.stride_tricks.as_strided(
            self._window,
            (self._batch, pairs, self._size),
            (self.hop * item, row, item),
            writeable=False,
        )
        slots = self._partitions - 1 + max(self._batch, self._partitions)
        self._spectra = np.zeros((slots, pairs, self._size), self._complex)
        self._products = np.empty((self._partitions, pairs, self._size), self._complex)
        self._sums = np.empty((self._batch, self.filters, pairs, self._size), self._complex)
        self._held = 0
        self._next_slot = self._partitions - 1

    @property
    def latency(self) -> int:
        """Frames held back at most, until their hop is full: hop - 1, and none at all when every
        block is a multiple of the hop. A filter's own pre-delay comes on top."""
        return self.hop - 1

    @property
    def held(self) -> int:
        """Frames held back at this moment."""
        return self._held

    def process(self, block: NDArray[np.float64], only: int | None = None) -> NDArray[Any]:
        """Take (n, channels), any n; give (filters, k, channels), k all complete hops so far.

        ``only``: that filter alone, (1, k, channels); the others lose nothing by it.
        """
        if block.ndim != 2 or block.shape[1] != self.channels:
            raise ValueError(
                f"A block of shape {block.shape} was given; (frames, {self.channels}) is right"
            )
        frames = len(block)
        hops = (self._held + frames) // self.hop
        responses = self._responses  # once, since `replace` may come from another thread
        if only is not None:
            responses = responses[only : only + 1]
        out = np.empty((len(responses), hops, self.hop, self.channels), self._real)
        taken = done = 0
        while taken < frames:
            taken += self._take(block[taken:])
            ready = self._held // self.hop
            if ready:
                self._run(responses, out[:, done : done + ready])
                done += ready
        return out.reshape(len(responses), hops * self.hop, self.channels)

    def flush(self, extra: int = 0) -> NDArray[Any]:
        """The frames still held back, and `extra` frames of decay; then silence, as new.

        Over a programme of n frames `process` and `flush` give n + extra frames in all.
        """
        if extra < 0:
            raise ValueError(f"{extra} frames of decay were asked for; 0 or more is right")
        wanted = self._held + extra
        to_full_hops = -(-wanted // self.hop) * self.hop - self._held
        out = self.process(np.zeros((to_full_hops, self.channels)))[:, :wanted]
        self.reset()
        return out

    def reset(self) -> None:
        """Forget the input; the impulse responses stay."""
        self._window[:] = 0.0
        self._spectra[:] = 0.0
        self._held = 0
        self._next_slot = self._partitions - 1

    def replace(self, impulses: NDArray[np.float64]) -> None:
        """Other impulse responses (same filters, up to `max_taps`) from the next hop on.

        The input so far is kept, so what comes out is at once as if they had always been there; to
        cross-fade, keep both in one convolver. May be called while another thread is in `process`.
        """
        impulses = _checked_impulses(impulses)
        filters, taps = impulses.shape
        if filters != self.filters or taps > self.max_taps:
            raise ValueError(
                f"{filters} impulse responses of {taps} taps were given to replace {self.filters} "
                f"of at most {self.max_taps}"
            )
        self._responses = self._transform(impulses)

    def _transform(self, impulses: NDArray[np.float64]) -> list[NDArray[Any]]:
        """Spectra (partitions, 1, size) of each filter as far as it reaches, last partition first: it
        meets the oldest hop."""
        length = self.max_taps if self._partitions == 1 else self.hop
        spectra = []
        for impulse in impulses:
            taps = len(np.trim_zeros(impulse, "b"))
            parts = np.zeros((max(1, -(-taps // length)), length), self._real)
            parts.reshape(-1)[:taps] = impulse[:taps]
            half = self._rfft(parts[::-1, None], self._size)
            mirrored = half[..., self._size - half.shape[-1] : 0 : -1].conj()
            spectra.append(np.concatenate([half, mirrored], axis=-1))
        return spectra

    def _take(self, block: NDArray[np.float64]) -> int:
        """Put what fits of the block behind the frames held; say how many frames that was."""
        start = self._overlap + self._held
        count: int = min(len(block), self._window.shape[1] - start)
        for channel in range(self.channels):
            signal = self._window[channel // CHANNELS_PER_SIGNAL, start : start + count]
            lane = signal.imag if channel % CHANNELS_PER_SIGNAL else signal.real
            lane[:] = block[:count, channel]
            without_denormals(lane)
        self._held += count
        return count

    def _run(self, responses: list[NDArray[Any]], out: NDArray[Any]) -> None:
        """Filter the complete hops at the front of the window into (filters, hops, hop, ch)."""
        hops = out.shape[1]
        oldest = self._push_spectra(hops)
        sums = self._sums[:hops, : len(responses)]
        # One hop at a time, also in a batch: the sum then runs in the same order, bit for bit.
        for index in range(hops):
            newest = oldest + index
            for response, total in zip(responses, sums[index], strict=True):
                history = self._spectra[newest - len(response) + 1 : newest + 1]
                products = np.multiply(history, response, out=self._products[: len(response)])
                np.add.reduce(products, axis=0, out=total)
        signals = self._ifft(sums)
        valid = signals[..., self._overlap :].swapaxes(0, 1)
        for first in range(0, self.channels, CHANNELS_PER_SIGNAL):
            pair = out[..., first : first + CHANNELS_PER_SIGNAL]
            # Real and imaginary parts lie side by side already, as channels do.
            both = valid[:, :, first // CHANNELS_PER_SIGNAL].view(self._real)
            pair[:] = both.reshape(*pair.shape[:-1], CHANNELS_PER_SIGNAL)[..., : pair.shape[-1]]
        self._drop_from_window(hops)

    def _push_spectra(self, hops: int) -> int:
        """Transform the next hops, behind those before them; say where the first one went."""
        before = self._partitions - 1
        if self._next_slot + hops > len(self._spectra):
            self._spectra[:before] = self._spectra[self._next_slot - before : self._next_slot]
            self._next_slot = before
        first: int = self._next_slot
        self._next_slot += hops
        self._spectra[first : self._next_slot] = self._fft(self._segments[:hops])
        return first

    def _drop_from_window(self, hops: int) -> None:
        """Move what the next hop needs to the front of the window."""
        gone = hops * self.hop
        self._held -= gone
        keep = self._overlap + self._held
        self._window[:, :keep] = self._window[:, gone : gone + keep]


def _checked_impulses(impulses: NDArray[np.float64]) -> NDArray[np.float64]:
    if impulses.ndim != 2 or 0 in impulses.shape:
        raise ValueError(
            f"Impulse responses of shape {impulses.shape} were given; (filters, taps) is right, "
            "with at least one of each"
        )
    if not np.isfinite(impulses).all():
        raise ValueError("An impulse response holds values that are not finite numbers")
    return np.asarray(impulses, np.float64)
