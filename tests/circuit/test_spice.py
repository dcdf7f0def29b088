"""Receiving ends against ngspice, which is given each run as a ladder of ordinary parts.

Skin and proximity effect reach the simulator as cells of R and L in every section, fitted to
the impedance that the filaments found: neither the circuit nor the field is the package's own.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from auralize.circuit.loudspeaker import Driver, Load, Resistor
from auralize.circuit.network import Amplifier, Connected, Network, Run
from auralize.circuit.solution import solve
from support.netlist import LEVEL_BAR, NGSPICE, PHASE_BAR, Line, Netlist

LEVEL_KEPT, PHASE_KEPT = 1e-3, 1e-2
"""dB and degrees that are held."""


@dataclass(frozen=True)
class Rig:
    amplifier: Amplifier
    lines: Mapping[str, tuple[str | None, Line]]
    """Name: fed from, and what it is."""
    loads: Mapping[str, tuple[str | None, Load]]
    """Name: at the end of, and what it is."""


TWEETER = Driver(6.2, 900.0, 2.5, 1.3, inductance=0.05e-3)
WOOFER = Driver(5.6, 38.0, 4.2, 0.42, inductance=0.5e-3, semi_inductance=0.02, stiffness_ratio=1.5)
RIGS = {
    "measured cable into a resistor": Rig(
        Amplifier(0.04, 1e-6),
        {"pond": (None, Line(62.0, 60e-12, measured=(14.8e-3, 0.65e-6)))},
        {"west": ("pond", Resistor(8.0))},
    ),
    "twin across the pond into 4 ohm": Rig(
        Amplifier(0.05, 2e-6),
        {"pond": (None, Line(62.0, 65e-12, geometry=(2.5e-6, 1.4)))},
        {"west": ("pond", Resistor(4.0))},
    ),
    "long thick run, conductors nearly touching, into 2 ohm": Rig(
        Amplifier(0.02),
        {"mole": (None, Line(300.0, 140e-12, geometry=(10e-6, 1.05)))},
        {"east": ("mole", Resistor(2.0))},
    ),
    "bell wire into a boxed driver with semi-inductance": Rig(
        Amplifier(0.1, 1e-6),
        {"spur": (None, Line(24.0, 55e-12, geometry=(0.75e-6, 1.8)))},
        {"lobby": ("spur", WOOFER)},
    ),
    "branched: two drivers on two runs behind a third, a resistor at the amplifier": Rig(
        Amplifier(0.08, 1.5e-6),
        {
            "pond": (None, Line(62.0, 65e-12, geometry=(4e-6, 1.3))),
            "stage": ("pond", Line(15.0, 60e-12, measured=(28e-3, 0.6e-6))),
            "lobby": ("pond", Line(24.0, 55e-12, geometry=(0.75e-6, 1.8))),
        },
        {
            "low": ("stage", WOOFER),
            "high": ("lobby", TWEETER),
            "near": (None, Resistor(16.0)),
        },
    ),
}


@pytest.mark.parametrize("name", RIGS)
def test_receiving_end_agrees_with_ngspice(name: str, tmp_path: Path) -> None:
    if NGSPICE is None:
        pytest.skip("ngspice is not installed; 'apt install ngspice' makes this check run")
    rig = RIGS[name]
    netlist = Netlist(name, rig.amplifier)
    for run, (fed_from, line) in rig.lines.items():
        netlist.run(line, fed_from or "sending", run)
    for at, load in rig.loads.values():
        netlist.load(load, at or "sending")
    nodes = ["sending", *((at or "sending") for at, _ in rig.loads.values())]
    frequency, voltages = netlist.solve(nodes, tmp_path)

    network = Network(
        rig.amplifier,
        {n: Run(line.cable(), line.length, fed) for n, (fed, line) in rig.lines.items()},
        {n: Connected(load, at) for n, (at, load) in rig.loads.items()},
    )
    solution = solve(network, frequency)
    ours = np.stack([solution.sending, *(solution.receiving[n] for n in rig.loads)], axis=1)

    ratio = ours / voltages
    level = np.abs(20.0 * np.log10(np.abs(ratio))).max()
    phase = np.abs(np.angle(ratio, deg=True)).max()
    assert level < LEVEL_KEPT < LEVEL_BAR
    assert phase < PHASE_KEPT < PHASE_BAR
    # The comparison means something only where the run does something.
    assert np.abs(20.0 * np.log10(np.abs(voltages[:, 1] / voltages[:, 0]))).max() > 0.5
