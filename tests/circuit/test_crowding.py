"""Fields at the wires of a coil by virtual work, and what two parts in one loop share."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.special import ellipe, ellipk

from auralize.circuit import twoport
from auralize.circuit.coil import Turns
from auralize.circuit.conductor import Conductor
from auralize.circuit.crowding import crowding_of_rings, wire_dipoles
from auralize.circuit.lays import LaidCable
from support.lays import alone

MU_0 = 4e-7 * math.pi
WIRE = 1e-3
CABLE = LaidCable(Conductor(WIRE, 5e-3), spacing=50e-3, core_diameter=3e-3)


def mutual(radius: float, gap: float) -> float:
    """H of two equal coaxial rings: Maxwell, Treatise, art. 701 (from memory)."""
    m = 4.0 * radius**2 / (4.0 * radius**2 + gap**2)
    k = math.sqrt(m)
    return MU_0 * radius * ((2.0 / k - k) * float(ellipk(m)) - 2.0 / k * float(ellipe(m)))


def inductance(radius: float, gap: float, sign: float) -> float:
    """H of two such rings of round wire in series, ``sign``: the second's current."""
    own = MU_0 * radius * (math.log(8.0 * radius / WIRE) - 1.75)
    return 2.0 * own + 2.0 * sign * mutual(radius, gap)


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_the_field_at_each_of_two_rings_by_virtual_work(sign: float) -> None:
    """dL/dR is the outward force on both, 2 times 2 2 pi R mu0 H_axial; dL/dz the pull between them.

    The turn's own field is part of it: with the other's it adds up, or (opposed) takes away.
    """
    radius, gap, step = 0.02, 4e-3, 1e-6
    outwards = inductance(radius + step, gap, sign) - inductance(radius - step, gap, sign)
    apart = inductance(radius, gap + step, sign) - inductance(radius, gap - step, sign)
    around = 2.0 * math.pi * radius
    axial = outwards / (2.0 * step) / (4.0 * around * MU_0)
    radial = apart / (2.0 * step) / (2.0 * around * MU_0)
    rings = Turns(np.full(2, radius), np.array([0.0, gap]), np.array([1.0, sign]))
    straight = 1.0 / (2.0 * math.pi * CABLE.spacing)
    expected = 2.0 * around * (axial**2 + radial**2 - straight**2)
    wound = alone(rings)
    found = crowding_of_rings(wound, CABLE).inductance(CABLE, np.array([1e-2]))
    dipole = wire_dipoles(CABLE, np.array([1e-2]))[0, 0]
    assert found.sum() / (-MU_0 * dipole) == pytest.approx(expected, rel=1e-6)


def test_what_is_kept_of_a_voltage_in_one_loop() -> None:
    """A divider by hand; an open keeps all, a short nothing, and two of a kind are undetermined: 0."""
    ports = {"r": (3.0, 1.0), "open": (1.0, 0.0), "short": (0.0, 1.0)}

    def kept(before: str, after: str) -> complex:
        one, other = (twoport.port(*(np.array([x]) for x in ports[n])) for n in (before, after))
        return complex(twoport.share(one, other)[0])

    assert kept("r", "r") == 0.5
    assert kept("r", "open") == kept("short", "r") == kept("short", "open") == 1.0
    assert kept("r", "short") == kept("open", "r") == kept("open", "short") == 0.0
    assert kept("open", "open") == kept("short", "short") == 0.0
