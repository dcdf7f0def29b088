"""A steel bar or tube on the axis of a coil: the inductance it adds and the loss it brings.

Seen from outside, axial magnetisation and eddy currents of a bar are one current sheet round its
surface. Cut into slices, each slice is a ring that carries

    J = kappa * width / (mu0 * section) * flux,     kappa = 1 - 1 / mu_e(f)

where flux is what the coil and all slices drive through the section, and mu_e is the complex
permeability of the conducting bar (flux it carries over the flux air would carry at the same
surface field). The slices' own coupling resolves into modes, each with a demagnetising factor N:

    L_added(f) = sum over modes of  weight * (mu_e - 1) / (1 + N (mu_e - 1))

Approximations: flux within the bar runs along it, and leaves its end faces evenly; hysteresis is
left out and permeability does not depend on the current. Within 15 % of a field solution (|L|, and
loss resistance; see the tests); the permeability of unknown steel is a larger doubt than that.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import eigh

from auralize.circuit.coil import ring_mutual, ring_self
from auralize.circuit.conductor import MU_0, Complex, Real

_SLICES: Final = 60
# Halving their number changes the added inductance by less than 1 % (tested).


@dataclass(frozen=True)
class IronBar:
    """Round steel bar, or a tube where ``bore`` > 0; lengths in m, conductivity in S/m.

    Mild steel: 5e6 to 7e6 S/m, relative permeability 50 to 500 at the small fields of a
    loudspeaker cable (common practice, no source).
    """

    diameter: float
    length: float
    conductivity: float
    relative_permeability: float
    bore: float = 0.0

    def __post_init__(self) -> None:
        for name in ("diameter", "length", "conductivity"):
            value = getattr(self, name)
            if not (math.isfinite(value) and value > 0.0):
                raise ValueError(f"the bar's {name} must be above zero, not {value:g}")
        if not 1.0 <= self.relative_permeability < math.inf:
            raise ValueError(
                "the bar's relative permeability must be 1 or more, "
                f"not {self.relative_permeability:g}"
            )
        if not 0.0 <= self.bore < self.diameter:
            raise ValueError(
                f"the bore of {self.bore:g} m must be 0 (a bar) or less than "
                f"the diameter of {self.diameter:g} m (a tube)"
            )

    @property
    def radius(self) -> float:
        """Outer radius in m."""
        return 0.5 * self.diameter


def effective_permeability(bar: IronBar, frequency: Real) -> Complex:
    """Relative permeability mu_e of the whole section of the bar for flux along it; 0 Hz included.

    Exact for an infinitely long bar or tube in an axial field: for a bar 2 mu I1(x) / (x I0(x)),
    x = sqrt(j omega mu / rho) * radius. Its imaginary part is never positive.
    """
    omega = 2.0 * np.pi * np.asarray(frequency, dtype=np.float64)
    mu_r = bar.relative_permeability
    gamma = np.sqrt(1j * omega * MU_0 * mu_r * bar.conductivity)
    outer, inner = gamma * bar.radius, gamma * 0.5 * bar.bore
    static = mu_r + (1.0 - mu_r) * (bar.bore / bar.diameter) ** 2
    alternating = omega > 0.0
    result = np.full(omega.shape, complex(static))
    x, y = outer[alternating], inner[alternating]
    slope = _bar_slope(x) if bar.bore == 0.0 else _tube_slope(x, y, mu_r)
    result[alternating] = 2.0 * mu_r * slope / x
    return result


def _bar_slope(x: Complex) -> Complex:
    """H'(x) / H(x) at the surface of a solid bar: I1 / I0."""
    from scipy.special import ive

    return np.asarray(ive(1, x) / ive(0, x), dtype=np.complex128)


def _tube_slope(x: Complex, y: Complex, mu_r: float) -> Complex:
    """H'(x) / H(x) at the outside x of a tube with inside y, H = c I0 + d K0.

    Inside the bore the field is even, so the flux there fixes H'(y) = y H(y) / (2 mu_r). Scaled by
    exp(y) and exp(-y), so that nothing overflows.
    """
    from scipy.special import ive, kve

    half = y / (2.0 * mu_r)
    c = kve(1, y) + half * kve(0, y)
    d = ive(1, y) - half * ive(0, y)
    fade = np.exp((y - x) + (y - x).real)  # what the scaling took out of the terms in d
    i0, i1, k0, k1 = ive(0, x), ive(1, x), kve(0, x), kve(1, x)
    return np.asarray((c * i1 - d * k1 * fade) / (c * i0 + d * k0 * fade), dtype=np.complex128)


def slices(bar: IronBar) -> tuple[Real, Real]:
    """Places of the slices' centres in m from the bar's middle, and widths; finer at the ends."""
    edges = -0.5 * bar.length * np.cos(np.linspace(0.0, np.pi, _SLICES + 1))
    return 0.5 * (edges[1:] + edges[:-1]), np.diff(edges)


def added_inductance(bar: IronBar, linked: Real, frequency: Real) -> Complex:
    """Complex inductance in H, shape (frequencies,), that the bar adds to a circuit round it.

    ``linked`` is the circuit's flux in Wb through each of the `slices` at 1 A, so it is zero where
    the net ampere-turns are zero. j omega times the result is the added impedance; its real part
    (loss) is never negative.
    """
    place, width = slices(bar)
    section = math.pi * bar.radius**2
    weight, coupling = eigh(
        _slice_coupling(place, width, bar.radius), np.diag(MU_0 * section / width)
    )
    shape = (coupling.T @ linked) ** 2
    demagnetising = 1.0 - weight
    excess = effective_permeability(bar, frequency)[..., None] - 1.0
    return np.asarray((shape * excess / (1.0 + demagnetising * excess)).sum(axis=-1))


def _slice_coupling(place: Real, width: Real, radius: float) -> NDArray[np.float64]:
    """Mutual inductances in H of the slices as strips of a cylinder, averaged over their widths.

    Near strips differ from rings by the mean of ln(distance) over both widths, which is exact; what
    is left out is smooth, of the order (width / radius)^2.
    """
    apart = place[:, None] - place[None, :]
    half_sum = 0.5 * (width[:, None] + width[None, :])
    half_difference = 0.5 * (width[:, None] - width[None, :])
    outside = _log_twice(apart + half_sum) + _log_twice(apart - half_sum)
    inside = _log_twice(apart + half_difference) + _log_twice(apart - half_difference)
    mean_log = (outside - inside) / (width[:, None] * width[None, :])
    own = np.eye(len(place), dtype=bool)
    distance = np.abs(apart) + own * radius  # any value on the diagonal, which is set below
    rings = ring_mutual(np.asarray(radius), distance, np.asarray(radius), np.zeros(()))
    strips = rings + MU_0 * radius * (np.log(distance) - mean_log)
    return np.where(own, ring_self(np.asarray(radius), np.exp(mean_log)), strips)


def _log_twice(x: Real) -> Real:
    """Second antiderivative of ln|x|: x^2 / 2 ln|x| - 3/4 x^2, 0 at 0."""
    safe = np.where(x == 0.0, 1.0, np.abs(x))
    return np.asarray(0.5 * x**2 * np.log(safe) - 0.75 * x**2)
