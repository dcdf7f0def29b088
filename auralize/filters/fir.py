"""From a complex response to a digital filter, each with the error that was measured on it.

Up to the `edge` (20 kHz at 44.1 and 48 kHz) a filter is the response itself. Above, an analogue phase
would meet the Nyquist frequency at an angle that no real filter has; there, log magnitude and phase
change smoothly into a real constant, and some samples of delay before the impulse hold what that
change spreads forward in time. The renderer takes that delay out again.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from auralize.circuit.conductor import Complex, Real
from auralize.circuit.network import Network
from auralize.circuit.signals import Signal, voltage
from auralize.circuit.solution import Solution, solve
from auralize.filters.grid import GRID_LENGTHS, Goal, Grid, Response, minimum_phase, shortest
from auralize.units import amplitude

EXACT_GOAL: Final = -120.0
"""dB; complex error relative to the response that ends the search for a length."""
DROP_GOAL: Final = -100.0
"""dB; the same for the drop, which is itself some 10 to 60 dB down."""
NEARLY: Final = 1.0
"""dB; a goal that no length reaches (a load that is not causal) is replaced by what the longest one
does, and so much more, as length that gains nothing costs."""
MAGNITUDE_GOAL: Final = 0.0005
"""dB; magnitude error that ends the search for the length of a minimum-phase filter."""
SPLINE_ERROR: Final = -150.0
"""dB; relative to the response. Rounding alone makes about -200 for a drop."""


@dataclass(frozen=True, repr=False)
class Fir:
    """Impulse response ``taps`` at ``rate`` Hz that begins ``delay`` samples before time zero.

    ``error`` in dB is the largest |F - H| / |H| (of magnitudes alone for minimum phase).
    """

    taps: NDArray[np.float64]
    rate: int
    delay: int
    error: float

    def scaled(self, share: float) -> Fir:
        """The filter of that part of the signal."""
        return self if share == 1.0 else replace(self, taps=share * self.taps)

    def __repr__(self) -> str:
        return (
            f"<Fir of {len(self.taps)} taps at {self.rate} Hz, delay {self.delay} samples, "
            f"error {self.error:.0f} dB>"
        )

    def response(self, frequency: Real) -> Complex:
        """Its own complex response, the delay taken out; summed directly, at any frequencies."""
        n = np.arange(len(self.taps)) - self.delay
        angle = -2j * np.pi / self.rate * np.asarray(frequency, dtype=np.float64)
        parts = np.array_split(angle, max(1, len(angle) // 64))
        return np.concatenate([np.exp(part[:, None] * n) @ self.taps for part in parts])


@dataclass(frozen=True)
class RunFilters:
    """The three signals of a run, equally long and delayed: drop + receiving = sending, tap by tap."""

    sending: Fir
    receiving: Fir
    drop: Fir

    def of(self, signal: Signal) -> Fir:
        """The filter of one of them."""
        fir: Fir = getattr(self, signal)
        return fir


def design_run(network: Network, load: str, rate: int) -> RunFilters:
    """Exact filters for sending end, receiving end and drop, relative to the turns of transformers.

    Sending and drop are designed; receiving is their difference, so that the three always add up. All
    three are as the loudspeaker has them: inverted where plus and minus are swapped at its terminals.
    Raises DesignError for a rate outside 8 to 192 kHz.
    """
    for seconds in GRID_LENGTHS:
        found = _designed(network, load, Grid(rate, seconds))
        ends = max(found.sending.error, found.receiving.error)
        if found.drop.error <= DROP_GOAL and ends <= EXACT_GOAL:
            break
    return found


def _designed(network: Network, load: str, grid: Grid) -> RunFilters:
    """The filters as far as a grid goes."""
    polarity = solve(network, [0.0]).polarity(load)
    sent, over_cable = _responses(network, load, grid)
    sending, drop = grid.exact(sent), grid.exact(over_cable)
    goals = [
        Goal(grid.measured(sent), EXACT_GOAL),
        Goal(grid.measured(over_cable), DROP_GOAL),
        Goal(grid.measured(sent - over_cable), EXACT_GOAL),
    ]

    @cache
    def errors(taps: int) -> list[float]:
        fade = grid.fade(taps)
        whole, kept = (grid.response(impulse[:taps] * fade) for impulse in (sending, drop))
        got = (whole, kept, whole - kept)
        return [goal.error(one) for goal, one in zip(goals, got, strict=True)]

    taps = _enough(grid.lengths(), errors, [goal.most for goal in goals])
    found = errors(taps)
    scale = polarity * grid.fade(taps)
    sending, drop = sending[:taps] * scale, drop[:taps] * scale
    firs = [
        Fir(impulse, grid.rate, grid.delay, error)
        for impulse, error in zip((sending, drop, sending - drop), found, strict=True)
    ]
    return RunFilters(sending=firs[0], drop=firs[1], receiving=firs[2])


def _enough(
    lengths: Sequence[int], errors: Callable[[int], list[float]], goals: list[float]
) -> int:
    """The first length that meets the goals; if none does, that is `NEARLY` as good as the last."""

    def first(most: list[float]) -> int:
        return shortest(
            lengths, lambda taps: all(e <= m for e, m in zip(errors(taps), most, strict=True))
        )

    taps = first(goals)
    if taps < lengths[-1]:
        return taps
    best = errors(taps)
    return first([max(goal, error + NEARLY) for goal, error in zip(goals, best, strict=True)])


def design_minimum_phase(response: Response, rate: int) -> Fir:
    """FIR with the magnitude of the response and no delay. Raises DesignError for an odd rate."""
    grid = Grid(rate)
    target = response(grid.frequency)
    impulse = np.fft.irfft(minimum_phase(np.abs(grid.tapered(target))), grid.size)

    def error(taps: int) -> float:
        return grid.magnitude_error(
            np.fft.rfft(impulse[:taps] * grid.fade(taps), grid.size), target
        )

    taps = shortest(grid.lengths(), lambda n: error(n) <= MAGNITUDE_GOAL)
    return Fir(impulse[:taps] * grid.fade(taps), rate, 0, error(taps))


def _responses(network: Network, load: str, grid: Grid) -> tuple[Complex, Complex]:
    """Sending end and drop over the grid, as solved, or nearer to that than `SPLINE_ERROR`.

    Solved at some thousand frequencies, with a spline over log f between where that is as good: it is
    tried between all its knots. Where it is not (a load measured with kinks) all frequencies are solved.
    """
    knots = grid.knots()
    tried = (knots[1:] + knots[:-1]) // 2
    tried = tried[tried != knots[:-1]]
    solution = solve(network, grid.frequency[np.concatenate([knots, tried])])
    exact = np.stack(_designed_from(solution, load), axis=-1)
    whole = _splined(grid.frequency, knots, exact[: len(knots)])
    known = exact[len(knots) :]
    if (np.abs(whole[tried] - known) > amplitude(SPLINE_ERROR) * np.abs(known)).any():
        return _designed_from(solve(network, grid.frequency), load)
    return whole[:, 0], whole[:, 1]


def _designed_from(solution: Solution, load: str) -> tuple[Complex, Complex]:
    """What the filters are designed from: the sending end and the drop."""
    return voltage(solution, load, "sending"), voltage(solution, load, "drop")


def _splined(frequency: Real, knots: NDArray[np.intp], values: Complex) -> Complex:
    """Responses, shape (frequencies, 2), from their values at the knots, of which 0 Hz is the first."""
    from scipy.interpolate import make_interp_spline  # 0.2 s that --help need not wait for

    parts = values[1:].view(np.float64)
    spline = make_interp_spline(np.log(frequency[knots[1:]]), parts, k=5)
    between = np.ascontiguousarray(spline(np.log(frequency[1:]))).view(np.complex128)
    return np.concatenate([values[:1], between])
