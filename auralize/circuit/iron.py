"""A steel bar or tube on the axis of a coil: the inductance it adds and the loss it brings.

Flux enters and leaves the bar through its surface, cut into strips from one end's centre round the
rim and along the bar to the other end's centre. Between neighbouring strips the bar carries

    excess flux = mu0 * section * (mu_e(f) - 1) * H,    H along the surface,

and what enters a strip less what leaves it is magnetic charge, whose field opposes H. mu_e is the
complex permeability of a conducting bar: the flux through its section over what air would carry.
The charges' coupling resolves into modes that do not depend on frequency or material, each with a
demagnetising factor N:

    L_added(f) = mu0 * sum over modes of  MMF^2 * (mu_e - 1) / (1 + N (mu_e - 1))

Approximations: the section answers as in an infinitely long bar; a tube's open ends count as
closed; no hysteresis, and permeability does not depend on the current. Against a field solution of
20 x 150 mm steel in coils of 3 and 15 cm, 100 Hz to 10 kHz: loss and |L| within 5 %, L itself within
11 % also where it nears zero; 8 % and 11 % for a coil just beyond the bar's end; for a bar as long as
it is thick 11 % of |L| and 14 % of its parts (tests). What is not known of a steel's permeability is a
larger doubt than that.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from auralize.circuit.coil import ROUNDING, Turns, ring_field
from auralize.circuit.conductor import MU_0, Complex, Real
from auralize.circuit.groups import stand_ins

_FEWEST_STRIPS: Final = 60
_STRIPS_PER_RADIUS: Final = 4
_END_STRIPS: Final = 8
# Doubling all three moves the added inductance by less than 1 % of |L| for coils of 3 bar radii or
# more, by 2 % from 1.5 on (tests).
_LARGEST_FACTOR: Final = 1.0
# Modes shorter than the bar is thick (N > 1) are beyond a law for the whole section. Dropping them
# moves |L| by under 0.5 % in coils round the middle of a bar of 4 diameters or more, 3 % at its end,
# 5 % in a bar of 1 diameter: coils of 3 bar radii or more; up to 14 % from 1.5 on (tests).
_MEMBERS: Final = 96
# Turns in a group for which `stand_ins` stand.
LARGEST_ASPECT: Final = 100.0
"""Largest length over diameter of a bar; beyond it the strips would grow too many."""


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

        if self.length > LARGEST_ASPECT * self.diameter:
            raise ValueError(
                f"a bar {self.length:g} m long and {self.diameter:g} m thick is beyond the model; "
                f"the length may be up to {LARGEST_ASPECT:g} diameters"
            )

    @property
    def radius(self) -> float:
        """Outer radius in m."""
        return 0.5 * self.diameter


def require_bar_fits(bar: IronBar | None, turns: Turns, thickness: float) -> None:
    """Raises ValueError unless a bar goes through the turns of a cable ``thickness`` m thick."""
    inside = 2.0 * turns.radius.min() - thickness
    if bar is not None and bar.diameter > inside * (1.0 + ROUNDING):
        raise ValueError(
            f"a bar {bar.diameter:g} m thick does not go through a coil "
            f"that is {inside:.4g} m across inside"
        )


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
    from scipy.special import ive  # 0.2 s to import: only where it is asked for

    return np.asarray(ive(1, x) / ive(0, x), dtype=np.complex128)


def _tube_slope(x: Complex, y: Complex, mu_r: float) -> Complex:
    """H'(x) / H(x) at the outside x of a tube with inside y, H = c I0 + d K0.

    Inside the bore the field is even, so the flux there fixes H'(y) = y H(y) / (2 mu_r). Scaled by
    exp(y) and exp(-y), so that nothing overflows.
    """
    from scipy.special import ive, kve  # 0.2 s to import: only where it is asked for

    half = y / (2.0 * mu_r)
    c = kve(1, y) + half * kve(0, y)
    d = ive(1, y) - half * ive(0, y)
    fade = np.exp((y - x) + (y - x).real)  # what the scaling took out of the terms in d
    i0, i1, k0, k1 = ive(0, x), ive(1, x), kve(0, x), kve(1, x)
    return np.asarray((c * i1 - d * k1 * fade) / (c * i0 + d * k0 * fade), dtype=np.complex128)


@dataclass(frozen=True)
class _Strips:
    """Strips of the surface from end to end: mean radius, place from the middle, width, in m."""

    radius: Real
    place: Real
    width: Real
    face: NDArray[np.int64]
    """0: near end, where the path runs outwards; 1: along the bar; 2: far end, inwards."""


def _strips(bar: IronBar) -> _Strips:
    """The bar's surface, finer at the rims, where the flux crowds."""
    along = max(_FEWEST_STRIPS, math.ceil(_STRIPS_PER_RADIUS * bar.length / bar.radius))
    edges = -0.5 * bar.length * np.cos(np.linspace(0.0, np.pi, along + 1))
    rings = bar.radius * np.sin(np.linspace(0.0, 0.5 * np.pi, _END_STRIPS + 1))
    end, half = 0.5 * (rings[1:] + rings[:-1]), np.full(_END_STRIPS, 0.5 * bar.length)
    return _Strips(
        np.concatenate([end, np.full(along, bar.radius), end[::-1]]),
        np.concatenate([-half, 0.5 * (edges[1:] + edges[:-1]), half]),
        np.concatenate([np.diff(rings), np.diff(edges), np.diff(rings)[::-1]]),
        np.repeat([0, 1, 2], [_END_STRIPS, along, _END_STRIPS]),
    )


