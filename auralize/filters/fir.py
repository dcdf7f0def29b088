"""From a complex response to a digital filter, each with the error that was measured on it.

Up to the `edge` (20 kHz at 44.1 and 48 kHz) a filter is the response itself. Above, an analogue phase
would meet the Nyquist frequency at an angle that no real filter has; there, log magnitude and phase
change smoothly into a real constant, and some samples of delay before the impulse hold what that
change spreads forward in time. The renderer takes that delay out again.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from auralize.circuit.conductor import Complex, Real
from auralize.circuit.network import Network
from auralize.circuit.signals import Signal, drops, voltage
from auralize.circuit.solution import Across, Solution, solve
from auralize.circuit.spline import Spline
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
NOTHING: Final = -240.0
"""dB relative to the drop; a conductor that keeps no more keeps nothing but rounding errors."""
ALIKE: Final = -180.0
"""dB relative to the drop; conductors that differ by no more keep the same but for rounding errors."""


@dataclass(frozen=True, repr=False)
class Fir:
    """Impulse response ``taps`` at ``rate`` Hz that begins ``delay`` samples before time zero.

    ``error`` in dB is the largest |F - H| / |H| (of magnitudes alone for minimum phase).
    """

    taps: NDArray[np.float64]
    rate: int
    delay: int
    error: float

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
    """The signals of a run, equally long and delayed: drop + receiving = sending, tap by tap."""

    sending: Fir
    receiving: Fir
    drops: Mapping[Across, Fir]
    """Over both conductors and, where each can be told, over plus and minus, which add up to it."""

    @property
    def drop(self) -> Fir:
        """Over both conductors."""
        return self.drops["both"]

    @property
    def alike(self) -> bool:
        """Whether both conductors keep the same: half of the drop each."""
        return len(self.drops) > 1 and self.drops["plus"] is self.drops["minus"]

    def of(self, signal: Signal, across: Across = "both") -> Fir:
        """The filter of one of them; a drop over one conductor must be among `drops`."""
        if signal == "drop":
            return self.drops[across]
        return self.sending if signal == "sending" else self.receiving

    def named(self) -> list[tuple[Signal, Across]]:
        """All that `of` has."""
        return [("receiving", "both"), ("sending", "both"), *(("drop", a) for a in self.drops)]


def design_run(network: Network, load: str, rate: int) -> RunFilters:
    """Exact filters for sending end, receiving end and drops, relative to the turns of transformers.

    Sending, drop, and the drop over the conductor that keeps less are designed; receiving and the drop
    over the other conductor are what is left, so that all always add up. All are as the loudspeaker has
    them: inverted where plus and minus are swapped at its terminals. Raises DesignError for a rate
    outside 8 to 192 kHz.
    """
    for seconds in GRID_LENGTHS:
        found = _designed(network, load, Grid(rate, seconds))
        ends = max(found.sending.error, found.receiving.error)
        kept = max(fir.error for fir in found.drops.values())
        if kept <= DROP_GOAL and ends <= EXACT_GOAL:
            break
    return found


def _designed(network: Network, load: str, grid: Grid) -> RunFilters:
    """The filters as far as a grid goes."""
    polarity = solve(network, [0.0]).polarity(load)
    columns, alike = _responses(network, load, grid)
    reference, drop, *each = columns.T
    names: tuple[Across, ...] = ("plus", "minus")
    if each and np.linalg.norm(each[1]) < np.linalg.norm(each[0]):
        names, each = ("minus", "plus"), each[::-1]
    responses = [reference, drop, *each[:1]]
    goals = [
        Goal(grid.measured(response), most)
        for response, most in zip(_family(*responses), _GOALS, strict=False)
    ]
    impulses = [grid.exact(response) for response in responses]

    @cache
    def errors(taps: int) -> list[float]:
        fade = grid.fade(taps)
        got = _family(*(grid.response(impulse[:taps] * fade) for impulse in impulses))
        return [goal.error(one) for goal, one in zip(goals, got, strict=True)]

    taps = _enough(grid.lengths(), errors, [goal.most for goal in goals])
    scale = polarity * grid.fade(taps)
    sending, receiving, *drops = (
        Fir(impulse, grid.rate, grid.delay, error)
        for impulse, error in zip(
            _family(*(impulse[:taps] * scale for impulse in impulses)), errors(taps), strict=True
        )
    )
    found = dict(zip(("both", *names), drops, strict=False))
    if alike:
        half = replace(found["both"], taps=0.5 * found["both"].taps)
        found |= dict.fromkeys(names, half)
    return RunFilters(sending, receiving, found)


_GOALS: Final = (EXACT_GOAL, EXACT_GOAL, DROP_GOAL, DROP_GOAL, DROP_GOAL)
"""In dB, of a `_family`."""


def _family(
    sending: NDArray[Any], drop: NDArray[Any], *over_one: NDArray[Any]
) -> list[NDArray[Any]]:
    """Sending, receiving, drop; the drop over one conductor, if it is given, and over the other."""
    return [sending, sending - drop, drop, *over_one, *(drop - one for one in over_one)]


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
            grid.measured(np.fft.rfft(impulse[:taps] * grid.fade(taps), grid.size)), target
        )

    taps = shortest(grid.lengths(), lambda n: error(n) <= MAGNITUDE_GOAL)
    return Fir(impulse[:taps] * grid.fade(taps), rate, 0, error(taps))


def _responses(network: Network, load: str, grid: Grid) -> tuple[Complex, bool]:
    """What `_solved` gives, over the grid, or nearer to that than `SPLINE_ERROR`.

    Solved at some thousand frequencies, with a spline over log f between where that is as good: it is
    tried between all its knots. Where it is not (a load measured with kinks) all frequencies are solved.
    """
    knots = grid.knots()
    tried = (knots[1:] + knots[:-1]) // 2
    tried = tried[tried != knots[:-1]]
    exact, alike = _solved(solve(network, grid.frequency[np.concatenate([knots, tried])]), load)
    whole = _splined(grid.frequency, knots, exact[: len(knots)])
    known = exact[len(knots) :]
    if (np.abs(whole[tried] - known) > amplitude(SPLINE_ERROR) * np.abs(known)).any():
        return _solved(solve(network, grid.frequency), load)
    return whole, alike


def _solved(solution: Solution, load: str) -> tuple[Complex, bool]:
    """Sending end and drop, and the drops over plus and over minus where they differ, as columns.

    And whether they can be told and do not differ.
    """
    found = drops(solution, load)
    drop = found.pop("both")
    scale = np.abs(drop)
    kept = [
        one if (np.abs(one) > amplitude(NOTHING) * scale).any() else 0.0 * one
        for one in found.values()
    ]
    alike = bool(kept) and bool((np.abs(kept[0] - kept[1]) <= amplitude(ALIKE) * scale).all())
    sending = voltage(solution, load, "sending")
    return np.stack([sending, drop, *(() if alike else kept)], axis=-1), alike


def _splined(frequency: Real, knots: NDArray[np.intp], values: Complex) -> Complex:
    """Responses, shape (frequencies, n), from their values at the knots, of which 0 Hz is the first."""
    spline = Spline(np.log(frequency[knots[1:]]), values[1:], 5)
    return np.concatenate([values[:1], spline(np.log(frequency[1:]))])
