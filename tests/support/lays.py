"""Cables and lays that several tests look at, and what a lay adds to them."""

from __future__ import annotations

import math

import numpy as np

from auralize.circuit.added_impedance import added_impedance
from auralize.circuit.coil import Turns, Winding
from auralize.circuit.conductor import Conductor
from auralize.circuit.lays import LaidCable, Lay
from auralize.circuit.ring_sums import Wound, winding_inductance

COPPER = 1.7241e-8  # ohm m, IACS
VERY_LOW = 1e-3  # Hz, where eddy currents no longer move the inductance


def wire(radius: float) -> Conductor:
    return Conductor(radius, COPPER / (math.pi * radius**2))


FLAT = LaidCable(wire(1.0e-3), spacing=3.2e-3, core_diameter=3.2e-3)
TWISTED = LaidCable(wire(1.23e-3), spacing=4.2e-3, core_diameter=4.2e-3, lay_length=0.06)


def alone(turns: Turns) -> Wound:
    """A coil of one conductor, plus."""
    return Wound(turns, np.ones(len(turns.radius), dtype=bool))


def inductance_alone(turns: Turns, gmr: float) -> float:
    """H of coaxial turns in series."""
    return float(winding_inductance(alone(turns), gmr)[0])


def added(lay: Lay, cable: LaidCable = FLAT, length: float = 1e3) -> float:
    """Added inductance in H at low frequency."""
    z = added_impedance(lay, cable, length, np.array([VERY_LOW]))
    return float(z[0].imag) / (2.0 * math.pi * VERY_LOW)


def straight(cable: LaidCable) -> float:
    """H/m of the straight pair at low frequency, exact for an even current: the log of GMD / GMR."""
    gmr = cable.conductor.radius * math.exp(-0.25)
    return 4e-7 * math.log(cable.spacing / gmr)


SMALL = Winding(0.2, 9, "square", width=3 * FLAT.core_diameter)
