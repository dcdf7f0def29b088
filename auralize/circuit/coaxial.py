"""The coaxial cable: a round core, and round it a shield that carries the current back. All exact."""

from __future__ import annotations

import math

import numpy as np

from auralize.circuit.conductor import MU_0, Complex, Conductor, Real, internal_impedance
from auralize.circuit.pair import EPSILON_0


def coaxial_impedance(
    frequency: Real, core: Conductor, inner: float, outer: float, shield: float
) -> Complex:
    """Loop impedance R + j omega L in ohm/m at frequencies above 0 Hz.

    ``inner`` and ``outer`` radius of the shield in m, ``shield`` its DC resistance in ohm/m (a braid is
    taken as a homogeneous tube of that resistance). Raises ValueError where it does not clear the core.
    """
    if not core.radius < inner < outer:
        raise ValueError(
            f"a shield from {inner:g} to {outer:g} m of radius does not go round a core of {core.radius:g} m"
        )
    between = 1j * frequency * MU_0 * math.log(inner / core.radius)
    return (
        internal_impedance(frequency, core)
        + between
        + tube_impedance(frequency, inner, outer, shield)
    )


def tube_impedance(frequency: Real, inner: float, outer: float, resistance: float) -> Complex:
    """Internal impedance in ohm/m of a tube whose return current flows inside it, above 0 Hz.

    Schelkunoff, 'The Electromagnetic Theory of Coaxial Transmission Lines', Bell System Technical
    Journal 13 (1934), surface impedance with internal return (formula from memory).
    """
    from scipy.special import ive, kve  # 0.2 s to import: only where it is asked for

    m, resistivity = _propagation(frequency, inner, outer, resistance)
    x, y = m * inner, m * outer
    fade = np.exp((x - y) + (x - y).real)  # what the scaled functions leave out of I(x) K(y)
    above = ive(0, x) * kve(1, y) * fade + kve(0, x) * ive(1, y)
    below = kve(1, x) * ive(1, y) - ive(1, x) * kve(1, y) * fade
    return np.asarray(m * resistivity / (2.0 * np.pi * inner) * above / below, dtype=np.complex128)


def transfer_impedance(frequency: Real, inner: float, outer: float, resistance: float) -> Complex:
    """Voltage in ohm/m along the outside of such a tube, which is what its own conductor keeps.

    Falls with frequency, as the current gathers inside. Schelkunoff, as `tube_impedance`.
    """
    from scipy.special import ive, kve  # 0.2 s to import: only where it is asked for

    m, resistivity = _propagation(frequency, inner, outer, resistance)
    x, y = m * inner, m * outer
    fade = np.exp((x - y) + (x - y).real)
    below = kve(1, x) * ive(1, y) - ive(1, x) * kve(1, y) * fade
    scaling = np.exp(x - y.real)  # what the scaled functions leave out of I(y) K(x)
    return np.asarray(resistivity / (2.0 * np.pi * inner * outer) * scaling / below)


def _propagation(
    frequency: Real, inner: float, outer: float, resistance: float
) -> tuple[Complex, float]:
    """sqrt(j omega mu_0 / rho) in 1/m, and rho in ohm m, of a tube of that resistance."""
    resistivity = resistance * math.pi * (outer**2 - inner**2)
    omega = 2.0 * np.pi * np.asarray(frequency, dtype=np.float64)
    return np.sqrt(1j * omega * MU_0 / resistivity), resistivity


def coaxial_capacitance(radius: float, inner: float, permittivity: float) -> float:
    """Capacitance in F/m, exact; ``permittivity`` relative."""
    return 2.0 * math.pi * EPSILON_0 * permittivity / math.log(inner / radius)
