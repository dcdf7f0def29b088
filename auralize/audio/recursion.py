"""Second-order sections run over a stream as matrix products: half the time of a loop over samples.

What a linear recursion makes of its state and some inputs in a row is a matrix. A row of samples goes
through one; the states between rows follow a recursion too, and so do rows in a group, and groups.
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from auralize.audio.denormals import without_denormals

FloatArray = NDArray[np.float64]

ROW: Final = 32  # samples; every product stays in the thread that asks: see `true_peak.ALONE`
GROUP: Final = 16  # rows
GROUPS: Final = 32  # worked on at once, so that all of it stays in the cache
MOST: Final = ROW * GROUP * GROUPS


class Recursion:
    """Sections (sections, 6), rows b0 b1 b2 1 a1 a2, and their state for each of some channels.

    Does what `scipy.signal.sosfilt` does, but for rounding: 1e-10 of the highest, for K-weighting at
    48 kHz, 1e-9 at 192 kHz. Two of them may run in two threads, which do not wait for each other.
    """

    def __init__(self, sections: FloatArray, channels: int) -> None:
        a, b, c, d = _state_space(sections)
        self._order = order = len(a)
        self._in_row = _unrolled(a, b[None], ROW)
        self._out = self._in_row[:, :-order].reshape(-1, ROW, order) @ c
        self._out[order:] += d * np.eye(ROW)
        one = np.eye(order)
        self._in_group = _unrolled(self._in_row[:order, -order:], one, GROUP)
        self._in_groups = _unrolled(self._in_group[:order, -order:], one, GROUPS)
        self._rows = np.zeros((channels, GROUPS * GROUP, order + ROW))
        self.state = np.zeros((channels, order))

    def run(self, samples: NDArray[Any]) -> FloatArray:
        """What becomes of the next samples (channels, n), n up to `MOST`."""
        channels, frames = samples.shape
        order = self._order
        groups = -(-frames // (ROW * GROUP))
        rows = self._filled(samples, groups * GROUP)
        ends = rows[:, :, order:] @ self._in_row[order:, -order:]
        within = (
            ends.reshape(channels, groups, GROUP * order) @ self._in_group[order:]
        )  # as if each group began in silence
        steps = np.append(
            self.state, within[:, :, -order:].reshape(channels, groups * order), axis=1
        )
        starts = steps @ self._in_groups[: steps.shape[1], : steps.shape[1]]
        starts = starts.reshape(channels, 1 + groups, order)
        states = within[:, :, :-order] + starts[:, :-1] @ self._in_group[:order, :-order]
        rows[:, :, :order] = states.reshape(channels, groups * GROUP, order)
        row, place = divmod(frames, ROW)
        if row < groups * GROUP:
            self.state = (rows[:, row] @ self._in_row)[:, place * order :][:, :order]
        else:
            self.state = starts[:, -1].copy()
        without_denormals(self.state)
        out = rows.reshape(channels, groups, GROUP, order + ROW) @ self._out
        return np.asarray(out.reshape(channels, groups * GROUP * ROW)[:, :frames])

    def _filled(self, samples: NDArray[Any], count: int) -> FloatArray:
        """So many rows (channels, count, state and samples), the states still to come; then silence."""
        channels, frames = samples.shape
        rows = self._rows[:, :count]
        whole, rest = divmod(frames, ROW)
        cut = samples[:, : whole * ROW].reshape(channels, whole, ROW)
        rows[:, :whole, self._order :] = cut
        if whole < count:
            rows[:, whole:, self._order :] = 0.0
            rows[:, whole, self._order :][:, :rest] = samples[:, whole * ROW :]
        without_denormals(rows)
        return rows


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
