"""Two-ports as chain (ABCD) matrices over frequency, shape (frequencies, 2, 2); cascade with ``@``.

V1 = A V2 + B I2        I1 = C V2 + D I2        (I2 flows out, towards the load)

What hangs at a pair of terminals is a port: (V, I) there up to a common factor, shape (frequencies, 2).
An open is (1, 0) and a short (0, 1), so that a capacitor at 0 Hz, or a coil without resistance, is
exact, and a chain matrix carries the port at its far end to the one at its near end by ``M @ port``.
"""

from __future__ import annotations

import numpy as np

from auralize.circuit.conductor import Complex, Real


def chain(a: Complex, b: Complex, c: Complex, d: Complex) -> Complex:
    """Stack four parameters, each of shape (frequencies,), into (frequencies, 2, 2)."""
    made = np.empty((*np.broadcast_shapes(*map(np.shape, (a, b, c, d))), 2, 2), np.complex128)
    made[..., 0, 0], made[..., 0, 1], made[..., 1, 0], made[..., 1, 1] = a, b, c, d
    return made


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


def line(impedance: Complex, admittance: Complex, length: Real | float) -> Complex:
    """Uniform line of ``length`` m with Z' in ohm/m and Y' in S/m: exact, also at 0 Hz.

    With x = gamma l = sqrt(Z' Y') l: A = D = cosh x, B = Z' l sinh(x)/x, C = Y' l sinh(x)/x. No
    characteristic impedance is formed, so nothing is divided by zero where Y' is 0.
    """
    x = np.asarray(np.sqrt(impedance * admittance) * length, dtype=np.complex128)
    cosh, ratio = np.cosh(x), length * sinh_over_x(x)
    return chain(cosh, impedance * ratio, admittance * ratio, cosh)


def sinh_over_x(x: Complex) -> Complex:
    """sinh(x)/x, 1 at x = 0; accurate to rounding for small x too."""
    nothing = x == 0.0
    return np.where(nothing, 1.0, np.sinh(x) / np.where(nothing, 1.0, x))


def port(voltage: Complex | Real | float, current: Complex | Real | float) -> Complex:
    """Port of these, each of shape (frequencies,) or one number; only their ratio counts."""
    made = np.empty((*np.broadcast_shapes(np.shape(voltage), np.shape(current)), 2), np.complex128)
    made[..., 0], made[..., 1] = voltage, current
    return made


def in_parallel(one: Complex, other: Complex) -> Complex:
    """Port of two ports side by side; a short beside a short is a short."""
    (v, i), (w, j) = _parts(one), _parts(other)
    return normal(port(v * w, np.where((v == 0.0) & (w == 0.0), 1.0, i * w + j * v)))


def in_series(one: Complex, other: Complex) -> Complex:
    """Port of two ports in one loop; an open behind an open is an open."""
    (v, i), (w, j) = _parts(one), _parts(other)
    return normal(port(np.where((i == 0.0) & (j == 0.0), 1.0, v * j + w * i), i * j))


def share(before: Complex, kept: Complex) -> Complex:
    """Part of the voltage over two ports in one loop that the second one, ``kept``, gets.

    0 where nothing determines it: behind an open, an open; at 0 Hz a leak would decide.
    """
    (v, i), (w, j) = _parts(before), _parts(kept)
    whole = v * j + w * i
    return np.where(whole == 0.0, 0.0, w * i / np.where(whole == 0.0, 1.0, whole))


def normal(one: Complex) -> Complex:
    """The same port with its larger number of modulus 1, so that long cascades do not overflow."""
    v, i = _parts(np.abs(one))
    return one / np.maximum(v, i)[..., None]


def admittance(one: Complex) -> Complex:
    """S; infinite for a short."""
    v, i = _parts(one)
    return np.where(v == 0.0, np.inf, i / np.where(v == 0.0, 1.0, v))


def impedance(one: Complex) -> Complex:
    """ohm; infinite for an open."""
    return admittance(one[..., ::-1])


def _parts(one: Complex) -> tuple[Complex, Complex]:
    return one[..., 0], one[..., 1]


def carried(two_port: Complex, far: Complex) -> Complex:
    """Port at the near end of a two-port with ``far`` at its far end."""
    a, b, c, d = (two_port[..., i, j] for i in (0, 1) for j in (0, 1))
    v, i = _parts(far)
    return port(a * v + b * i, c * v + d * i)


def turned(two_port: Complex) -> Complex:
    """A reciprocal two-port seen from its far end: A and D swapped."""
    a, b, c, d = (two_port[..., i, j] for i in (0, 1) for j in (0, 1))
    return chain(d, b, c, a)


def input_admittance(two_port: Complex, load: Complex) -> Complex:
    """Admittance in S seen at the near end with ``load`` in S at the far end."""
    return admittance(carried(two_port, port(np.ones_like(load), load)))


def voltage_ratio(two_port: Complex, load: Complex) -> Complex:
    """Far voltage over near voltage with ``load`` in S at the far end."""
    return 1.0 / (two_port[..., 0, 0] + two_port[..., 0, 1] * load)


def frequencies(frequency: Real | float) -> Real:
    """Frequencies in Hz as an array; raises ValueError where one is negative or not a number."""
    array = np.atleast_1d(np.asarray(frequency, dtype=np.float64))
    if not (np.isfinite(array).all() and (array >= 0.0).all()):
        raise ValueError("frequencies must be numbers of 0 Hz and above")
    return array
