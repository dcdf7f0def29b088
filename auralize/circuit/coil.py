"""Where the turns of a coil are; inductance and field of rings, and of twisted pairs.

Magnetostatics of filaments: a turn is a ring at its centre line. Its finite round wire enters by
the geometric mean radius (GMR) of the wire; what that leaves out is of the order (wire radius /
ring radius)^2, and the pitch of a real winding (rings close, turns do not) of (pitch /
circumference)^2.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Final, Literal, get_args

import numpy as np
from numpy.typing import NDArray

from auralize.circuit.conductor import MU_0, Real, bessel_products
from auralize.circuit.groups import stand_ins

Packing = Literal["hexagonal", "square", "loose"]
"""How turns fill a bundle: nested (flat cables: every other layer shifted by half a cable), in
square rows, or apart by `LOOSE_PITCH` with seeded disorder."""
LOOSE_PITCH: Final = 1.25
"""Pitch of a loose bundle over the cable's size (assumption: it fills 0.58 of its area)."""
ROUNDING: Final = 1e-9
"""Relative slack of every geometric limit, so that equal sizes given in decimals pass."""
GMR_ROUND: Final = math.exp(-0.25)
"""GMR of a round wire over its radius, current spread evenly (Maxwell, Treatise, art. 692; from memory)."""
_BESIDE_NODES: Final = 48
# Gauss points on half a ring beside another coil: 1e-4 where the nearest wires touch (tested).
_STANDING: Final = 6
# Groups of turns, or a few more, that stand for a coil beside another.
_TWIST_ORDERS: Final = 60
_COUPLING_ORDERS: Final = 20
# What the series leave out is below 1e-5 of the loop's inductance (terms fall as m^-3, or faster).


def require_positive(**lengths: float) -> None:
    """Raises ValueError unless every named value is finite and above zero."""
    for name, value in lengths.items():
        if not 0.0 < value < math.inf:
            raise ValueError(f"the {name.replace('_', ' ')} must be above zero, not {value:g}")


def require_choice(name: str, value: str, choices: object) -> None:
    """Raises ValueError unless ``value`` is one of a Literal's ``choices``."""
    allowed = get_args(choices)
    if value not in allowed:
        raise ValueError(f"the {name} must be one of {', '.join(allowed)}, not {value!r}")


@dataclass(frozen=True)
class Winding:
    """``turns`` (1 or more, parts allowed) at a ``mean_diameter`` in m.

    The bundle is about as wide as high, or fills a ``width`` in m along the axis row by row.
    Turns from a length: length / (pi * mean_diameter).
    """

    mean_diameter: float
    turns: float
    packing: Packing = "square"
    width: float | None = None
    seed: int = 1

    def __post_init__(self) -> None:
        require_positive(mean_diameter=self.mean_diameter)
        require_choice("packing", self.packing, Packing)
        if self.width is not None:
            require_positive(width=self.width)
        if not 1.0 <= self.turns < math.inf:
            raise ValueError(f"a coil needs 1 turn or more, not {self.turns:g}")

    @property
    def length(self) -> float:
        """m of cable, or of one conductor, that is wound."""
        return math.pi * self.mean_diameter * self.turns


@dataclass(frozen=True)
class Turns:
    """Rings: radius and axial place in m, and how much of each is wound (its sign: the current's)."""

    radius: Real
    place: Real
    share: Real

    @property
    def lengths(self) -> Real:
        """m of each turn that is wound."""
        return 2.0 * np.pi * self.radius * np.abs(self.share)


def pack(winding: Winding, along: float, up: float, columns: int | None = None) -> Turns:
    """Turns of a cable ``along`` m wide and ``up`` m high; mean radius and length are kept exactly.

    ``columns``: how many lie side by side; None: from the winding's width, or a bundle. Flat cable in
    square rows is stacked in even ones: only the last may be shorter.
    """
    count = math.ceil(winding.turns * (1.0 - ROUNDING))
    spread = LOOSE_PITCH if winding.packing == "loose" else 1.0
    wide, high = spread * along, spread * up
    nested = winding.packing != "square"
    if nested and along == up:
        high *= math.sqrt(0.75)  # round cables sink between those below
    if columns is None and winding.width is not None:
        columns = max(1, math.floor(winding.width / wide * (1.0 + ROUNDING)))
    if columns is None and winding.packing == "square" and along != up:
        columns = even_columns(count, along, up)
    column, row = _bundle(count, wide, high) if columns is None else _rows(count, columns)
    place = (column + 0.5 * nested * (row % 2)) * wide
    rise = row * high
    if winding.packing == "loose":
        jitter = _jitter(count, 0.5 * (spread - 1.0) * min(along, up), winding.seed)
        place, rise = place + jitter[0], rise + jitter[1]
    share = np.ones(count)
    share[-1] = winding.turns - (count - 1)
    rise = rise - np.average(rise, weights=share)
    place = place - np.average(place, weights=share)
    radius = 0.5 * winding.mean_diameter + rise
    if radius.min() < 0.5 * up:
        raise ValueError(
            f"{winding.turns:g} turns of a cable {up:g} m thick do not fit a coil "
            f"{winding.mean_diameter:g} m in mean diameter: the innermost would cross the axis"
        )
    return Turns(radius, place, share)


