"""An installation: amplifier, a tree of runs and transformers, and the loudspeakers on it.

            Zamp    sending                      receiving
    (E)---[  ]---+----o=== run ===o---+------- loudspeaker
                 |                    +--o=== run ===o--- loudspeaker

E is the amplifier's own source voltage; `solution` says what becomes of it. Where many are
`stacked`, resistances, lengths and ratios are arrays, with a value at each frequency that is solved.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field

import numpy as np

from auralize.circuit import twoport
from auralize.circuit.cable import Cable
from auralize.circuit.conductor import Complex, Real
from auralize.circuit.loudspeaker import Load
from auralize.circuit.transformer import Transformer


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
class Contact:
    """Resistance in ohm that a joint, plug or terminal puts into each conductor."""

    plus: float = 0.0
    minus: float = 0.0

    def __post_init__(self) -> None:
        if not np.all(np.minimum(self.plus, self.minus) >= 0.0):
            raise ValueError("the resistance of a joint cannot be below zero")

    @property
    def both(self) -> float:
        """ohm in the loop."""
        return self.plus + self.minus


PERFECT = Contact()


@dataclass(frozen=True)
class Run:
    """``length`` m of cable, fed from the end of a run or transformer, or (None) from the amplifier.

    ``added`` is what the lay adds to the straight cable along plus and minus, in ohm for the whole run,
    shape (2, frequencies), spread along it. ``near`` and ``far`` are the joints at its two ends.
    """

    cable: Cable
    length: float
    fed_from: str | None = None
    added: Callable[[Real], Complex] | None = None
    near: Contact = PERFECT
    far: Contact = PERFECT

    def series(self, frequency: Real) -> Complex:
        """Series impedance in ohm of the whole run, there and back, without its joints."""
        straight = self.cable.series(frequency) * self.length
        return straight if self.added is None else straight + self.added(frequency).sum(axis=0)

    def by_conductor(self, frequency: Real) -> Complex:
        """What plus and minus each keep of `series` in ohm, shape (2, frequencies); see `Cable`.

        Raises ValueError where the cable was measured as a loop.
        """
        straight = self.cable.by_conductor(frequency) * self.length
        return straight if self.added is None else straight + self.added(frequency)

    def two_port(self, frequency: Real) -> Complex:
        """Chain matrix, shape (frequencies, 2, 2), with its joints."""
        return self.chain(self.cable.series(frequency), self.cable.shunt(frequency), frequency)

    def chain(self, series: Complex, shunt: Complex, frequency: Real) -> Complex:
        """`two_port` where the cable's impedance and admittance per metre are known already."""
        if self.added is not None:
            series = series + self.added(frequency).sum(axis=0) / self.length
        matrix = twoport.line(series, shunt, self.length)
        if np.any(self.near.both):
            matrix[..., 0, :] += np.expand_dims(self.near.both, -1) * matrix[..., 1, :]
        if np.any(self.far.both):
            matrix[..., :, 1] += np.expand_dims(self.far.both, -1) * matrix[..., :, 0]
        return matrix


@dataclass(frozen=True)
class Placed:
    """A ``transformer`` fed from the end of a run or transformer, or (None) from the amplifier."""

    transformer: Transformer
    fed_from: str | None = None


@dataclass(frozen=True)
class Connected:
    """A loudspeaker ``load`` at the far end of run or transformer ``at`` (None: at the amplifier).

    ``contact`` is that of its own terminals; ``reversed`` says that plus and minus are swapped there.
    """

    load: Load
    at: str | None
    contact: Contact = PERFECT
    reversed: bool = False


@dataclass(frozen=True)
class Network:
    """Runs, transformers and loudspeakers by name. Raises ValueError where they do not form a tree."""

    amplifier: Amplifier
    runs: Mapping[str, Run]
    loads: Mapping[str, Connected]
    transformers: Mapping[str, Placed] = field(default_factory=dict)

    def __post_init__(self) -> None:
        if not self.loads:
            raise ValueError("nothing is connected: at least one load is needed")
        for name in self.transformers:
            if name in self.runs:
                raise ValueError(f"{name!r} names both a run and a transformer")
        for name, part in self._parts():
            if part.fed_from is not None and part.fed_from not in self:
                kind = "run" if name in self.runs else "transformer"
                raise ValueError(f"{kind} {name!r} is fed from {part.fed_from!r}, which is no run")
        for name, connected in self.loads.items():
            if connected.at is not None and connected.at not in self:
                raise ValueError(
                    f"load {name!r} is at the end of {connected.at!r}, which is no run"
                )
        self.outwards()

    def __contains__(self, name: str) -> bool:
        """Whether a run or a transformer has this name."""
        return name in self.runs or name in self.transformers

    def _parts(self) -> Iterable[tuple[str, Run | Placed]]:
        yield from self.runs.items()
        yield from self.transformers.items()

    def feeder(self, name: str) -> str | None:
        """What a run or transformer is fed from; None is the amplifier."""
        return (self.runs[name] if name in self.runs else self.transformers[name]).fed_from

    def outwards(self) -> list[str]:
        """Names of runs and transformers, each after the one that feeds it."""
        fed: dict[str | None, list[str]] = {}
        for name, part in self._parts():
            fed.setdefault(part.fed_from, []).append(name)
        ordered = list(fed.get(None, ()))
        for name in ordered:  # grows while it is read
            ordered += fed.get(name, ())
        lost = [name for name, _ in self._parts() if name not in set(ordered)]
        if lost:
            raise ValueError(f"the runs {', '.join(lost)} feed each other in a circle")
        return ordered

    def way(self, load: str) -> list[str]:
        """Runs and transformers from the amplifier to a loudspeaker, nearest to the amplifier first."""
        way: list[str] = []
        at = self.loads[load].at
        while at is not None:
            way.append(at)
            at = self.feeder(at)
        return way[::-1]

    def path(self, load: str) -> list[str]:
        """Names of the runs between the amplifier and a loudspeaker, nearest to the amplifier first."""
        return [name for name in self.way(load) if name in self.runs]

    def ratio(self, load: str) -> float:
        """What the turns of the transformers on its way make of one volt; 1 without transformers."""
        product = 1.0
        for name in self.way(load):
            if name in self.transformers:
                product /= self.transformers[name].transformer.ratio
        return product
