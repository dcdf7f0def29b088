"""Length and size: how bad an installation is, what of it is to blame, and the longest run that will do."""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from auralize.circuit.cable import Cable
from auralize.circuit.conductor import Complex, Real
from auralize.circuit.levels import loss_db
from auralize.circuit.network import PERFECT, Amplifier, Network, Placed, Run
from auralize.circuit.power import Drive, cable_share
from auralize.circuit.solution import solve, source_impedance
from auralize.circuit.transformer import lossless

METRIC_AREAS: Final = tuple(a * 1e-6 for a in (0.5, 0.75, 1.0, 1.5, 2.5, 4.0, 6.0, 10.0, 16.0))
"""m2; nominal areas of IEC 60228 in use for loudspeakers."""
EVEN_GAUGES: Final = tuple(range(20, 4, -2))
"""American wire gauges in common use for loudspeakers, the thinnest first."""


@dataclass(frozen=True)
class Measure:
    """How bad an installation is over frequencies in Hz; less is better."""

    frequency: Real
    over: Callable[[Network], Real]

    def __call__(self, network: Network) -> float:
        """At the worst of the frequencies."""
        return float(np.max(self.over(network)))

    def worst(self, network: Network) -> float:
        """Hz of that; the lowest of several."""
        return float(self.frequency[np.argmax(self.over(network))])


def loss_measure(loads: Sequence[str], frequency: Real, rest: Network | None = None) -> Measure:
    """Loss in dB at the worst of loudspeakers, less that of ``rest``, whose loss is not to count."""
    own = 0.0 if rest is None else _losses(rest, loads, frequency)

    def over(network: Network) -> Real:
        return np.max(-counted(_losses(network, loads, frequency), own), axis=0)

    return Measure(frequency, over)


def deviation_measure(
    loads: Sequence[str], frequency: Real, reference: float, rest: Network | None = None
) -> Measure:
    """Departure in dB of the loss (less that of ``rest``) from its value at ``reference`` Hz.

    At the worst of loudspeakers; infinite where any of them is silent.
    """
    points = np.concatenate([[reference], frequency])
    own = 0.0 if rest is None else _losses(rest, loads, points)

    def over(network: Network) -> Real:
        return np.max(departure(counted(_losses(network, loads, points), own)), axis=0)

    return Measure(frequency, over)


def _losses(network: Network, loads: Sequence[str], frequency: Real) -> Real:
    """dB, shape (loads, frequencies)."""
    solution = solve(network, frequency)
    return np.array([loss_db(solution, load) for load in loads])


def counted(loss: Real, own: Real | float) -> Real:
    """A loss in dB less what is not to count; silence of that is no level to be taken off."""
    return loss - np.where(np.isfinite(own), own, 0.0)


def departure(loss: Real) -> Real:
    """How far a loss in dB is from its first value, at all others; along the last axis.

    Infinite throughout where any of it is silent, as silence has no level to depart from.
    """
    silent = ~np.isfinite(loss).all(axis=-1, keepdims=True)
    heard = np.where(silent, 0.0, loss)
    return np.where(silent, math.inf, np.abs(heard[..., 1:] - heard[..., :1]))


def heat_measure(drive: Drive) -> Measure:
    """Share, 0 to 1, of the amplifier's power under a drive that runs and joints turn into heat."""

    def over(network: Network) -> Real:
        return np.array([cable_share(solve(network, drive.frequency), drive)])

    return Measure(np.full(1, np.nan), over)


def damping_measure(rated: Mapping[str, float], frequency: Real) -> Measure:
    """What the worst of loudspeakers sees looking back over its rated impedance in ohm.

    That is one over its damping factor.
    """

    def over(network: Network) -> Real:
        seen = [
            np.abs(source_impedance(network, load, frequency)) / nominal
            for load, nominal in rated.items()
        ]
        return np.max(seen, axis=0)

    return Measure(frequency, over)


