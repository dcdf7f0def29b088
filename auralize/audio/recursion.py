"""Second-order sections run over a stream as matrix products: a fraction of the time of a loop.

What a linear recursion makes of its state and some inputs in a row is a matrix. A row of samples goes
through one; the states between rows follow a recursion too, and so do rows in a group, and groups.
"""

from __future__ import annotations

from typing import Any, Final

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
        a, b, c, d = _as_heard(*_state_space(sections))
        self._order = order = len(a)
        self._in_row = _unrolled(a, b[None], ROW)
        out = self._in_row[:, :-order].reshape(-1, ROW, order) @ c
        out[order:] += d * np.eye(ROW)
        one = np.eye(order)
        in_group = _unrolled(self._in_row[:order, -order:], one, GROUP)
        self._in_groups = _unrolled(in_group[:order, -order:], one, GROUPS)
        from_start, to_rows = np.split(in_group, [order])
        products = self._in_row[order:, -order:], to_rows, from_start[:, :-order], out
        self._in_precision = {
            np.dtype(kind): [product.astype(kind) for product in products]
            for kind in (np.float32, np.float64)
        }
        self._still = np.linalg.solve((one - a).T, b)  # state that a constant of 1 settles in
        if abs(through := float(self._still @ c) + d) > NOT_THROUGH:
            raise ValueError(
                f"sections let a constant through ({through:.3g}); none may come through"
            )
        self._rows: NDArray[Any] = np.zeros((channels, GROUPS * GROUP, order + ROW))
        self.state = np.zeros((channels, order))

    def run(self, samples: NDArray[Any]) -> NDArray[Any]:
        """What becomes of the next samples (channels, n), n up to `MOST`, in their precision."""
        channels, frames = samples.shape
        order = self._order
        groups = -(-frames // (ROW * GROUP))
        rows = self._filled(samples, groups * GROUP)
        offset = self._taken_off(samples[:, :: 8 * ROW], rows)
        to_end, to_rows, from_start, out = self._in_precision[rows.dtype]
        ends = rows[:, :, order:] @ to_end
        # As if each group began in silence.
        within = ends.reshape(channels, groups, GROUP * order) @ to_rows
        steps = np.append(
            self.state - offset, within[:, :, -order:].reshape(channels, groups * order), axis=1
        )
        starts = steps @ self._in_groups[: steps.shape[1], : steps.shape[1]]
        starts = starts.reshape(channels, 1 + groups, order)
        states = starts[:, :-1].astype(rows.dtype) @ from_start
        states += within[:, :, :-order]
        rows[:, :, :order] = states.reshape(channels, groups * GROUP, order)
        row, place = divmod(frames, ROW)
        if row < groups * GROUP:
            self.state = (rows[:, row] @ self._in_row)[:, place * order :][:, :order] + offset
        else:
            self.state = starts[:, -1] + offset
        done = rows.reshape(channels, groups, GROUP, order + ROW) @ out
        return np.asarray(done.reshape(channels, groups * GROUP * ROW)[:, :frames])

    def _filled(self, samples: NDArray[Any], count: int) -> NDArray[Any]:
        """So many rows (channels, count, state and samples), the states still to come; then silence."""
        channels, frames = samples.shape
        precision = np.float32 if samples.dtype == np.float32 else np.float64
        if self._rows.dtype != precision:
            self._rows = np.zeros(self._rows.shape, precision)
        rows = self._rows[:, :count]
        whole, rest = divmod(frames, ROW)
        cut = samples[:, : whole * ROW].reshape(channels, whole, ROW)
        rows[:, :whole, self._order :] = cut
        if whole < count:
            rows[:, whole:, self._order :] = 0.0
            rows[:, whole, self._order :][:, :rest] = samples[:, whole * ROW :]
        return rows

    def _taken_off(self, some: NDArray[Any], rows: NDArray[Any]) -> FloatArray:
        """What a constant that is taken off all rows would make of the state, (channels, order).

        It is about the mean, most of what single precision would have to carry; and never 0.
        """
        constant = some.mean(axis=1, keepdims=True).astype(rows.dtype) + NEVER_0[rows.dtype]
        rows -= constant[:, :, None]
        return np.asarray(constant.astype(float) * self._still)


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
