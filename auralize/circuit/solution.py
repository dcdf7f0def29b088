"""An installation solved: voltages, currents and powers everywhere, and what a loudspeaker looks back into.

All voltages are relative to the amplifier's own source voltage E.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import reduce
from typing import Final, Literal

import numpy as np

from auralize.circuit import twoport
from auralize.circuit.cable import SIDES, Cable, Side
from auralize.circuit.conductor import Complex, Real
from auralize.circuit.loudspeaker import Load
from auralize.circuit.network import Amplifier, Network
from auralize.circuit.transformer import Transformer

Across = Literal["both", "plus", "minus"]
"""Which conductors a drop is over, each by the terminal that it comes from."""
ACROSS: Final[tuple[Across, ...]] = ("both", "plus", "minus")


@dataclass(frozen=True)
class Flow:
    """Voltages, and currents outwards, at both ends of a run or transformer, per volt of E."""

    near_voltage: Complex
    near_current: Complex
    far_voltage: Complex
    far_current: Complex

    def kept(self) -> Real:
        """Power that stays in it, as Re(V I*) in siemens (per volt squared of E)."""
        return _power(self.near_voltage, self.near_current) - _power(
            self.far_voltage, self.far_current
        )


def _power(voltage: Complex, current: Complex) -> Real:
    return (voltage * current.conj()).real


@dataclass(frozen=True)
class Solution:
    """Complex voltages over ``frequency`` in Hz, relative to the amplifier's source voltage.

    ``receiving`` and ``current`` are by loudspeaker, ``flows`` by run and transformer.
    ``input_power`` is what leaves the amplifier's terminals and ``load_power`` what reaches each
    loudspeaker, both as Re(V I*) in siemens (per volt squared of E).
    """

    network: Network
    frequency: Real
    sending: Complex
    sent_current: Complex
    receiving: Mapping[str, Complex]
    current: Mapping[str, Complex]
    flows: Mapping[str, Flow]

    @property
    def input_power(self) -> Real:
        """S."""
        return _power(self.sending, self.sent_current)

    @property
    def load_power(self) -> Mapping[str, Real]:
        """S, by loudspeaker."""
        return {n: _power(v, self.current[n]) for n, v in self.receiving.items()}

    @property
    def presented(self) -> Complex:
        """Impedance in ohm that the amplifier's terminals see; infinite where nothing flows."""
        return twoport.impedance(twoport.port(self.sending, self.sent_current))

    def polarity(self, load: str) -> int:
        """-1 where a loudspeaker's plus and minus are swapped, else 1.

        `receiving` is between the conductors, as they come; its product with this is what moves the
        loudspeaker.
        """
        return -1 if self.network.loads[load].reversed else 1

    def reference(self, load: str) -> Complex:
        """What a loudspeaker would receive without any loss: sending, times the transformers' turns."""
        return self.sending * self.network.ratio(load)

    def drop(self, load: str, across: Across = "both") -> Complex:
        """Reference less receiving, joints included, over both conductors or over one of them.

        Over plus and over minus add up to over both. Raises ValueError for one where a transformer
        parts the conductors, or where a cable was measured as a loop.
        """
        if across == "both":
            return self.reference(load) - self.receiving[load]
        if across not in SIDES:
            raise ValueError(f"across {across!r} is not known; right is one of {', '.join(ACROSS)}")
        if len(self.network.way(load)) != len(self.network.path(load)):
            raise ValueError(
                f"there is a transformer on the way to {load!r}: no conductor runs all along it"
            )
        over = getattr(self.network.loads[load].contact, across) * self.current[load]
        return sum((self._along(name, across) for name in self.network.path(load)), over)

    def _along(self, run: str, side: Side) -> Complex:
        """Voltage along one conductor of a run, its joints included.

        Its share of the line's own drop is the same all along, as the lay is spread along the run.
        """
        ends, flow = self.network.runs[run], self.flows[run]
        try:
            along = ends.by_conductor(self.frequency)
        except ValueError as error:
            raise ValueError(f"run {run!r}: {error}") from None
        near, far = (
            contact.both * i
            for contact, i in ((ends.near, flow.near_current), (ends.far, flow.far_current))
        )
        line = flow.near_voltage - near - flow.far_voltage - far
        joints = getattr(ends.near, side) * flow.near_current
        joints = joints + getattr(ends.far, side) * flow.far_current
        return line * along[SIDES.index(side)] / along.sum(axis=0) + joints

    def run_power(self, run: str) -> Real:
        """Heat in the cable of a run without its joints, in S."""
        return self.flows[run].kept() - self.joint_power(run)

    def joint_power(self, run: str) -> Real:
        """Heat in the joints at both ends of a run, in S."""
        ends, flow = self.network.runs[run], self.flows[run]
        near, far = np.abs(flow.near_current) ** 2, np.abs(flow.far_current) ** 2
        return ends.near.both * near + ends.far.both * far

    def contact_power(self, load: str) -> Real:
        """Heat in the terminals of a loudspeaker, in S."""
        return self.network.loads[load].contact.both * np.abs(self.current[load]) ** 2

    def transformer_power(self, transformer: str) -> Real:
        """Heat in the windings and core of a transformer, in S."""
        return self.flows[transformer].kept()

    def cable_share(self) -> Real:
        """Share of the amplifier's output power that runs and joints turn into heat, 0 to 1.

        0 where no power flows.
        """
        inside = sum((self.transformer_power(n) for n in self.network.transformers), 0.0)
        arrived = np.sum(list(self.load_power.values()), axis=0) + inside
        idle = self.input_power == 0.0
        return np.where(idle, 0.0, 1.0 - arrived / np.where(idle, 1.0, self.input_power))


