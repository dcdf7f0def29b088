"""A programme through filters, block by block: the same for files, arrays and measuring."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from auralize.audio.convolver import Convolver, offline_hop
from auralize.audio.metering import Samples
from auralize.filters.fir import Fir


def through(
    blocks: Iterable[Samples],
    firs: Sequence[Fir],
    channels: int,
    tail: int = 0,
    workers: int = 1,
    single: bool = False,
) -> Iterator[tuple[Samples, Samples]]:
    """Each block (n, channels), and what filters make of it (filters, m, channels), delay taken out.

    ``firs`` are of one sample rate, and so of one delay. m differs from n, as the convolver holds some
    frames back; in all there are ``tail`` more of them. ``workers`` are the threads of the transforms.
    ``single``: see `Convolver`.
    """
    hop = offline_hop(max_taps(firs))
    convolver = Convolver(stacked(firs), channels, hop, workers=workers, single=single)
    delay = early = firs[0].delay
    for dry in blocks:
        wet = convolver.process(dry)
        yield dry, wet[:, early:]
        early = max(0, early - wet.shape[1])
    yield np.zeros((0, channels)), convolver.flush(tail + delay)[:, early:]


def max_taps(firs: Sequence[Fir]) -> int:
    """Taps of the longest."""
    return max(len(fir.taps) for fir in firs)


def stacked(firs: Sequence[Fir]) -> NDArray[np.float64]:
    """Their taps as rows of one array, short ones followed by zeros."""
    taps = max_taps(firs)
    return np.stack([np.pad(fir.taps, (0, taps - len(fir.taps))) for fir in firs])
