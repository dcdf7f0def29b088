"""One round conductor: material, DC resistance, temperature and the exact skin effect."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Final, Literal

import numpy as np
from numpy.typing import NDArray

Real = NDArray[np.floating[Any]]
Complex = NDArray[np.complexfloating[Any, Any]]

MU_0: Final = 4e-7 * math.pi
"""H/m; magnetic constant (its 2019 CODATA value differs by 1e-10 relative)."""


@dataclass(frozen=True)
class Material:
    """Conductor metal: resistivity in ohm m at 20 degC, and its temperature coefficient in 1/K."""

    name: str
    resistivity: float
    temperature_coefficient: float
    coated: bool = False
    """True where IEC 60228 lists a column of its own for metal-coated wires."""


MATERIALS: Final = {
    m.name: m
    for m in (
        # International Annealed Copper Standard, IEC 60028: 1/58 ohm mm2/m, 0.00393 /K.
        Material("copper", 1.7241e-8, 0.00393),
        # ASTM B33-04 table 2: 94.16 % IACS for strands of 0.28 to 0.51 mm (thicker: 96.16 %).
        Material("tinned copper", 1.7241e-8 / 0.9416, 0.00393, coated=True),
        # IEC 60889 hard-drawn aluminium: 0.028264 ohm mm2/m, 0.00403 /K (value from memory).
        Material("aluminium", 2.8264e-8, 0.00403),
        # ASTM B566 class 10A, 10 % copper by volume: 0.02743 ohm mm2/m (value from memory). Taken
        # as one homogeneous metal: right for strands; for a solid wire up to 10 mm2 the copper
        # skin then changes the internal impedance by less than 10 % at 20 kHz, R by less than 3 % (tests).
        Material("copper-clad aluminium", 2.743e-8, 0.00404),
    )
}

StrandClass = Literal[1, 2, 5]

# IEC 60228 tables 1 to 3: maximum resistance in ohm/km at 20 degC by nominal area in mm2.
_AREAS: Final = (
    0.5,
    0.75,
    1.0,
    1.5,
    2.5,
    4.0,
    6.0,
    10.0,
    16.0,
    25.0,
    35.0,
    50.0,
    70.0,
    95.0,
    120.0,
)
_SOLID_PLAIN: Final = (
    36.0, 24.5, 18.1, 12.1, 7.41, 4.61, 3.08, 1.83, 1.15, 0.727, 0.524, 0.387, 0.268, 0.193, 0.153,
)  # fmt: skip
_SOLID_COATED: Final = (
    36.7, 24.8, 18.2, 12.2, 7.56, 4.70, 3.11, 1.84, 1.16, 0.734, 0.529, 0.391, 0.270, 0.195, 0.154,
)  # fmt: skip
_FLEX_PLAIN: Final = (
    39.0, 26.0, 19.5, 13.3, 7.98, 4.95, 3.30, 1.91, 1.21, 0.780, 0.554, 0.386, 0.272, 0.206, 0.161,
)  # fmt: skip
_FLEX_COATED: Final = (
    40.1, 26.7, 20.0, 13.7, 8.21, 5.09, 3.39, 1.95, 1.24, 0.795, 0.565, 0.393, 0.277, 0.210, 0.164,
)  # fmt: skip
_ALUMINIUM: Final = dict(
    zip(_AREAS[7:], (3.08, 1.91, 1.20, 0.868, 0.641, 0.443, 0.320, 0.253), strict=True)
)

SOLID_FILL: Final = 1.0
STRANDED_FILL: Final = {1: SOLID_FILL, 2: 7.0 / 9.0, 5: 0.75}
"""Metal share of the circle round a conductor: solid; 7 strands, exact; fine bunched strands."""


def standard_resistance(area: float, strand_class: StrandClass, material: Material) -> float:
    """Maximum resistance in ohm/m at 20 degC that IEC 60228 allows for ``area`` in m2.

    Raises ValueError where the standard has no such size (classes 1, 2, 5; 0.5 to 120 mm2 copper,
    classes 1 and 2 from 10 mm2 aluminium).
    """
    if material.name == "copper-clad aluminium":
        raise ValueError("IEC 60228 has no copper-clad aluminium")
    if material.name == "aluminium":
        table = _ALUMINIUM if strand_class != 5 else {}
    else:
        flexible = strand_class == 5
        plain, coated = (_FLEX_PLAIN, _FLEX_COATED) if flexible else (_SOLID_PLAIN, _SOLID_COATED)
        table = dict(zip(_AREAS, coated if material.coated else plain, strict=True))
        if strand_class == 1 and material.coated:  # table 1 lists these up to 16 mm2 only
            table = {nominal: r for nominal, r in table.items() if nominal <= 16.0}
    for nominal, per_kilometre in table.items():
        if math.isclose(area * 1e6, nominal, rel_tol=1e-6):
            return per_kilometre * 1e-3
    sizes = ", ".join(f"{a:g}" for a in table) or "none"
    raise ValueError(
        f"IEC 60228 has no {area * 1e6:.4g} mm2 in class {strand_class} {material.name}; "
        f"its sizes in mm2 are {sizes}"
    )


@dataclass(frozen=True)
class Conductor:
    """A round conductor at its working temperature.

    ``radius`` in m is that of the circle round it (strands and the air between them); inside it
    the metal is taken as one homogeneous body with the conductor's true DC ``resistance`` in
    ohm/m. Exact for solid wire; strands that touch but are not insulated lie close to it.
    """

    radius: float
    resistance: float

    def __post_init__(self) -> None:
        if not (self.radius > 0.0 and self.resistance > 0.0):
            raise ValueError("a conductor needs a radius and a resistance above zero")

    @property
    def resistivity(self) -> float:
        """ohm m, of the homogeneous body."""
        return self.resistance * math.pi * self.radius**2

    def relative_to(self, other: Conductor) -> Conductor:
        """In units of another one's radius and resistance."""
        return Conductor(self.radius / other.radius, self.resistance / other.resistance)