def worst_of(measures: Sequence[Measure]) -> Measure:
    """Several as one: at the worst of all their frequencies."""
    if len(measures) == 1:
        return measures[0]
    frequency = np.concatenate([measure.frequency for measure in measures])
    return Measure(
        frequency,
        lambda network: np.concatenate([measure.over(network) for measure in measures]),
    )


# ---- parts taken out ------------------------------------------------------------------------------

_NO_LENGTH: Final = 1e-9
# m; of the worst cable that can be described 0.02 microohm.
_NO_RESISTANCE: Final = 1e-9
# ohm; none at all would not stand a shorted load.


def only(
    network: Network,
    *,
    runs: Collection[str] = (),
    joints: Collection[str] = (),
    terminals: Collection[str] = (),
    transformers: Collection[str] = (),
    amplifier: bool = False,
) -> Network:
    """The same installation with no loss anywhere but in the parts that are named."""

    def made(name: str, run: Run) -> Run:
        if name not in runs:
            run = replace(run, length=_NO_LENGTH, added=None)
        return run if name in joints else replace(run, near=PERFECT, far=PERFECT)

    def placed(name: str, part: Placed) -> Placed:
        if name in transformers:
            return part
        return replace(part, transformer=lossless(part.transformer))

    return replace(
        network,
        amplifier=network.amplifier if amplifier else Amplifier(_NO_RESISTANCE),
        runs={name: made(name, run) for name, run in network.runs.items()},
        loads={
            name: at if name in terminals else replace(at, contact=PERFECT)
            for name, at in network.loads.items()
        },
        transformers={name: placed(name, part) for name, part in network.transformers.items()},
    )


def transformers_alone(network: Network) -> Network:
    """The same installation with no loss but in its transformers, fed by its amplifier."""
    return only(network, transformers=tuple(network.transformers), amplifier=True)


@dataclass(frozen=True)
class _WithoutResistance:
    """A cable of copper that has none: what is left is its inductance, and what lies between."""

    cable: Cable

    def series(self, frequency: Real) -> Complex:
        return 1j * self.cable.series(frequency).imag

    def by_conductor(self, frequency: Real) -> Complex:
        return 1j * self.cable.by_conductor(frequency).imag

    def shunt(self, frequency: Real) -> Complex:
        return self.cable.shunt(frequency)


def without_resistance(network: Network, runs: Collection[str]) -> Network:
    """The same installation with runs of copper without resistance, such as no thickness has."""

    def made(run: Run) -> Run:
        added = run.added
        bare = None if added is None else (lambda f: 1j * added(f).imag)
        return replace(run, cable=_WithoutResistance(run.cable), added=bare)

    changed = {name: made(network.runs[name]) for name in runs}
    return replace(network, runs={**network.runs, **changed})


# ---- length ---------------------------------------------------------------------------------------

SHORTEST_RUN: Final = 0.1
"""m; below this nobody asks."""
_LENGTHS_PER_DECADE: Final = 20
_LENGTH_ACCURACY: Final = 1e-4
"""Relative."""


def longest_length(
    at: Callable[[float], Network | None],
    measure: Measure,
    tolerance: float,
    shortest: float,
    longest: float,
) -> float | None:
    """Length in m up to which a run keeps within ``tolerance``, all shorter ones down to one included.

    ``at`` builds the installation with the run of that length; None where there can be none, which ends
    the search. None where the shortest is too long already; ``longest`` where that still is within.
    Found by steps of 12 %, then halving to 1e-4: an excess over less than a step can be missed.
    """

    def within(length: float) -> bool:
        network = at(length)
        return network is not None and measure(network) <= tolerance

    steps = math.ceil(_LENGTHS_PER_DECADE * math.log10(longest / shortest)) + 1
    good = 0.0
    for length in np.geomspace(shortest, longest, max(steps, 2)):
        if not within(float(length)):
            break
        good = float(length)
    else:
        return longest
    if good == 0.0:
        return None
    bad = float(length)
    while bad / good > 1.0 + _LENGTH_ACCURACY:
        middle = math.sqrt(good * bad)
        good, bad = (middle, bad) if within(middle) else (good, middle)
    return good
