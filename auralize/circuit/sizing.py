"""Length and size: how bad an installation is, and the longest run that keeps within a tolerance."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from auralize.circuit.levels import loss_db
from auralize.circuit.network import Network
from auralize.circuit.solution import solve

METRIC_AREAS: Final = tuple(a * 1e-6 for a in (0.5, 0.75, 1.0, 1.5, 2.5, 4.0, 6.0, 10.0, 16.0))
"""m2; nominal areas of IEC 60228 in use for loudspeakers."""
EVEN_GAUGES: Final = tuple(range(20, 4, -2))
"""American wire gauges in common use for loudspeakers, the thinnest first."""

Measure = Callable[[Network], float]
"""How bad an installation is; less is better."""


def loss_measure(load: str, frequency: Sequence[float]) -> Measure:
    """Largest loss in dB at a loudspeaker over frequencies in Hz."""
    return lambda network: float(np.max(-loss_db(solve(network, frequency), load)))


def deviation_measure(load: str, frequency: Sequence[float], reference: float = 1e3) -> Measure:
    """Largest departure in dB of the loss over frequencies from that at ``reference`` Hz."""

    def measure(network: Network) -> float:
        loss = loss_db(solve(network, [reference, *frequency]), load)
        if not np.isfinite(loss).all():  # silence has no level to depart from
            return math.inf
        return float(np.max(np.abs(loss[1:] - loss[0])))

    return measure


def heat_measure(frequency: Sequence[float]) -> Measure:
    """Largest share, 0 to 1, of the amplifier's power that runs and joints turn into heat."""
    return lambda network: float(np.max(solve(network, frequency).cable_share()))


SHORTEST_RUN: Final = 0.1
"""m; below this nobody asks."""
_LENGTHS_PER_DECADE: Final = 20
_LENGTH_ACCURACY: Final = 1e-4
"""Relative."""


def with_length(network: Network, run: str, length: float) -> Network:
    """The same installation with one run of another length in m; its lay scales with it."""
    old = network.runs[run]
    added = old.added
    scaled = None if added is None else lambda f: added(f) * (length / old.length)
    return replace(network, runs={**network.runs, run: replace(old, length=length, added=scaled)})


def longest_length(
    network: Network, run: str, measure: Measure, tolerance: float, longest: float = 10e3
) -> float | None:
    """Length in m up to which a run keeps within ``tolerance``, all shorter ones included.

    None where `SHORTEST_RUN` is too long already; ``longest`` where that still is within. Found by steps
    of 12 %, then halving to 1e-4: an excess over less than a step can be missed.
    """

    def within(length: float) -> bool:
        return measure(with_length(network, run, length)) <= tolerance

    steps = math.ceil(_LENGTHS_PER_DECADE * math.log10(longest / SHORTEST_RUN)) + 1
    good = 0.0
    for length in np.geomspace(SHORTEST_RUN, longest, max(steps, 2)):
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
