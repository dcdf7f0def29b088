"""The field of parallel round conductors: R(f), L(f), C and G per metre, proximity effect included.

Inside conductor i the field is a sum of I_n(k r) e^(j n theta), outside it is that of the currents
and of the multipoles they induce in one another:

    A(r, theta) = - mu0 I_i / 2 pi  ln r  +  sum over n of b_n (a/r)^n e^(+-j n theta)

Matching both at every surface gives b_n = -I_(n+1)(ka) / I_(n-1)(ka) times the n-th local coefficient
of all the other conductors' fields: one small linear system for each frequency.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from auralize.circuit.conductor import (
    MU_0,
    Complex,
    Conductor,
    Real,
    bessel_argument,
    bessel_ratios,
    internal_impedance,
)

EPSILON_0: Final = 8.8541878128e-12
"""F/m, CODATA 2018."""
CLOSEST: Final = 1.005
"""Smallest spacing over diameter that is solved; nearer, the multipole sum grows too long."""
_TRUNCATION: Final = 1e-5
# A multipole of order n weighs (image ratio)^n twice, there and back: the error is about its square.
_FEWEST_ORDERS: Final = 6


def impedance_matrix(
    frequency: Real, centres: Sequence[complex], conductors: Sequence[Conductor]
) -> Complex:
    """Series impedance matrix in ohm/m, shape (frequencies, N, N), for currents that sum to zero.

    ``centres`` are positions in the cross-section in m, x + j y. Exact for straight, parallel, round,
    homogeneous conductors (magnetoquasistatic; truncation under 1e-9 relative). Each element holds a
    common constant that cancels when the currents sum to zero: combine rows and columns accordingly.
    Raises ValueError when conductors touch, or lie nearer than `CLOSEST`.
    """
    frequency = np.atleast_1d(np.asarray(frequency, dtype=np.float64))
    place = np.asarray(centres, dtype=np.complex128)
    radius = np.array([c.radius for c in conductors])
    orders = _orders(place, radius)
    between = place[:, None] - place[None, :]  # from the source j to the place i
    translate, from_currents, to_surface = _translations(between, radius, orders)
    families = translate.shape[0] // (len(radius) * orders)
    response = np.tile(_surface_response(frequency, conductors, orders), families)

    # b = -response * (translate @ b + from_currents), solved for unit currents in each conductor.
    system = response[:, :, None] * translate[None] + np.eye(translate.shape[0])
    multipoles = np.linalg.solve(system, -response[:, :, None] * from_currents[None])

    distance = np.abs(between) + np.diag(radius)  # a conductor is its own radius away from itself
    external = -np.log(distance)[None] + to_surface[None] @ multipoles
    internal = np.stack([internal_impedance(frequency, c) for c in conductors], axis=-1)
    scale = 1j * MU_0 * frequency[:, None, None]  # j omega mu0 / 2 pi
    return scale * external + internal[:, :, None] * np.eye(len(radius))


def _orders(place: Complex, radius: Real) -> int:
    """How many multipole orders the closest two conductors need."""
    count = _FEWEST_ORDERS
    for i in range(len(place)):
        for j in range(i):
            ratio = float(abs(place[i] - place[j]) / (radius[i] + radius[j]))
            if ratio < CLOSEST:
                raise ValueError(
                    f"conductors {radius[i] + radius[j]:.4g} m across stand {ratio:.4g} diameters "
                    f"apart; the insulation must keep them at least {CLOSEST:g} diameters apart"
                )
            image = _image_ratio(abs(place[i] - place[j]), radius[i], radius[j])
            count = max(count, math.ceil(math.log(_TRUNCATION) / math.log(image)))
    return count


def _image_ratio(distance: float, a: float, b: float) -> float:
    """How far out the images in two cylinders gather, over their radius: the larger of both."""
    half = math.sqrt((distance**2 - a**2 - b**2) ** 2 - (2.0 * a * b) ** 2) / (2.0 * distance)
    return max(
        ((distance**2 + own**2 - other**2) / (2.0 * distance) - half) / own
        for own, other in ((a, b), (b, a))
    )


def _surface_response(frequency: Real, conductors: Sequence[Conductor], orders: int) -> Complex:
    """I_(n+1)/I_(n-1) at each surface, shape (frequencies, N * orders): 0 at DC, 1 in perfect metal."""
    by_conductor = []
    for conductor in conductors:
        ratios = bessel_ratios(bessel_argument(frequency, conductor), orders + 1)
        by_conductor.append((ratios[1:] * ratios[:-1]).T)
    return np.concatenate(by_conductor, axis=1)


def _translations(between: Complex, radius: Real, orders: int) -> tuple[Complex, Complex, Complex]:
    """Matrices from multipoles and currents at j to local coefficients at i (Taylor series).

    Two families of multipoles, (a/z)^n and its conjugate; a local term z^m has the angle of a
    conjugate multipole, so each family drives the other. Where all centres lie on one line the
    families are equal, and one is solved. Potentials are in units of mu0 I / 2 pi.
    """
    count = len(radius)
    n = np.arange(1, orders + 1)
    binomial = _binomials(orders)
    drive = np.zeros((count, orders, count, orders), dtype=np.complex128)
    source = np.zeros((count, orders, count), dtype=np.complex128)
    surface = np.zeros((count, count, orders), dtype=np.complex128)
    for i in range(count):
        for j in range(count):
            if i == j:
                continue
            d = between[i, j]
            local = (-radius[i] / d) ** n
            far = (radius[j] / d) ** n
            drive[i, :, j, :] = binomial * local[:, None] * far[None, :]
            source[i, :, j] = 0.5 * local / n  # -ln|d + z| = ... + 1/2 sum (-z/d)^m / m + conjugate
            surface[i, j, :] = far
    size = count * orders
    t, s, u = drive.reshape(size, size), source.reshape(size, count), surface.reshape(count, size)
    if not between.imag.any():
        return t, s, 2.0 * u
    nothing = np.zeros((size, size))
    both = np.block([[nothing, t.conj()], [t, nothing]])
    return both, np.concatenate([s.conj(), s]), np.concatenate([u, u.conj()], axis=1)


def _binomials(orders: int) -> NDArray[np.float64]:
    """C(n + m - 1, m) for m, n = 1 .. orders, row m, column n."""
    return np.array(
        [
            [float(math.comb(n + m - 1, m)) for n in range(1, orders + 1)]
            for m in range(1, orders + 1)
        ]
    )


def loop_impedance(
    frequency: Real,
    centres: Sequence[complex],
    conductors: Sequence[Conductor],
    shares: Sequence[float],
) -> Complex:
    """Impedance R + j omega L in ohm/m of one loop through all conductors, each with its share of current.

    ``shares`` sum to zero, the outgoing ones to 1. Right where conductors in parallel carry what
    symmetry gives them, which is what this is for. Raises ValueError for shares that do not add up.
    """
    both = impedance_by_conductor(frequency, centres, conductors, shares)
    return np.asarray(both.sum(axis=0))


def impedance_by_conductor(
    frequency: Real,
    centres: Sequence[complex],
    conductors: Sequence[Conductor],
    shares: Sequence[float],
) -> Complex:
    """`loop_impedance` along the conductors there and along those back, shape (2, frequencies).

    What each keeps is the voltage between its two ends along itself, by its own flux less what the
    others' sends through it; both add up to the loop's.
    """
    v = np.asarray(shares, dtype=np.float64)
    if not (math.isclose(float(v[v > 0].sum()), 1.0) and math.isclose(float(v[v < 0].sum()), -1.0)):
        raise ValueError(f"the shares {tuple(shares)} must add up to 1 there and -1 back")
    there_and_back = np.stack([np.maximum(v, 0.0), np.minimum(v, 0.0)])
    matrix = impedance_matrix(frequency, centres, conductors)
    return np.einsum("ci,fij,j->cf", there_and_back, matrix, v)


def loop_capacitance(
    centres: Sequence[complex],
    radii: Sequence[float],
    shares: Sequence[float],
    permittivity: float,
) -> float:
    """Capacitance in F/m between the conductors there and those back, in a uniform dielectric.

    From the inductance of perfect conductors in the same places, as C L = mu eps: exact where those
    in parallel share the charge as they share the current, by symmetry.
    """
    place, radius = np.asarray(centres, dtype=np.complex128), np.asarray(radii, dtype=np.float64)
    between = place[:, None] - place[None, :]
    translate, from_currents, to_surface = _translations(between, radius, _orders(place, radius))
    multipoles = np.linalg.solve(np.eye(len(translate)) + translate, -from_currents)
    external = -np.log(np.abs(between) + np.diag(radius)) + to_surface @ multipoles
    inductance_over_mu = float(np.real(np.asarray(shares) @ external @ np.asarray(shares))) / (
        2 * math.pi
    )
    return EPSILON_0 * permittivity / inductance_over_mu


def pair_impedance(frequency: Real, spacing: float, conductor: Conductor) -> Complex:
    """Loop impedance R + j omega L in ohm/m of two equal conductors, ``spacing`` m between centres."""
    return loop_impedance(frequency, [0.0, spacing], [conductor, conductor], [1.0, -1.0])


def pair_capacitance(
    spacing: float, radius: float, permittivity: float, other: float | None = None
) -> float:
    """Capacitance in F/m of two round conductors in a uniform dielectric, exact.

    The ``other`` has its own radius in m where that is given. ``permittivity`` is relative and
    effective: between that of the insulation and of the air round it.
    """
    other = radius if other is None else other
    if spacing <= radius + other:
        raise ValueError("conductors must not touch: the spacing is under the diameter")
    ratio = (spacing**2 - radius**2 - other**2) / (2.0 * radius * other)
    return 2.0 * math.pi * EPSILON_0 * permittivity / math.acosh(ratio)


def twist_factor(spacing: float, lay_length: float) -> float:
    """Length of a conductor over that of its twisted pair: a helix of diameter ``spacing``."""
    return math.hypot(1.0, math.pi * spacing / lay_length)
