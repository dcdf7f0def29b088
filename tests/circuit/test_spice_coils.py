"""Split coils of unlike size against ngspice: coupled inductors whose values come from rings."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from auralize.circuit.added_impedance import added_by_conductor
from auralize.circuit.cable import Dielectric, PairCable
from auralize.circuit.coil import Winding
from auralize.circuit.conductor import Conductor
from auralize.circuit.lays import LaidCable, SplitCoils
from auralize.circuit.loudspeaker import Resistor
from auralize.circuit.network import Amplifier, Connected, Network, Run
from auralize.circuit.solution import solve
from auralize.circuit.split_coils import split_turns
from support import ring_reference as reference
from support.netlist import NGSPICE, Netlist

pytestmark = pytest.mark.skipif(
    NGSPICE is None, reason="ngspice is not installed; 'apt install ngspice' makes this check run"
)

RADIUS, OHM = 0.9e-3, 6.8e-3  # m, ohm/m: solid 2.5 mm2


@pytest.mark.parametrize("sense", ["same", "opposed"])
def test_split_coils_of_unlike_size_as_coupled_inductors(sense: str, tmp_path: Path) -> None:
    """0.01 dB over plus and over minus. L1, L2 and M of the coils by rings (`ring_reference`), half of
    the straight pair's R and L in what lies straight; the wires' resistance at 0 Hz, from 20 to 500 Hz
    where crowding adds nothing to be seen (2.5 mm2)."""
    cable = LaidCable(Conductor(RADIUS, OHM), 3.2e-3, 3.2e-3)
    lay = SplitCoils(Winding(0.2, 9), Winding(0.3, 25), 0.4, "coaxial", sense)  # type: ignore[arg-type]
    length, ends, coils = 30.0, {}, split_turns(lay, cable)
    half = 2e-7 * (math.log(cable.spacing / RADIUS) + 0.25)  # H/m of one straight conductor
    for name, turns in zip(("plus", "minus"), coils, strict=True):
        coiled = reference.coil(turns.radius, turns.place, np.ones(len(turns.radius)), RADIUS)
        ends[name] = coiled, half * (length - float(turns.lengths.sum()))
    a, b = coils
    mutual = reference.rings(a.radius[:, None], a.place[:, None], b.radius, b.place).sum()
    coupling = mutual / math.sqrt(ends["plus"][0] * ends["minus"][0])

    wiring = Netlist("coils", Amplifier(0.05))
    # The current enters both windings at their dots where their circulation is the same.
    lines = [
        f"R901 sending p1 {OHM * length:.15e}",
        f"L901 p1 p2 {ends['plus'][1]:.15e}",
        f"LA p2 top {ends['plus'][0]:.15e}",
        "RL top bottom 8.0",
        f"LB {'bottom m1' if sense == 'same' else 'm1 bottom'} {ends['minus'][0]:.15e}",
        f"L902 m1 m2 {ends['minus'][1]:.15e}",
        f"R902 m2 0 {OHM * length:.15e}",
        f"K1 LA LB {coupling:.15f}",
    ]
    wiring.lines += lines
    frequency, voltages = wiring.solve(["sending", "top", "bottom"], tmp_path)
    low = frequency < 500.0
    frequency, (sending, top, bottom) = frequency[low], voltages[low].T

    pair = PairCable(cable.conductor, cable.spacing, Dielectric(0.0))
    run = Run(pair, length, added=lambda f: added_by_conductor(lay, cable, length, f))
    network = Network(Amplifier(0.05), {"run": run}, {"load": Connected(Resistor(8.0), "run")})
    solution = solve(network, frequency)
    for across, expected in (("plus", sending - top), ("minus", bottom)):
        found = solution.drop("load", across)  # type: ignore[arg-type]
        assert np.abs(20.0 * np.log10(np.abs(found / expected))).max() < 0.01
