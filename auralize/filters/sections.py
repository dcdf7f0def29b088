"""From a response to second-order sections: a filter to carry elsewhere, magnitude met, phase minimum."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from auralize.circuit.conductor import Complex, Real
from auralize.filters.grid import Grid, Response, minimum_phase

IIR_GOAL: Final = 0.01
"""dB; magnitude error that ends the search for the number of sections."""
MOST_SECTIONS: Final = 12


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


def design_iir(response: Response, rate: int) -> Iir:
    """As few second-order sections as reach `IIR_GOAL` dB, at most 12: the best of those otherwise.

    Fitted in the z plane to the minimum-phase response: magnitude is met, phase only as far as the
    response is minimum phase itself.
    """
    grid = Grid(rate)
    target = response(grid.frequency)
    whole = minimum_phase(np.abs(grid.tapered(target)))
    points, heard = grid.spread(), grid.measured(grid.frequency)
    best: Iir | None = None
    for sections in range(1, MOST_SECTIONS + 1):
        found = _fit_sections(grid.frequency[points], whole[points], rate, sections)
        error = grid.magnitude_error(Iir(found, rate, 0.0).response(heard), target)
        if best is None or error < best.error:
            best = Iir(found, rate, error)
        if error <= IIR_GOAL:
            break
    assert best is not None  # MOST_SECTIONS is above zero
    return best


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
