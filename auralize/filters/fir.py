"""From a complex response to a digital filter, each with the error that was measured on it.

Up to the `edge` (20 kHz at 44.1 and 48 kHz) a filter is the response itself. Above, an analogue phase
would meet the Nyquist frequency at an angle that no real filter has; there, log magnitude and phase
change smoothly into a real constant, and some samples of delay before the impulse hold what that
change spreads forward in time. The renderer takes that delay out again.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from auralize.circuit.conductor import Complex, Real
from auralize.circuit.network import Network
from auralize.circuit.solution import solve
from auralize.errors import DesignError
from auralize.units import amplitude

Response = Callable[[Real], Complex]
"""Complex response at frequencies in Hz."""

LOWEST_RATE: Final = 8_000
HIGHEST_RATE: Final = 192_000
AUDIBLE: Final = (20.0, 20_000.0)
"""Hz; the errors of all designs are measured between these, or up to the `edge` if that is lower."""

LONGEST: Final = 0.68
"""s; the longest impulse response. Only power-law tails (semi-inductance) reach it."""
GRID_LENGTH: Final = 2.7
"""s; designs are made on a time grid at least this long, so that what wraps round has decayed."""
SHORTEST: Final = 0.02
"""s; the first length that is tried; each next one is longer by the square root of two."""

EXACT_GOAL: Final = -120.0
"""dB; complex error relative to the response that ends the search for a length."""
DROP_GOAL: Final = -100.0
"""dB; the same for the drop, which is itself some 10 to 60 dB down."""
MAGNITUDE_GOAL: Final = 0.0005
"""dB; magnitude error that ends the search for the length of a minimum-phase filter."""
KNOTS_PER_DECADE: Final = 512
SPLINE_ERROR: Final = -150.0
"""dB; relative to the response. Rounding alone makes about -200 for a drop."""
IIR_GOAL: Final = 0.01
"""dB; magnitude error that ends the search for the number of sections."""
MOST_SECTIONS: Final = 12


@dataclass(frozen=True)
class Fir:
    """Impulse response ``taps`` at ``rate`` Hz that begins ``delay`` samples before time zero.

    ``error`` in dB is the largest |F - H| / |H| (of magnitudes alone for minimum phase).
    """

    taps: NDArray[np.float64]
    rate: int
    delay: int
    error: float

    def response(self, frequency: Real) -> Complex:
        """Its own complex response, the delay taken out; summed directly, at any frequencies."""
        n = np.arange(len(self.taps)) - self.delay
        angle = -2j * np.pi / self.rate * np.asarray(frequency, dtype=np.float64)
        parts = np.array_split(angle, max(1, len(angle) // 64))
        return np.concatenate([np.exp(part[:, None] * n) @ self.taps for part in parts])


@dataclass(frozen=True)
class Iir:
    """Second-order sections (b0 b1 b2 1 a1 a2 each) at ``rate`` Hz; ``error`` in dB of magnitude."""

    sections: NDArray[np.float64]
    rate: int
    error: float

    def response(self, frequency: Real) -> Complex:
        """Its own complex response."""
        z = np.exp(-2j * np.pi / self.rate * np.asarray(frequency, dtype=np.float64))[:, None]
        b, a = self.sections[:, :3], self.sections[:, 3:]
        parts = (b[:, 0] + z * (b[:, 1] + z * b[:, 2])) / (a[:, 0] + z * (a[:, 1] + z * a[:, 2]))
        return np.asarray(np.prod(parts, axis=1), dtype=np.complex128)


@dataclass(frozen=True)
class RunFilters:
    """The three signals of a run, equally long and delayed: drop + receiving = sending, tap by tap."""

    sending: Fir
    receiving: Fir
    drop: Fir


def edge(rate: int) -> float:
    """Hz up to which a filter at ``rate`` is exact: 5/6 of Nyquist, and 20 kHz at 44.1 kHz."""
    nyquist = rate / 2.0
    return nyquist * min(max(AUDIBLE[1] / nyquist, 5.0 / 6.0), 20.0 / 22.05)


def predelay(rate: int) -> int:
    """Samples before the impulse: 256 for a change over a sixth of the band, 512 over a tenth."""
    return 256 if edge(rate) < 0.87 * rate / 2.0 else 512


def design_run(network: Network, load: str, rate: int) -> RunFilters:
    """Exact filters for sending end (past the turns of transformers), receiving end and drop.

    Sending and drop are designed; receiving is their difference, so that the three always add up. All
    three are as the loudspeaker has them: inverted where plus and minus are swapped at its terminals.
    Raises DesignError for a rate outside 8 to 192 kHz.
    """
    grid = _Grid(rate)
    polarity = solve(network, [0.0]).polarity(load)
    reference, over_cable = _responses(network, load, grid)
    sending, drop = grid.exact(reference), grid.exact(over_cable)
    goals = [
        _Goal(grid.measured(reference), EXACT_GOAL),
        _Goal(grid.measured(over_cable), DROP_GOAL),
        _Goal(grid.measured(reference - over_cable), EXACT_GOAL),
    ]

    def errors(taps: int) -> list[float]:
        sent, dropped = (grid.response(impulse[:taps]) for impulse in (sending, drop))
        got = (sent, dropped, sent - dropped)
        return [goal.error(one) for goal, one in zip(goals, got, strict=True)]

    def good(taps: int) -> bool:
        return all(e <= goal.most for e, goal in zip(errors(taps), goals, strict=True))

    taps = _shortest(grid.lengths(), good)
    found = errors(taps)
    sending, drop = polarity * sending[:taps], polarity * drop[:taps]
    firs = [
        Fir(impulse, rate, grid.delay, error)
        for impulse, error in zip((sending, drop, sending - drop), found, strict=True)
    ]
    return RunFilters(sending=firs[0], drop=firs[1], receiving=firs[2])


def design_minimum_phase(response: Response, rate: int) -> Fir:
    """FIR with the magnitude of the response and no delay. Raises DesignError for an odd rate."""
    grid = _Grid(rate)
    target = response(grid.frequency)
    impulse = np.fft.irfft(_minimum_phase(np.abs(grid.tapered(target))), grid.size)

    def error(taps: int) -> float:
        return grid.magnitude_error(np.fft.rfft(impulse[:taps], grid.size), target)

    taps = _shortest(grid.lengths(), lambda n: error(n) <= MAGNITUDE_GOAL)
    return Fir(impulse[:taps], rate, 0, error(taps))


def design_iir(response: Response, rate: int) -> Iir:
    """As few second-order sections as reach `IIR_GOAL` dB, at most 12: the best of those otherwise.

    Fitted in the z plane to the minimum-phase response: magnitude is met, phase only as far as the
    response is minimum phase itself.
    """
    grid = _Grid(rate)
    target = response(grid.frequency)
    whole = _minimum_phase(np.abs(grid.tapered(target)))
    points = grid.spread()
    best: Iir | None = None
    for sections in range(1, MOST_SECTIONS + 1):
        found = _fit_sections(grid.frequency[points], whole[points], rate, sections)
        error = grid.magnitude_error(Iir(found, rate, 0.0).response(grid.frequency), target)
        if best is None or error < best.error:
            best = Iir(found, rate, error)
        if error <= IIR_GOAL:
            break
    assert best is not None  # MOST_SECTIONS is above zero
    return best


def _shortest(lengths: Sequence[int], good: Callable[[int], bool]) -> int:
    """The first length that is good, as all after it are; the last one if none is."""
    return lengths[bisect_left(lengths[:-1], True, key=good)]


def _responses(network: Network, load: str, grid: _Grid) -> tuple[Complex, Complex]:
    """Reference and drop over the grid, as solved, or nearer to that than `SPLINE_ERROR`.

    Solved at some thousand frequencies, with a spline over log f between where that is as good: it is
    tried between all its knots. Where it is not (a load measured with kinks) all frequencies are solved.
    """
    knots = grid.knots()
    tried = (knots[1:] + knots[:-1]) // 2
    tried = tried[tried != knots[:-1]]
    solution = solve(network, grid.frequency[np.concatenate([knots, tried])])
    exact = np.stack([solution.reference(load), solution.drop(load)], axis=-1)
    whole = _splined(grid.frequency, knots, exact[: len(knots)])
    known = exact[len(knots) :]
    if (np.abs(whole[tried] - known) > amplitude(SPLINE_ERROR) * np.abs(known)).any():
        solution = solve(network, grid.frequency)
        return solution.reference(load), solution.drop(load)
    return whole[:, 0], whole[:, 1]


def _splined(frequency: Real, knots: NDArray[np.intp], values: Complex) -> Complex:
    """Responses, shape (frequencies, 2), from their values at the knots, of which 0 Hz is the first."""
    from scipy.interpolate import make_interp_spline  # 0.2 s that --help need not wait for

    parts = values[1:].view(np.float64)
    spline = make_interp_spline(np.log(frequency[knots[1:]]), parts, k=5)
    between = np.ascontiguousarray(spline(np.log(frequency[1:]))).view(np.complex128)
    return np.concatenate([values[:1], between])


class _Goal:
    """A response where it is measured, and the most in dB by which a filter should differ from it."""

    def __init__(self, response: Complex, most: float) -> None:
        self.most = most
        self._response = response
        self._power = response.real**2 + response.imag**2
        self._silent = not response.any()

    def error(self, got: Complex) -> float:
        """Largest |F - H| / |H| in dB."""
        if self._silent:
            return math.inf if got.any() else -math.inf
        off = got - self._response
        with np.errstate(divide="ignore"):
            return float(10.0 * np.log10(np.max((off.real**2 + off.imag**2) / self._power)))


class _Grid:
    """Frequencies from 0 Hz to Nyquist on which filters at ``rate`` are made and measured."""

    def __init__(self, rate: int) -> None:
        if not LOWEST_RATE <= rate <= HIGHEST_RATE:
            raise DesignError(
                f"a sample rate of {rate} Hz was asked for; filters are made from {LOWEST_RATE} to "
                f"{HIGHEST_RATE} Hz"
            )
        self.rate = rate
        self.size = 1 << math.ceil(math.log2(GRID_LENGTH * rate))
        self.frequency = np.fft.rfftfreq(self.size, 1.0 / rate)
        self.delay = predelay(rate)
        first = math.ceil(AUDIBLE[0] * self.size / rate)
        last = math.floor(min(edge(rate), AUDIBLE[1]) * self.size / rate)
        self._measured = slice(first, last + 1)

    def lengths(self) -> list[int]:
        """Numbers of taps to try, the shortest first."""
        steps = math.ceil(2 * math.log2(LONGEST / SHORTEST))
        return [
            round(SHORTEST * self.rate * 2 ** (step / 2)) + self.delay for step in range(steps + 1)
        ]

    def tapered(self, response: Complex) -> Complex:
        """The response, led smoothly from its `edge` to a real constant at Nyquist."""
        if not response.any():  # no cable, no drop
            return np.zeros_like(response)
        start, nyquist = edge(self.rate), self.rate / 2.0
        above = int(np.searchsorted(self.frequency, start, side="right"))
        # Below, the response itself: it may be zero at 0 Hz.
        share = _smooth_step((self.frequency[above:] - start) / (nyquist - start))
        level, angle = np.log(np.abs(response[above:])), np.unwrap(np.angle(response[above:]))
        end = np.pi * np.round(angle[-1] / np.pi)
        led = np.exp(level + share * (level[-1] - level) + 1j * (angle + share * (end - angle)))
        return np.concatenate([response[:above], led])

    def exact(self, response: Complex) -> NDArray[np.float64]:
        """Impulse response over the whole grid, delayed."""
        return np.roll(np.fft.irfft(self.tapered(response), self.size), self.delay)

    def measured(self, response: Complex) -> Complex:
        """The part of a response over the whole grid in which errors are measured."""
        return response[self._measured]

    def response(self, impulse: Real) -> Complex:
        """Of a delayed impulse response, where it is measured."""
        late = np.zeros(self.size)
        late[: len(impulse) - self.delay] = impulse[self.delay :]
        late[self.size - self.delay :] = impulse[: self.delay]
        return self.measured(np.fft.rfft(late))

    def magnitude_error(self, got: Complex, response: Complex) -> float:
        """Largest difference of levels in dB where it is measured."""
        ratio = np.abs(got)[self._measured] / np.abs(response)[self._measured]
        return float(np.max(np.abs(20.0 * np.log10(ratio))))

    def knots(self) -> NDArray[np.intp]:
        """Indices from 0 Hz to Nyquist: every one at first, then even in log f."""
        top = len(self.frequency) - 1
        count = round(KNOTS_PER_DECADE * math.log10(top))
        return np.concatenate([[0], np.unique(np.geomspace(1, top, count).round()).astype(np.intp)])

    def spread(self) -> np.ndarray[tuple[int], np.dtype[np.intp]]:
        """Indices of about 600 frequencies: even in log f, and even in f near the top."""
        top = len(self.frequency) - 1
        low = np.geomspace(max(1.0, AUDIBLE[0] / 4.0 / self.rate * self.size), top, 500)
        return np.unique(np.concatenate([low, np.linspace(1, top, 120)]).round().astype(np.intp))


def _smooth_step(x: Real) -> Real:
    """0 below 0, 1 above 1, and all derivatives continuous between (and at both ends zero)."""
    inside = np.clip(x, 1e-3, 1.0 - 1e-3)  # beyond, exp(-1/x) is zero in double precision anyhow
    rise, fall = np.exp(-1.0 / inside), np.exp(-1.0 / (1.0 - inside))
    return np.where(x <= 1e-3, 0.0, np.where(x >= 1.0 - 1e-3, 1.0, rise / (rise + fall)))


def _minimum_phase(magnitude: Real) -> Complex:
    """Minimum-phase response of a magnitude on a whole grid, by folding its cepstrum.

    Oppenheim and Schafer, 'Discrete-Time Signal Processing', Hilbert transform relations (from memory).
    """
    if magnitude[0] == 0.0:  # 0 Hz does not come through: the next bin stands for it
        magnitude = np.concatenate([magnitude[1:2], magnitude[1:]])
    cepstrum = np.fft.irfft(np.log(magnitude))
    half = len(cepstrum) // 2
    cepstrum[1:half] *= 2.0
    cepstrum[half + 1 :] = 0.0
    return np.asarray(np.exp(np.fft.rfft(cepstrum)), dtype=np.complex128)


def _fit_sections(frequency: Real, target: Complex, rate: int, count: int) -> NDArray[np.float64]:
    """``count`` second-order sections near ``target``: vector fitting in the z plane.

    Gustavsen and Semlyen, 'Rational approximation of frequency domain responses by vector fitting',
    IEEE Trans. Power Delivery 14 (1999) 1052 (method from memory); each error relative to |target|.
    """
    from scipy.signal import zpk2sos  # half a second that other commands need not wait for

    z = np.exp(2j * np.pi * frequency / rate)
    corner = np.geomspace(frequency[0] * 2.0, 0.8 * rate / 2.0, 2 * count)
    state = np.diag(np.exp(-2.0 * np.pi * corner / rate))  # real poles, spread evenly in log f
    for _ in range(_RELOCATIONS):
        state = _relocated(state, z, target)
    basis = _basis(state, z)
    numerator = _least_squares(basis, target)
    zeros = np.linalg.eigvals(state - np.outer(np.ones(2 * count), numerator[:-1]) / numerator[-1])
    poles = np.linalg.eigvals(state)
    return np.asarray(zpk2sos(zeros, poles, numerator[-1]), dtype=np.float64)


_RELOCATIONS: Final = 12
"""Rounds of moving the poles; they settle after about eight."""


def _basis(state: Real, z: Complex) -> Complex:
    """(z - A)^-1 applied to ones, and a constant: shape (points, poles + 1)."""
    size = len(state)
    shifted = z[:, None, None] * np.eye(size) - state
    columns = np.linalg.solve(shifted, np.ones((len(z), size, 1)))[..., 0]
    return np.concatenate([columns, np.ones((len(z), 1))], axis=1)


def _relocated(state: Real, z: Complex, target: Complex) -> Real:
    """State matrix whose poles are the zeros of the fitted weight, unstable ones mirrored inside."""
    basis = _basis(state, z)
    both = np.concatenate([basis, -target[:, None] * basis[:, :-1]], axis=1)
    weight = _least_squares(both, target)[basis.shape[1] :]
    poles = np.linalg.eigvals(state - np.outer(np.ones(len(state)), weight))
    outside = np.abs(poles) > 1.0
    poles[outside] = 1.0 / poles[outside].conj()
    return _real_blocks(np.asarray(poles, dtype=np.complex128))


def _least_squares(columns: Complex, target: Complex) -> Real:
    """Real coefficients that bring ``columns`` nearest to ``target``, relative to its magnitude."""
    weight = 1.0 / np.abs(target)[:, None]
    left = np.concatenate([(columns * weight).real, (columns * weight).imag])
    right = np.concatenate([(target * weight[:, 0]).real, (target * weight[:, 0]).imag])
    scale = np.linalg.norm(left, axis=0)
    return np.asarray(np.linalg.lstsq(left / scale, right, rcond=None)[0] / scale)


def _real_blocks(poles: Complex) -> Real:
    """Real matrix, block diagonal, with these eigenvalues (complex ones come in pairs)."""
    state = np.zeros((len(poles), len(poles)))
    at = 0
    real = np.sort(poles[np.abs(poles.imag) < 1e-14].real)
    upper = poles[poles.imag >= 1e-14]
    for pole in upper:
        state[at : at + 2, at : at + 2] = [[pole.real, pole.imag], [-pole.imag, pole.real]]
        at += 2
    state[range(at, len(poles)), range(at, len(poles))] = real[: len(poles) - at]
    return state
