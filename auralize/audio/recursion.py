"""Second-order sections run over a stream as matrix products: a fraction of the time of a loop.

What a linear recursion makes of its state and some inputs in a row is a matrix. A row of samples goes
through one; the states between rows follow a recursion too, and so do rows in a group, and groups.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Any, Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

ALONE: Final = 1 << 18
"""Multiplications up to which OpenBLAS forms a product in the thread that asks for it (value from memory).
Its own threads take the processor from others, at a priority that is not ours to set: on a busy machine
of two processors six times as much time as all the products (measured). Those of `true_peak` are larger,
for processes in which OpenBLAS has one thread: commands see to that."""
ROW: Final = 64  # samples; every product stays in the thread that asks: see `ALONE`
GROUP: Final = 16  # rows
GROUPS: Final = 36  # worked on at once, so that all of it stays in a cache of 2 MB
MOST: Final = ROW * GROUP * GROUPS
UNHEARD: Final = 1e-6  # of the state that is heard most
NOT_THROUGH: Final = 1e-9
NEVER_0: Final = {np.dtype(np.float32): np.float32(1e-20), np.dtype(np.float64): 1e-180}
"""Squared, the rounding of it is 0; in products, as in silence, it leaves nothing denormal."""


class Recursion:
    """Sections (sections, 6), rows b0 b1 b2 1 a1 a2, and their state for each of some channels.

    Does what `scipy.signal.sosfilt` does, but for rounding: 1e-11 of the highest, for K-weighting at
    48 kHz, 1e-9 at 192 kHz; 1e-6 of what comes in, less its mean, where that is in single precision.
    ValueError for sections that let a constant through. Two of them may run in two threads, which do
    not wait for each other.
    """

    def __init__(self, sections: FloatArray, channels: int) -> None:
        self._made = made = _products(tuple(map(tuple, sections.tolist())))
        self._rows: NDArray[Any] = np.zeros((channels, GROUPS * GROUP, made.order + ROW))
        self.state = np.zeros((channels, made.order))

    def run(self, samples: NDArray[Any]) -> NDArray[Any]:
        """What becomes of the next samples (channels, n), n up to `MOST`, in their precision."""
        channels, frames = samples.shape
        made, order = self._made, self._made.order
        groups = -(-frames // (ROW * GROUP))
        constant = _constant(samples)
        rows = self._filled(samples, groups * GROUP, constant)
        offset = constant.astype(float) * made.still
        to_end, to_rows, from_start, out = made.in_precision[rows.dtype]
        ends = rows[:, :, order:] @ to_end
        # As if each group began in silence.
        within = ends.reshape(channels, groups, GROUP * order) @ to_rows
        steps = np.append(
            self.state - offset, within[:, :, -order:].reshape(channels, groups * order), axis=1
        )
        starts = steps @ made.in_groups[: steps.shape[1], : steps.shape[1]]
        starts = starts.reshape(channels, 1 + groups, order)
        states = starts[:, :-1].astype(rows.dtype) @ from_start
        states += within[:, :, :-order]
        rows[:, :, :order] = states.reshape(channels, groups * GROUP, order)
        row, place = divmod(frames, ROW)
        if row < groups * GROUP:
            self.state = (rows[:, row] @ made.in_row)[:, place * order :][:, :order] + offset
        else:
            self.state = starts[:, -1] + offset
        done = rows.reshape(channels, groups, GROUP, order + ROW) @ out
        return np.asarray(done.reshape(channels, groups * GROUP * ROW)[:, :frames])

    def _filled(self, samples: NDArray[Any], count: int, constant: NDArray[Any]) -> NDArray[Any]:
        """So many rows (channels, count, state and samples), the states still to come; then silence.

        Less a constant of each channel.
        """
        channels, frames = samples.shape
        if self._rows.dtype != constant.dtype:
            self._rows = np.zeros(self._rows.shape, constant.dtype)
        rows = self._rows[:, :count]
        inputs = rows[:, :, self._made.order :]
        whole, rest = divmod(frames, ROW)
        cut = samples[:, : whole * ROW].reshape(channels, whole, ROW)
        np.subtract(cut, constant[:, :, None], out=inputs[:, :whole])
        if whole < count:
            inputs[:, whole:] = -constant[:, :, None]
            inputs[:, whole, :rest] += samples[:, whole * ROW :]
        return rows


def _constant(samples: NDArray[Any]) -> NDArray[Any]:
    """About the mean of each channel (channels, 1), in the precision that the samples are worked on in.

    It is most of what single precision would have to carry; and never 0.
    """
    precision = np.dtype(np.float32 if samples.dtype == np.float32 else np.float64)
    some = samples[:, :: 8 * ROW]
    mean = np.add.reduce(some, axis=1, keepdims=True) / some.shape[1]
    return np.asarray(mean.astype(precision) + NEVER_0[precision])


class _Products(NamedTuple):
    """What makes rows, groups of them, and groups of groups, of states and samples."""

    order: int
    in_row: FloatArray
    in_groups: FloatArray
    in_precision: dict[np.dtype[Any], list[NDArray[Any]]]
    still: FloatArray
    """State that a constant of 1 settles in."""


@lru_cache(maxsize=4)
def _products(sections: tuple[tuple[float, ...], ...]) -> _Products:
    a, b, c, d = _as_heard(*_state_space(np.array(sections)))
    order = len(a)
    in_row = _unrolled(a, b[None], ROW)
    out = in_row[:, :-order].reshape(-1, ROW, order) @ c
    out[order:] += d * np.eye(ROW)
    one = np.eye(order)
    in_group = _unrolled(in_row[:order, -order:], one, GROUP)
    in_groups = _unrolled(in_group[:order, -order:], one, GROUPS)
    from_start, to_rows = np.split(in_group, [order])
    products = in_row[order:, -order:], to_rows, from_start[:, :-order], out
    in_precision = {
        np.dtype(kind): [product.astype(kind) for product in products]
        for kind in (np.float32, np.float64)
    }
    still = np.asarray(np.linalg.solve((one - a).T, b), np.float64)
    if abs(through := float(still @ c) + d) > NOT_THROUGH:
        raise ValueError(f"sections let a constant through ({through:.3g}); none may come through")
    return _Products(order, in_row, in_groups, in_precision, still)


def _state_space(sections: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray, float]:
    """a, b, c, d: the next state is state @ a + b x, the output state @ c + d x.

    Sections one after the other, each in transposed direct form II.
    """
    order = 2 * len(sections)
    step = np.zeros((order + 1, order))  # from state and input
    signal = np.append(np.zeros(order), 1.0)  # likewise: what goes into the next section
    for number, (b0, b1, b2, _, a1, a2) in enumerate(sections):
        first, second = 2 * number, 2 * number + 1
        out = b0 * signal
        out[first] += 1.0
        step[:, first] = b1 * signal - a1 * out
        step[second, first] += 1.0
        step[:, second] = b2 * signal - a2 * out
        signal = out
    return step[:-1], step[-1], signal[:-1], float(signal[-1])


def _as_heard(
    a: FloatArray, b: FloatArray, c: FloatArray, d: float
) -> tuple[FloatArray, FloatArray, FloatArray, float]:
    """The same, of states as high as what is heard of them, by itself, over a group of rows.

    Those of a high-pass at 38 Hz hold up to 1e6 times what comes in, and nearly cancel: too much for
    single precision. Of these, rounding is heard as rounding of what comes out.
    """
    free, power = c[:, None], a  # what is heard of each state; a to the number of those samples
    while free.shape[1] < ROW * GROUP:
        free, power = np.hstack([free, power @ free]), power @ power
    axes, sizes, _ = np.linalg.svd(free, full_matrices=False)
    sizes = np.maximum(sizes, UNHEARD * sizes[0])
    to, back = axes * sizes, (axes / sizes).T
    return back @ a @ to, b @ to, back @ c, d


def _unrolled(a: FloatArray, b: FloatArray, steps: int) -> FloatArray:
    """Matrix from a state and ``steps`` inputs to the states before each of them and after the last."""
    order, inputs = len(a), len(b)
    states = np.zeros((steps + 1, order + steps * inputs, order))
    states[0, :order] = np.eye(order)
    for step in range(steps):
        states[step + 1] = states[step] @ a
        at = order + step * inputs
        states[step + 1, at : at + inputs] += b
    return np.ascontiguousarray(states.transpose(1, 0, 2).reshape(len(states[0]), -1))