UNIT: Final = Conductor(1.0, 1.0)
"""1 m of radius, 1 ohm/m."""


def make_conductor(
    area: float,
    material: Material,
    strand_class: StrandClass | None,
    fill: float,
    celsius: float,
) -> Conductor:
    """Conductor of ``area`` in m2 at ``celsius``: by IEC 60228 where a class is given, else rho/A.

    ``fill`` is the metal share of the circle round the strands, 0.5 to 1.
    """
    if not 0.5 <= fill <= 1.0:
        raise ValueError(f"a fill factor of {fill:g} cannot be; strands fill 0.5 to 1")
    if strand_class is None:
        at_20 = material.resistivity / area
    else:
        at_20 = standard_resistance(area, strand_class, material)
    return Conductor(
        math.sqrt(area / fill / math.pi), at_20 * temperature_factor(material, celsius)
    )


def temperature_factor(material: Material, celsius: float) -> float:
    """Resistance at ``celsius`` relative to 20 degC; linear, valid from -60 to 200 degC."""
    if not -60.0 <= celsius <= 200.0:
        raise ValueError(f"{celsius:g} degC is outside -60 to 200 degC")
    return 1.0 + material.temperature_coefficient * (celsius - 20.0)


def skin_depth(frequency: Real, resistivity: float) -> Real:
    """Depth in m at which the current density has fallen to 1/e; infinite at 0 Hz."""
    with np.errstate(divide="ignore"):
        return np.sqrt(resistivity / (np.pi * frequency * MU_0))


def bessel_argument(frequency: Real, conductor: Conductor) -> Complex:
    """k a = sqrt(j omega mu_0 / rho) * radius, the argument of the Bessel functions inside."""
    omega = 2.0 * np.pi * np.asarray(frequency, dtype=np.float64)
    return np.sqrt(1j * omega * MU_0 / conductor.resistivity) * conductor.radius


def bessel_ratios(x: Complex, highest: int) -> Complex:
    """I_n(x) / I_(n-1)(x) for n = 1 .. highest, shape (highest, len(x)).

    By downward recurrence of r_n = x / (2 n + x r_(n+1)), which is stable and exact to rounding
    for every argument, including 0 and those where I_n itself overflows.
    """
    # Started 60 orders above both limits, where what is left out is below 1e-16 relative.
    start = highest + int(np.max(np.abs(x), initial=0.0)) + 60
    ratio = np.zeros_like(x)
    kept = np.empty((highest, *x.shape), dtype=np.complex128)
    for n in range(start, 0, -1):
        ratio = x / (2.0 * n + x * ratio)
        if n <= highest:
            kept[n - 1] = ratio
    return kept


def bessel_products(x: Real, highest: int) -> Real:
    """I_n(x) K_n(x) for n = 0 .. highest at x > 0, shape (highest + 1, len(x)); exact to rounding.

    From the ratios of neighbours, as I_n K_(n+1) + I_(n+1) K_n = 1 / x. That of K_1 and K_0 comes from
    the integral of exp(-x cosh t) cosh(n t), by the trapezoidal rule, which errs by less than rounding
    here; those above by recurrence, which is stable upwards. DLMF 10.28.2, 10.32.9 and 10.29.1 (from
    memory).
    """
    t = np.arccosh(1.0 + _FADED / x) * np.linspace(0.0, 1.0, _STEPS)[:, None]
    weight = np.exp(-2.0 * x * np.sinh(0.5 * t) ** 2)  # exp(x - x cosh t)
    weight[0] *= 0.5
    up = (weight * np.cosh(t)).sum(axis=0) / weight.sum(axis=0)
    down = bessel_ratios(x.astype(np.complex128), highest + 1).real
    products = np.empty((highest + 1, len(x)))
    for n in range(highest + 1):
        products[n] = 1.0 / (x * (up + down[n]))
        up = 2.0 * (n + 1) / x + 1.0 / up
    return products


_FADED: Final = 40.0
_STEPS: Final = 128
# The integral of K_n is followed until its terms are exp(-40) of the first, in so many steps.


def internal_impedance(frequency: Real, conductor: Conductor) -> Complex:
    """Internal impedance in ohm/m of an isolated round wire, (x/2) I0(x)/I1(x) * Rdc, any frequency.

    Written with I2/I1 so that nothing is divided by zero at 0 Hz. Ramo, Whinnery, Van Duzer,
    'Fields and Waves in Communication Electronics', round wires (formula from memory).
    """
    x = bessel_argument(frequency, conductor)
    return conductor.resistance * (1.0 + 0.5 * x * bessel_ratios(x, 2)[1])