_Branch = tuple[Literal["part", "load"], str]


def solve(network: Network, frequency: Real | Sequence[float]) -> Solution:
    """Voltages, currents and powers at ``frequency`` in Hz (0 to `cable.TABLE_TOP`).

    Raises ValueError where an amplifier without output resistance feeds a short circuit.
    """
    f = twoport.frequencies(np.asarray(frequency))
    tree = _Tree(network, f)
    voltage, current = _sent(network.amplifier, tree.whole[None], f)
    at: dict[str | None, tuple[Complex, Complex]] = {None: (voltage, current)}
    flows: dict[str, Flow] = {}
    for name in network.outwards():
        feeder = network.feeder(name)
        branch: _Branch = ("part", name)
        scale = tree.scale(feeder, branch, *at[feeder])
        near, far = _scaled(tree.branches[feeder][branch], scale), tree.whole[name]
        at[name] = _scaled(far, scale * tree.factors.get(name, 1.0))
        flows[name] = Flow(*near, *at[name])
    ends = {
        name: _scaled(
            tree.port(connected.load), tree.scale(connected.at, ("load", name), *at[connected.at])
        )
        for name, connected in network.loads.items()
    }
    return Solution(
        network=network,
        frequency=f,
        sending=voltage,
        sent_current=current,
        receiving={name: v for name, (v, _) in ends.items()},
        current={name: i for name, (_, i) in ends.items()},
        flows=flows,
    )


def source_impedance(network: Network, load: str, frequency: Real | Sequence[float]) -> Complex:
    """Impedance in ohm that a loudspeaker sees looking back along its run, itself taken off.

    Its own terminals' contact resistance is part of it.
    """
    f = twoport.frequencies(np.asarray(frequency))
    tree = _Tree(network, f)
    seen = twoport.port(network.amplifier.impedance(f), 1.0)
    at: str | None = None
    for name in network.way(load):
        seen = twoport.in_parallel(seen, tree.all_at(at, but=("part", name)))
        seen = twoport.carried(twoport.turned(tree.two_port(name)), seen)
        at = name
    seen = twoport.in_parallel(seen, tree.all_at(at, but=("load", load)))
    return twoport.impedance(seen) + network.loads[load].contact.both


