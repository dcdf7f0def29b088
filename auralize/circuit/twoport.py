"""Two-ports as chain (ABCD) matrices over frequency, shape (frequencies, 2, 2); cascade with ``@``.

V1 = A V2 + B I2        I1 = C V2 + D I2        (I2 flows out, towards the load)
"""

from __future__ import annotations

import numpy as np

from auralize.circuit.conductor import Complex, Real


def chain(a: Complex, b: Complex, c: Complex, d: Complex) -> Complex:
    """Stack four parameters, each of shape (frequencies,), into (frequencies, 2, 2)."""
    a, b, c, d = np.broadcast_arrays(a, b, c, d)
    return np.stack([np.stack([a, b], axis=-1), np.stack([c, d], axis=-1)], axis=-2)


def series(impedance: Complex) -> Complex:
    """Series impedance in ohm.

    o---[ Z ]---o
    o-----------o
    """
    one, nothing = np.ones_like(impedance), np.zeros_like(impedance)
    return chain(one, impedance, nothing, one)


def shunt(admittance: Complex) -> Complex:
    """Admittance in S across the line.

    o----+----o
        [Y]
    o----+----o
    """
    one, nothing = np.ones_like(admittance), np.zeros_like(admittance)
    return chain(one, nothing, admittance, one)


def line(impedance: Complex, admittance: Complex, length: float) -> Complex:
    """Uniform line of ``length`` m with Z' in ohm/m and Y' in S/m: exact, also at 0 Hz.

    With x = gamma l = sqrt(Z' Y') l: A = D = cosh x, B = Z' l sinh(x)/x, C = Y' l sinh(x)/x. No
    characteristic impedance is formed, so nothing is divided by zero where Y' is 0.
    """
    x = np.asarray(np.sqrt(impedance * admittance) * length, dtype=np.complex128)
    ratio = sinh_over_x(x)
    return chain(np.cosh(x), impedance * length * ratio, admittance * length * ratio, np.cosh(x))


def sinh_over_x(x: Complex) -> Complex:
    """sinh(x)/x, 1 at x = 0; accurate to rounding for small x too."""
    nothing = x == 0.0
    return np.where(nothing, 1.0, np.sinh(x) / np.where(nothing, 1.0, x))


def input_admittance(two_port: Complex, load: Complex) -> Complex:
    """Admittance in S seen at the near end with ``load`` in S at the far end."""
    a, b, c, d = (two_port[..., i, j] for i in (0, 1) for j in (0, 1))
    return (c + d * load) / (a + b * load)


def voltage_ratio(two_port: Complex, load: Complex) -> Complex:
    """Far voltage over near voltage with ``load`` in S at the far end."""
    return 1.0 / (two_port[..., 0, 0] + two_port[..., 0, 1] * load)


def frequencies(frequency: Real | float) -> Real:
    """Frequencies in Hz as an array; raises ValueError where one is negative or not a number."""
    array = np.atleast_1d(np.asarray(frequency, dtype=np.float64))
    if not (np.isfinite(array).all() and (array >= 0.0).all()):
        raise ValueError("frequencies must be numbers of 0 Hz and above")
    return array