def even_columns(count: int, along: float, up: float) -> int:
    """Turns side by side in a bundle that is about as wide as high."""
    return max(1, round(math.sqrt(count * up / along)))


def _rows(count: int, columns: int) -> tuple[Real, Real]:
    """Column and row of each turn, filled row by row from the inside."""
    index = np.arange(count)
    return (index % columns).astype(np.float64), (index // columns).astype(np.float64)


def _bundle(count: int, wide: float, high: float) -> tuple[Real, Real]:
    """Columns and rows of the cells nearest to a middle one: a bundle about as wide as high."""
    reach = math.sqrt(count * wide * high / math.pi) + max(wide, high)
    columns, rows = math.ceil(reach / wide) + 1, math.ceil(reach / high) + 1
    row, column = np.mgrid[-rows : rows + 1, -columns : columns + 1].reshape(2, -1).astype(float)
    away = (wide * (column + 0.5 * (row % 2))) ** 2 + (high * row) ** 2
    # Rounded, so that cells equally far are taken in the same order on every machine.
    nearest = np.lexsort((column, row, np.round(away / (wide * high), 6)))[:count]
    return np.asarray(column[nearest]), np.asarray(row[nearest])


def _jitter(count: int, most: float, seed: int) -> NDArray[np.float64]:
    """Displacements evenly spread over a disc of radius ``most``, shape (2, count)."""
    radius, angle = np.random.default_rng(seed).random((count, 2)).T
    turn = 2.0 * np.pi * angle
    return np.asarray(most * np.sqrt(radius) * np.array([np.cos(turn), np.sin(turn)]))


def ring_mutual(r1: Real, z1: Real, r2: Real, z2: Real) -> Real:
    """Mutual inductance in H of coaxial rings, radii and axial places in m; arrays broadcast.

    Maxwell, Treatise, art. 701, in the form that takes the farthest and nearest distance between
    the rings; K - E as Carlson's R_D (DLMF 19.25.1; both from memory), which loses no digits near
    or far. Infinite where the rings coincide.
    """
    from scipy.special import elliprd  # 0.2 s to import: only where it is asked for

    farthest = np.hypot(r1 + r2, z1 - z2)
    nearest = np.hypot(r1 - r2, z1 - z2)
    total = farthest + nearest
    modulus = 4.0 * r1 * r2 / total**2
    complement = 4.0 * farthest * nearest / total**2  # 1 - modulus^2 without the subtraction
    k_less_e = modulus**2 / 3.0 * elliprd(0.0, complement, 1.0)
    return np.asarray(MU_0 * total * k_less_e, dtype=np.float64)


def ring_self(radius: Real, gmr: Real | float) -> Real:
    """Self-inductance in H of a ring of thin wire; ``gmr`` and ``radius`` in m, gmr << radius.

    Maxwell's limit mu0 R (ln(8 R / gmr) - 2); for a round wire with its internal inductance
    gmr = `GMR_ROUND` * wire radius. Left out: about (wire radius / R)^2 of the value.
    """
    return np.asarray(MU_0 * radius * (np.log(8.0 * radius / gmr) - 2.0), dtype=np.float64)


def ring_field(r1: Real, z1: Real, r: Real, z: Real) -> tuple[Real, Real]:
    """Radial and axial H in A/m per ampere of the ring (r1, z1), at radius r > 0 and place z.

    Smythe, Static and Dynamic Electricity, section 7.10 (formula from memory).
    """
    from scipy.special import ellipe, ellipkm1  # 0.2 s to import: only where it is asked for

    dz = z - z1
    far2, near2 = (r1 + r) ** 2 + dz**2, (r1 - r) ** 2 + dz**2
    k = ellipkm1(near2 / far2)
    e = ellipe(4.0 * r1 * r / far2) / near2
    scale = 1.0 / (2.0 * np.pi * np.sqrt(far2))
    radial = scale * dz / r * ((r1**2 + r**2 + dz**2) * e - k)
    axial = scale * ((r1**2 - r**2 - dz**2) * e + k)
    return radial, axial


def mutual_beside(a: Turns, b: Turns, distance: float) -> float:
    """Mutual inductance in H of two coils with parallel axes ``distance`` m apart, not overlapping.

    Of equal circulation: coils that lie side by side give a negative value. The vector potential
    of each ring of ``a`` is integrated along each of ``b`` by Gauss's rule, with the points
    gathered where the rings are nearest. Few rings stand for many, which moves it by under 1e-3.
    """
    a, b = (
        Turns(*stand_ins(c.radius, c.place, c.share, len(c.share) // _STANDING)) for c in (a, b)
    )
    node, weight = np.polynomial.legendre.leggauss(_BESIDE_NODES)
    u = 0.5 * (node + 1.0)
    angle, weight = np.pi * u**2, weight * np.pi * u
    r, z = b.radius[:, None], b.place[:, None]
    rho = np.hypot(distance - r * np.cos(angle), r * np.sin(angle))  # from the axis of a
    along = weight * r * (r - distance * np.cos(angle)) / rho
    # A = M / (2 pi rho), and both halves of the ring; then shares of b.
    per_point = along / (np.pi * rho) * b.share[:, None]
    rings = zip(a.radius, a.place, a.share, strict=True)
    return float(sum(s * (per_point * ring_mutual(r1, z1, rho, z)).sum() for r1, z1, s in rings))


@lru_cache(maxsize=512)
def twist_inductance(spacing: float, lay_length: float) -> float:
    """Loop inductance in H/m of cable that a twisted pair has beyond its lengthened straight pair.

    Lengthened: times hypot(1, pi spacing / lay_length). From the field of two opposed helical
    filaments as a series of I_m K_m, with the part that is the straight wire's summed in closed
    form; exact for thin wires, independent of their radius (error about (radius / lay_length)^2).
    Derived here; checked in the tests by direct integration along the helices.
    """
    return helix_inductance(np.array([0.0, np.pi]), np.array([1.0, -1.0]), spacing, lay_length)


def helix_inductance(angle: Real, share: Real, across: float, lay_length: float) -> float:
    """`twist_inductance` of any cores on one circle, ``across`` m in diameter.

    Each at its ``angle`` and with its ``share`` of 1 A there and back. Derived here from the harmonics
    of the current round the circle; checked in the tests by direct integration along the helices.
    """
    x = math.pi * across / lay_length
    stretch = math.hypot(1.0, x)
    m = np.arange(1, _TWIST_ORDERS)
    power = np.abs(np.exp(-1j * np.outer(m, angle)) @ share) ** 2
    known = bessel_products(m * x, _TWIST_ORDERS)
    below, same, above = (known[m + n, m - 1] for n in (-1, 0, 1))
    products = 2.0 * same + x**2 * (below + above)
    series = float(power @ (products - stretch / m))
    alone = float(share @ share) * stretch * math.log(stretch)
    return MU_0 / (2.0 * math.pi) * (series - alone)


def twist_coupling(distance: Real, spacing: float, lay_length: float) -> Real:
    """Mutual inductance in H/m of two parallel twisted pairs of the same lay, turning in phase.

    ``distance`` in m between their axes, more than ``spacing``. Any other phase difference psi
    scales the leading term by cos psi. Positive; derived as in `twist_inductance`.
    """
    from scipy.special import ive, kve  # 0.2 s to import: only where it is asked for

    x = math.pi * spacing / lay_length
    m = np.arange(1, _COUPLING_ORDERS, 2).reshape(-1, *np.ones(distance.ndim, dtype=int))
    ratio = 2.0 * distance / spacing
    # The scaled functions leave out exp(2 m x) of the two I and exp(-m x ratio) of the K.
    around = x**2 * (ive(m + 1, m * x) ** 2 + ive(m - 1, m * x) ** 2) - 2.0 * ive(m, m * x) ** 2
    terms = around * kve(0, m * x * ratio) * np.exp(m * x * (2.0 - ratio))
    return np.asarray(2.0 * MU_0 / math.pi * terms.sum(axis=0), dtype=np.float64)