def coil_field(bar: IronBar, turns: Turns, share: Real | None = None) -> Real:
    """H in A/m at 1 A along the bar's surface, at each of its strips.

    From coaxial turns with places from the bar's middle; zero where ampere-turns cancel. ``share``:
    sets of the turns' shares, shape (sets, turns), for a field each.
    """
    strips = _strips(bar)
    r, z = strips.radius[:, None], strips.place[:, None]
    share = turns.share if share is None else share
    radius, place, share = stand_ins(turns.radius, turns.place, share, _MEMBERS)
    radial, axial = (share @ h.T for h in ring_field(radius, place, r, z))
    return np.choose(strips.face, [radial, axial, -radial])


def distant_field(bar: IronBar, turns: Turns, distance: float) -> Real:
    """As `coil_field`, of a coil whose axis is parallel, ``distance`` m away (beside the bar).

    The mean round the bar is taken as the field on its axis; the ends' radial field as none.
    """
    strips = _strips(bar)
    axis = np.full_like(strips.place, distance)[:, None]
    radius, place, share = stand_ins(turns.radius, turns.place, turns.share, _MEMBERS)
    _, axial = ring_field(radius, place, axis, strips.place[:, None])
    return np.where(strips.face == 1, axial @ share, 0.0)


def added_inductance(bar: IronBar, field: Real, frequency: Real) -> Complex:
    """Complex inductance in H, shape of ``frequency`` (Hz), that the bar adds to a circuit round it.

    ``field`` is the circuit's own H along the bar's surface at 1 A (`coil_field`); or that of each of
    its parts, shape (parts, strips), for the inductance along each, shape (parts, frequencies).
    Multiplied by j omega it is the added impedance; the whole's resistance is never negative. Valid
    for coils whose inner radius is 1.5 bar radii or more (5 % of |L| there, but 18 % just beyond the
    bar's end; tests).
    """
    strips = _strips(bar)
    step = 0.5 * (strips.width[1:] + strips.width[:-1])
    force = 0.5 * (field * strips.width)[..., 1:] + 0.5 * (field * strips.width)[..., :-1]
    # Flux below an end face has run in from the rim: its section shrinks with the radius there.
    section = np.pi * bar.radius * np.minimum(strips.radius[1:], strips.radius[:-1])
    opposed = np.diff(np.diff(_charge_potential(strips), axis=0), axis=1)
    per_field = np.sqrt(section / step)  # makes the carrying of flux the unit of each step
    demagnetising, mode = np.linalg.eigh(per_field[:, None] * opposed * per_field)
    kept = demagnetising < _LARGEST_FACTOR
    drive = ((per_field * force) @ mode)[..., kept]
    whole = drive if drive.ndim == 1 else drive.sum(axis=0)
    excess = effective_permeability(bar, frequency)[..., None] - 1.0
    answer = excess / (1.0 + demagnetising[kept] * excess)
    return np.asarray(MU_0 * (drive * whole) @ answer.T, dtype=np.complex128)


def _charge_potential(strips: _Strips) -> NDArray[np.float64]:
    """Magnetic potential in A at each strip from unit charge (A m) on each other strip.

    That of thin rings; where both lie on one face the nearest distance is the geometric mean over
    their widths, which is exact for strips narrow against the radius.
    """
    from scipy.special import ellipkm1  # 0.2 s to import: only where it is asked for

    radius, place, width = strips.radius, strips.place, strips.width
    rise = place[:, None] - place[None, :]
    farthest = np.hypot(radius[:, None] + radius, rise)
    between = np.hypot(radius[:, None] - radius, rise)
    same_face = strips.face[:, None] == strips.face
    nearest = np.where(same_face, _mean_distance(between, width), between)
    return np.asarray(ellipkm1((nearest / farthest) ** 2) / (2.0 * np.pi**2 * farthest))


def _mean_distance(between: Real, width: Real) -> Real:
    """Geometric mean of the distances of all points of one strip from all of another's."""
    half_sum = 0.5 * (width[:, None] + width[None, :])
    half_difference = 0.5 * (width[:, None] - width[None, :])
    outside = _log_twice(between + half_sum) + _log_twice(between - half_sum)
    inside = _log_twice(between + half_difference) + _log_twice(between - half_difference)
    return np.exp((outside - inside) / (width[:, None] * width[None, :]))


def _log_twice(x: Real) -> Real:
    """Second antiderivative of ln|x|: x^2 / 2 ln|x| - 3/4 x^2, 0 at 0."""
    safe = np.where(x == 0.0, 1.0, np.abs(x))
    return np.asarray(0.5 * x**2 * np.log(safe) - 0.75 * x**2)
