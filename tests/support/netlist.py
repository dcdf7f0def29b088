"""Runs and networks told to ngspice as ladders of ordinary parts."""

from __future__ import annotations

import itertools
import math
import shutil
import subprocess
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from scipy.optimize import nnls

from auralize.circuit.cable import Cable, Dielectric, PairCable
from auralize.circuit.conductor import Complex, Conductor, Real
from auralize.circuit.loudspeaker import Driver, Load, Resistor
from auralize.circuit.network import Amplifier
from support import filaments
from support.told_cable import even

NGSPICE = shutil.which("ngspice")
SECTIONS = 300
"""Of a run: a lumped ladder errs by (gamma l)^2 / (24 sections^2), under 1e-7 here."""
LEVEL_BAR, PHASE_BAR = 0.01, 0.1
"""dB and degrees that are allowed."""
COPPER = 1.7241e-8
Parts = list[tuple[float, float]]
"""(ohm, henry) per metre: the first pair in series, then cells of the two in parallel, all in a chain."""


@dataclass(frozen=True)
class Line:
    """What a run is made of, told to both: (area in m2, spacing over diameter) or (R, L) per metre."""

    length: float
    capacitance: float
    geometry: tuple[float, float] | None = None
    measured: tuple[float, float] | None = None

    def cable(self) -> Cable:
        dielectric = Dielectric(self.capacitance)
        if self.measured is not None:
            return even(*self.measured, self.capacitance)
        assert self.geometry is not None
        area, ratio = self.geometry
        radius = math.sqrt(area / math.pi)
        return PairCable(Conductor(radius, COPPER / area), 2.0 * ratio * radius, dielectric)

    def chain(self) -> Parts:
        if self.measured is not None:
            return [self.measured]
        assert self.geometry is not None
        area, ratio = self.geometry
        radius = math.sqrt(area / math.pi)
        frequency = np.geomspace(5.0, 100e3, 60)
        return fitted(frequency, filaments.pair_impedance(frequency, ratio, radius, COPPER))


def fitted(frequency: Real, impedance: Complex) -> Parts:
    """R + s L in series with cells of R and L in parallel, all positive, that have this impedance.

    Every R-L network can be written so (Foster); the corners x = R/L of the cells are chosen among
    a fixed set.
    """
    s = 2j * np.pi * frequency
    corners = 2.0 * np.pi * np.geomspace(1e2, 1e7, 41)
    parts = np.stack([np.ones_like(s), s, *(s / (s + x) for x in corners)], axis=1)
    # Relative error of R and of X apart: each row is divided by what it has to add up to.
    system = np.concatenate(
        [parts.real / impedance.real[:, None], parts.imag / impedance.imag[:, None]]
    )
    values, _ = nnls(system, np.ones(2 * len(frequency)))
    residual = np.abs(system @ values - 1.0).max()
    assert residual < 2e-4, f"the parts miss the filaments by {residual:.1e}"
    cells = [(r, r / x) for r, x in zip(values[2:], corners, strict=True) if r > 0.0]
    return [(values[0], values[1]), *cells]


class Netlist:
    """Lines of a netlist, with parts and inner nodes numbered as they come."""

    def __init__(self, title: str, amplifier: Amplifier) -> None:
        self.lines = [f"* {title}", "V1 e 0 DC 0 AC 1"]
        self._count: Iterator[int] = itertools.count(1)
        self.branch("e", "sending", amplifier.resistance, amplifier.inductance)

    def part(self, kind: str, one: str, other: str, value: float) -> None:
        self.lines.append(f"{kind}{next(self._count)} {one} {other} {value:.15e}")

    def node(self) -> str:
        return f"n{next(self._count)}"

    def branch(self, one: str, other: str, resistance: float, inductance: float) -> None:
        """Resistance and inductance in series, either of which may be nothing."""
        if inductance == 0.0:
            self.part("R", one, other, resistance)
        elif resistance == 0.0:
            self.part("L", one, other, inductance)
        else:
            middle = self.node()
            self.part("R", one, middle, resistance)
            self.part("L", middle, other, inductance)

    def cell(self, one: str, other: str, resistance: float, inductance: float) -> None:
        """Resistance and inductance in parallel."""
        self.part("R", one, other, resistance)
        self.part("L", one, other, inductance)

    def run(self, line: Line, near: str, far: str) -> None:
        """Half a section's impedance at both ends, whole ones between, capacitors where they meet."""
        step = line.length / SECTIONS
        (resistance, inductance), *cells = line.chain()
        here = near
        for k in range(SECTIONS + 1):
            there = far if k == SECTIONS else self.node()
            share = step if 0 < k < SECTIONS else step / 2.0
            for r, h in cells:
                after = self.node()
                self.cell(here, after, r * share, h * share)
                here = after
            self.branch(here, there, resistance * share, inductance * share)
            if k < SECTIONS:
                self.part("C", there, "0", line.capacitance * step)
            here = there

    def load(self, load: Load, node: str) -> None:
        if isinstance(load, Resistor):
            self.part("R", node, "0", load.resistance)
            return
        assert isinstance(load, Driver)
        after_coil = self.node()
        self.branch(node, after_coil, load.dc_resistance, load.inductance)
        after_semi = self.semi_inductance(load.semi_inductance, after_coil)
        # Moving mass is a capacitor, compliance an inductor, friction a resistor, all in parallel.
        omega = 2.0 * math.pi * load.resonance
        stiffer = 1.0 + load.stiffness_ratio
        self.part("C", after_semi, "0", load.q_electrical / (omega * load.dc_resistance))
        self.part("L", after_semi, "0", load.dc_resistance / (load.q_electrical * omega * stiffer))
        self.part("R", after_semi, "0", load.dc_resistance * load.q_mechanical / load.q_electrical)

    def semi_inductance(self, k: float, node: str) -> str:
        """K sqrt(s) as a chain of resistors each with an inductor across it, and one inductor.

        sqrt(s) = 1/pi * integral over ln x of sqrt(x) s / (s + x), by the trapezoidal rule, which
        converges exponentially; what lies above the last x is s * 2/(pi sqrt(x)).
        """
        if k == 0.0:
            return node
        step = math.log(10.0) / 4.0
        corners = 10.0 ** np.arange(-2.0, 9.1, 0.25)
        for x in corners:
            after = self.node()
            resistance = k / math.pi * math.sqrt(x) * step
            self.cell(node, after, resistance, resistance / x)
            node = after
        after = self.node()
        top = corners[-1] * math.exp(step / 2.0)
        self.part("L", node, after, 2.0 * k / (math.pi * math.sqrt(top)))
        return after

    def solve(self, nodes: list[str], folder: Path) -> tuple[Real, Complex]:
        """Frequencies and complex voltages, one column a node."""
        assert NGSPICE is not None
        vectors = " ".join(f"v({node})" for node in nodes)
        control = [
            ".control",
            "set wr_singlescale",
            "set numdgt=15",
            "ac dec 8 20 40k",
            f"wrdata voltages.txt {vectors}",
            ".endc",
            ".end",
        ]
        (folder / "rig.cir").write_text("\n".join([*self.lines, *control, ""]))
        finished = subprocess.run(
            [NGSPICE, "-b", "rig.cir"], cwd=folder, capture_output=True, text=True, check=False
        )
        written = folder / "voltages.txt"
        assert written.exists(), finished.stdout + finished.stderr
        table = np.loadtxt(written)
        return table[:, 0], table[:, 1::2] + 1j * table[:, 2::2]
