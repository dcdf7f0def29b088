"""Arrays through a choice: whole, or block by block as they come. No gain is added."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from auralize.audio.convolver import Convolver
from auralize.audio.metering import Samples
from auralize.circuit.signals import Signal, over
from auralize.circuit.solution import Across
from auralize.errors import RequestError
from auralize.filters.fir import Fir, design_run
from auralize.filters.quality import check
from auralize.filters.stream import through
from auralize.rig.choice import Choice

HOP: Final = 256
"""Frames that a `Processor` works on at once, if nothing else is asked for."""
FRAMES_AT_ONCE: Final = 1 << 15
"""Frames of an array that are rendered at once."""


def design_filter(
    choice: Choice, rate: int, signal: Signal = "receiving", across: Across = "both"
) -> Fir:
    """The filter of one signal of a choice, with its delay and its measured error.

    As `Choice.response` has it: relative to the turns of transformers, where there are any.

    Parameters
    ----------
    choice : Choice
    rate : int
        Sample rate in Hz, 8000 to 192000.
    signal : {"receiving", "drop", "sending"}
    across : {"both", "plus", "minus"}
        Which conductors the drop is over; over plus and over minus add up to over both in every tap.

    Returns
    -------
    Fir
        ``taps`` (float64), ``rate``, ``delay`` (samples before time zero), ``error`` (dB, the largest
        |F - H| / |H| between 20 Hz and 20 kHz).

    Raises
    ------
    RequestError
        For a signal that is not known, or one conductor where the drop over it cannot be told.
    DesignError
        For a rate that cannot be, or a response that no filter comes near.

    Examples
    --------
    >>> import auralize as au
    >>> fir = au.design_filter(au.load_rig("saltmarsh.toml")["reel"], 48_000, signal="drop")
    >>> fir.error < -100.0
    True
    """
    choice.check_signal(signal, across)
    fir = design_run(choice.network, choice.listen, rate).of(signal, across)
    check(f"choice {choice.name}, {signal} signal{over(signal, across)}", fir.error)
    return fir


def render(
    samples: ArrayLike,
    rate: int,
    choice: Choice,
    signal: Signal = "receiving",
    *,
    across: Across = "both",
    tail: float = 0.0,
) -> Samples:
    """Samples as they arrive at the loudspeaker, or what the run keeps of them.

    Parameters
    ----------
    samples : array_like, shape (frames,) or (frames, channels)
        Finite numbers, of any scale: the signal at the amplifier's own source.
    rate : int
        Sample rate in Hz, 8000 to 192000.
    choice, signal, across
        See `design_filter`.
    tail : float
        s of decay after the end.

    Returns
    -------
    ndarray of float64, shape (frames + tail, ...) as that of ``samples``
        Aligned with ``samples`` to the sample. No gain is added.

    Raises
    ------
    RequestError, DesignError
        For samples, a signal, or a rate that cannot be.

    Examples
    --------
    >>> import auralize as au, numpy as np
    >>> tone = 0.1 * np.sin(2 * np.pi * np.arange(48_000) / 48.0)
    >>> reel = au.load_rig("saltmarsh.toml")["reel"]
    >>> float(abs(au.render(tone, 48_000, reel)[24_000:]).max().round(4))
    0.0849
    """
    whole = _checked(samples)
    if tail < 0.0:
        raise RequestError(f"a tail of {tail:g} s was asked for; right is 0 s or more")
    fir = design_filter(choice, rate, signal, across)
    table = whole.reshape(len(whole), -1)
    blocks = (table[at : at + FRAMES_AT_ONCE] for at in range(0, len(table), FRAMES_AT_ONCE))
    parts = [wet[0] for _, wet in through(blocks, [fir], table.shape[1], round(tail * rate))]
    out = np.concatenate(parts)
    return out[:, 0] if whole.ndim == 1 else out


def _checked(samples: ArrayLike) -> Samples:
    whole = np.asarray(samples, dtype=np.float64)
    if whole.ndim not in (1, 2) or 0 in whole.shape:
        raise RequestError(
            f"samples of shape {whole.shape} were given; right is (frames,) or (frames, channels), with at "
            "least one of each"
        )
    if not np.isfinite(whole).all():
        raise RequestError(
            "samples hold NaN or an infinite value; every one must be a finite number"
        )
    return whole


class Processor:
    """A choice as a processor of blocks, each as long when it comes out as it was going in.

    Parameters
    ----------
    choice : Choice
    rate : int
        Sample rate in Hz, 8000 to 192000.
    channels : int
    signal : {"receiving", "drop", "sending"}
    across : {"both", "plus", "minus"}
        Which conductors the drop is over.
    hop : int
        Frames worked on at once; blocks that are multiples of it cost least.

    Attributes
    ----------
    latency : int
        Frames by which what comes out is late: the filter's delay, and all but one of a hop.
    error : float
        dB, as measured on the filter.

    Examples
    --------
    >>> import auralize as au, numpy as np
    >>> reel = au.load_rig("saltmarsh.toml")["reel"]
    >>> processor = au.Processor(reel, 48_000, channels=2)
    >>> processor.process(np.zeros((100, 2))).shape
    (100, 2)
    >>> processor.latency
    511
    """

    def __init__(
        self,
        choice: Choice,
        rate: int,
        channels: int,
        signal: Signal = "receiving",
        *,
        across: Across = "both",
        hop: int = HOP,
    ) -> None:
        fir = design_filter(choice, rate, signal, across)
        try:
            self._convolver = Convolver(fir.taps[None, :], channels, hop)
        except ValueError as error:
            raise RequestError(str(error)) from None
        self.latency = fir.delay + hop - 1
        self.error = fir.error
        self._words = (
            f"{signal} of {choice.name!r}{over(signal, across)} at {rate} Hz, {channels} channels"
        )
        self._channels, self._hop = channels, hop
        self._ready: Samples
        self.reset()

    def __repr__(self) -> str:
        return f"<Processor: {self._words}, {self.latency} frames late>"

    def process(self, block: ArrayLike) -> Samples:
        """The next (n, channels), any n; gives as many frames, `latency` frames late."""
        taken = np.asarray(block, dtype=np.float64)
        if taken.ndim != 2 or taken.shape[1] != self._channels:
            raise RequestError(
                f"a block of shape {taken.shape} was given; right is (frames, {self._channels})"
            )
        ready = np.concatenate([self._ready, self._convolver.process(taken)[0]])
        self._ready = ready[len(taken) :]
        return ready[: len(taken)]

    def reset(self) -> None:
        """Forget what came before."""
        self._convolver.reset()
        self._ready = np.zeros((self._hop - 1, self._channels))
