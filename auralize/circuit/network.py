"""An installation solved: amplifier, a tree of runs, and the loudspeakers at their ends.

            Zamp    sending                      receiving
    (E)---[  ]---+----o=== run ===o---+------- loudspeaker
                 |                    +--o=== run ===o--- loudspeaker

All voltages are relative to the amplifier's own source voltage E.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from auralize.circuit import twoport
from auralize.circuit.cable import Cable
from auralize.circuit.conductor import Complex, Real
from auralize.circuit.loudspeaker import Load


@dataclass(frozen=True)
class Amplifier:
    """Output ``resistance`` in ohm and ``inductance`` in H, in series with an ideal source."""

    resistance: float
    inductance: float = 0.0

    def impedance(self, frequency: Real) -> Complex:
        """ohm."""
        s = 2j * np.pi * np.asarray(frequency, dtype=np.float64)
        return np.asarray(self.resistance + s * self.inductance, dtype=np.complex128)


@dataclass(frozen=True)
class Run:
    """``length`` m of cable, fed from the end of another run or (None) from the amplifier.

    ``added`` is what the lay adds to the straight cable, in ohm for the whole run, spread along it.
    """

    cable: Cable
    length: float
    fed_from: str | None = None
    added: Callable[[Real], Complex] | None = None

    def series(self, frequency: Real) -> Complex:
        """Series impedance in ohm of the whole run, there and back."""
        straight = self.cable.series(frequency) * self.length
        return straight if self.added is None else straight + self.added(frequency)

    def two_port(self, frequency: Real) -> Complex:
        """Chain matrix, shape (frequencies, 2, 2)."""
        per_metre = self.series(frequency) / self.length
        return twoport.line(per_metre, self.cable.shunt(frequency), self.length)


@dataclass(frozen=True)
class Connected:
    """A loudspeaker ``load`` at the far end of run ``at`` (None: at the amplifier itself)."""

    load: Load
    at: str | None


@dataclass(frozen=True)
class Network:
    """Runs and loudspeakers by name. Raises ValueError where they do not form a tree."""

    amplifier: Amplifier
    runs: Mapping[str, Run]
    loads: Mapping[str, Connected]

    def __post_init__(self) -> None:
        if not self.loads:
            raise ValueError("nothing is connected: at least one load is needed")
        for name, run in self.runs.items():
            if run.fed_from is not None and run.fed_from not in self.runs:
                raise ValueError(f"run {name!r} is fed from {run.fed_from!r}, which is no run")
        for name, connected in self.loads.items():
            if connected.at is not None and connected.at not in self.runs:
                raise ValueError(
                    f"load {name!r} is at the end of {connected.at!r}, which is no run"
                )
        self.outwards()

    def outwards(self) -> list[str]:
        """Names of the runs, each after the one that feeds it."""
        ordered: list[str] = []
        waiting = dict(self.runs)
        while waiting:
            ready = [n for n, r in waiting.items() if r.fed_from is None or r.fed_from in ordered]
            if not ready:
                raise ValueError(f"the runs {', '.join(waiting)} feed each other in a circle")
            for name in ready:
                ordered.append(name)
                del waiting[name]
        return ordered

    def path(self, load: str) -> list[str]:
        """Names of the runs between the amplifier and a loudspeaker, nearest to the amplifier first."""
        way: list[str] = []
        at = self.loads[load].at
        while at is not None:
            way.append(at)
            at = self.runs[at].fed_from
        return way[::-1]


@dataclass(frozen=True)
class Solution:
    """Complex voltages over ``frequency`` in Hz, relative to the amplifier's source voltage.

    ``receiving`` is by loudspeaker. ``input_power`` is what leaves the amplifier's terminals and
    ``load_power`` what reaches each loudspeaker, both as Re(V I*) in siemens (per volt squared of E).
    """

    frequency: Real
    sending: Complex
    receiving: Mapping[str, Complex]
    input_power: Real
    load_power: Mapping[str, Real]

    def drop(self, load: str, conductors: int = 2) -> Complex:
        """Sending less receiving, over both conductors or (1) over one: half, as the two are equal."""
        if conductors not in (1, 2):
            raise ValueError(f"a run has one or two conductors to listen over, not {conductors}")
        return (self.sending - self.receiving[load]) * (0.5 * conductors)

    def cable_share(self) -> Real:
        """Share of the amplifier's output power that all runs together turn into heat, 0 to 1."""
        arrived = np.sum(list(self.load_power.values()), axis=0)
        return 1.0 - arrived / self.input_power


def solve(network: Network, frequency: Real | Sequence[float]) -> Solution:
    """Voltages and powers at ``frequency`` in Hz (0 to `cable.TABLE_TOP`)."""
    f = twoport.frequencies(np.asarray(frequency))
    two_ports = {name: run.two_port(f) for name, run in network.runs.items()}
    hanging = _hanging(network, network.loads, two_ports, f)
    sending = 1.0 / (1.0 + network.amplifier.impedance(f) * hanging[None])
    voltage: dict[str | None, Complex] = {None: sending}
    for name in network.outwards():
        ratio = twoport.voltage_ratio(two_ports[name], hanging[name])
        voltage[name] = voltage[network.runs[name].fed_from] * ratio
    receiving = {n: voltage[c.at] for n, c in network.loads.items()}
    return Solution(
        frequency=f,
        sending=sending,
        receiving=receiving,
        input_power=np.abs(sending) ** 2 * hanging[None].real,
        load_power={
            n: np.abs(receiving[n]) ** 2 * (1.0 / c.load.impedance(f)).real
            for n, c in network.loads.items()
        },
    )


def source_impedance(network: Network, load: str, frequency: Real | Sequence[float]) -> Complex:
    """Impedance in ohm that a loudspeaker sees looking back along its run, itself taken off."""
    f = twoport.frequencies(np.asarray(frequency))
    path = network.path(load)
    others = {n: c for n, c in network.loads.items() if n != load}
    two_ports = {name: run.two_port(f) for name, run in network.runs.items()}
    branches = {n: r for n, r in two_ports.items() if n not in path}
    hanging = _hanging(network, others, branches, f)
    seen = network.amplifier.impedance(f)
    seen = seen / (1.0 + seen * hanging[None])
    for name in path:
        m = two_ports[name]
        # Looking into the far end of a reciprocal line: the chain matrix with A and D swapped.
        seen = (m[..., 1, 1] * seen + m[..., 0, 1]) / (m[..., 1, 0] * seen + m[..., 0, 0])
        seen = seen / (1.0 + seen * hanging[name])
    return seen


def _hanging(
    network: Network, loads: Mapping[str, Connected], two_ports: Mapping[str, Complex], f: Real
) -> dict[str | None, Complex]:
    """Admittance in S at the far end of each run (None: at the amplifier): loads and further runs.

    Runs that ``two_ports`` leaves out hang on nothing.
    """
    order = network.outwards()
    hanging: dict[str | None, Complex] = {n: np.zeros(f.shape, complex) for n in (None, *order)}
    for connected in loads.values():
        hanging[connected.at] = hanging[connected.at] + 1.0 / connected.load.impedance(f)
    for name in reversed(order):
        if name in two_ports:
            feeder = network.runs[name].fed_from
            seen = twoport.input_admittance(two_ports[name], hanging[name])
            hanging[feeder] = hanging[feeder] + seen
    return hanging
