"""A rational function near an impedance that is known at few frequencies: it knows what a resonance is.

Vector fitting: B. Gustavsen and A. Semlyen, IEEE Trans. Power Delivery 14 (1999) 1052 (from memory), each
point weighted by 1/|Z|.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from auralize.circuit.conductor import Complex, Real

_ROUNDS: Final = 12
"""After which the poles of a driver in its box stand still."""
_DAMPING: Final = 0.1
"""Real over imaginary part of the poles that the search begins with."""
_LEAST_DAMPING: Final = 1e-6
"""The same, at least, while it goes on."""


@dataclass(frozen=True, eq=False)
class Rational:
    """Z = sum of c / (s - p), + d + s e, s in units of ``scale`` rad/s; poles rise, pairs are adjoining."""

    poles: Complex
    weights: Real
    scale: float

    def __call__(self, frequency: Real) -> Complex:
        """ohm at frequencies in Hz."""
        s = 2j * np.pi * frequency / self.scale
        return np.asarray(_basis(s, self.poles, 2) @ self.weights)

    @property
    def sharpest(self) -> float:
        """The largest Q of its poles; infinite where one does not decay."""
        if (self.poles.real >= 0.0).any():
            return np.inf
        return float((np.abs(self.poles) / (-2.0 * self.poles.real)).max(initial=0.0))


def fitted(frequency: Real, impedance: Complex, order: int) -> Rational:
    """The function of ``order`` poles nearest to ``impedance`` in ohm at ``frequency`` in Hz."""
    scale = 2.0 * np.pi * float(np.sqrt(frequency[0] * frequency[-1]))
    s = 2j * np.pi * frequency / scale
    poles = _first(s, order)
    for _ in range(_ROUNDS):
        poles = _moved(s, impedance, poles)
    return Rational(poles, _nearest(_basis(s, poles, 2), impedance, impedance), scale)


def _first(s: Complex, order: int) -> Complex:
    """Pairs over all of the data in equal steps of the logarithm, and a real pole for an odd order."""
    low, high = abs(s[0]), abs(s[-1])
    at = np.geomspace(low, high, order // 2 + 2)[1:-1]
    pairs = np.stack([at * (-_DAMPING + 1j), at * (-_DAMPING - 1j)], axis=-1).ravel()
    return np.concatenate([pairs, [-1.0 + 0j] * (order % 2)])


def _basis(s: Complex, poles: Complex, polynomials: int) -> Complex:
    """Columns 1/(s - p) (of a pair their sum, and j times their difference), and powers of s."""
    terms = 1.0 / (s[:, None] - poles)
    columns = terms.copy()
    first = np.flatnonzero(poles.imag > 0.0)
    columns[:, first] = terms[:, first] + terms[:, first + 1]
    columns[:, first + 1] = 1j * (terms[:, first] - terms[:, first + 1])
    powers = s[:, None] ** np.arange(polynomials)
    return np.concatenate([columns, powers], axis=1)


def _nearest(columns: Complex, wanted: Complex, relative_to: Complex) -> Real:
    """Real weights of columns by least squares; each column at unit length, as they differ by decades."""
    system, right = columns / np.abs(relative_to)[:, None], wanted / np.abs(relative_to)
    real = np.concatenate([system.real, system.imag])
    length = np.linalg.norm(real, axis=0)
    length[length == 0.0] = 1.0
    found = np.linalg.lstsq(real / length, np.concatenate([right.real, right.imag]), rcond=None)[0]
    return np.asarray(found / length)


def _moved(s: Complex, z: Complex, poles: Complex) -> Complex:
    """The zeros of sigma, where sigma Z and sigma have the old poles: nearer to those of Z."""
    order = len(poles)
    columns = np.concatenate([_basis(s, poles, 2), -z[:, None] * _basis(s, poles, 0)], axis=1)
    residues = _nearest(columns, z, z)[-order:] if order else np.zeros(0)
    blocks, drive = np.diag(poles.real), np.ones(order)
    for i in np.flatnonzero(poles.imag > 0.0):
        blocks[i, i + 1], blocks[i + 1, i] = poles[i].imag, -poles[i].imag
        drive[i], drive[i + 1] = 2.0, 0.0
    zeros = np.linalg.eigvals(blocks - np.outer(drive, residues)).astype(np.complex128)
    # On the axis itself a pole could meet a point of the data.
    damped = np.maximum(np.abs(zeros.real), _LEAST_DAMPING * np.abs(zeros))
    stable = -damped + 1j * zeros.imag
    return _paired(stable)


def _paired(poles: Complex) -> Complex:
    """Pairs next to each other, the upper one first; then what is real."""
    upper = poles[poles.imag > 0.0]
    pairs = np.stack([upper, upper.conj()], axis=-1).ravel()
    return np.concatenate([pairs, poles[poles.imag == 0.0]])