def _sent(amplifier: Amplifier, hanging: Complex, f: Real) -> tuple[Complex, Complex]:
    """Voltage and current at the amplifier's terminals for one volt behind its own impedance."""
    whole = hanging[:, 0] + amplifier.impedance(f) * hanging[:, 1]
    if (whole == 0.0).any():
        where = f[whole == 0.0][0]
        raise ValueError(
            f"an amplifier without output resistance feeds a short circuit at {where:g} Hz; "
            "give it, or what shorts it, a resistance"
        )
    return _scaled(hanging, 1.0 / whole)


def _scaled(port: Complex, scale: Complex) -> tuple[Complex, Complex]:
    return port[:, 0] * scale, port[:, 1] * scale


class _Tree:
    """What hangs where, as ports, from the loudspeakers inwards.

    ``branches`` by node and branch, as seen at the node; ``whole`` all at a node together (a node is
    the far end of the run or transformer of its name, None the amplifier's terminals); ``factors``
    that the chain matrices of transformers carry.
    """

    def __init__(self, network: Network, f: Real) -> None:
        self.factors: dict[str, Complex] = {}
        self.branches: dict[str | None, dict[_Branch, Complex]] = {None: {}}
        self.whole: dict[str | None, Complex] = {}
        self._network, self._f = network, f
        self._cables: dict[Cable, tuple[Complex, Complex]] = {}
        self._ports: dict[Load, Complex] = {}
        self._transformers: dict[Transformer, tuple[Complex, Complex]] = {}
        order = network.outwards()
        self.branches |= {name: {} for name in order}
        for name, connected in network.loads.items():
            contact = twoport.series(np.full(f.shape, connected.contact.both, dtype=np.complex128))
            port = self.port(connected.load)
            seen = twoport.carried(contact, port) if np.any(connected.contact.both) else port
            self.branches[connected.at]["load", name] = seen
        for name in reversed(order):
            self.whole[name] = self.all_at(name)
            seen = twoport.carried(self.two_port(name), self.whole[name])
            self.branches[network.feeder(name)]["part", name] = seen
        self.whole[None] = self.all_at(None)

    def port(self, load: Load) -> Complex:
        """Of a loudspeaker; one kind often stands in many places."""
        if load not in self._ports:
            self._ports[load] = load.port(self._f)
        return self._ports[load]

    def two_port(self, name: str) -> Complex:
        """Chain matrix of a run; that of a transformer times its factor, which is kept."""
        if name not in self._network.runs:
            transformer = self._network.transformers[name].transformer
            if transformer not in self._transformers:
                self._transformers[transformer] = transformer.two_port(self._f)
            matrix, self.factors[name] = self._transformers[transformer]
            return matrix
        run = self._network.runs[name]
        if run.cable not in self._cables:  # one cable often makes many runs
            cable = run.cable
            self._cables[cable] = cable.series(self._f), cable.shunt(self._f)
        return run.chain(*self._cables[run.cable], self._f)

    def all_at(self, node: str | None, but: _Branch | None = None) -> Complex:
        """Port of all branches at a node together, one left out; an open where there is none."""
        ports = [port for branch, port in self.branches[node].items() if branch != but]
        if not ports:
            return twoport.port(np.ones(self._f.shape), 0.0)
        return twoport.normal(reduce(twoport.in_parallel, ports))

    def scale(
        self, node: str | None, branch: _Branch, voltage: Complex, current: Complex
    ) -> Complex:
        """What a branch's port has to be multiplied by, voltage and current at its node being these.

        Several shorts at one node share its current evenly.
        """
        v, i = self.branches[node][branch][:, 0], self.branches[node][branch][:, 1]
        short = v == 0.0
        if not short.any():
            return voltage / v
        shorts = np.sum([port[:, 0] == 0.0 for port in self.branches[node].values()], axis=0)
        through = current / (np.maximum(shorts, 1) * np.where(short, i, 1.0))
        return np.where(short, through, voltage / np.where(short, 1.0, v))
