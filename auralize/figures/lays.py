"""What the lay of a run adds to the same run laid straight, with the range of what is open."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from auralize.circuit.levels import loss_db
from auralize.circuit.network import Network
from auralize.circuit.solution import solve
from auralize.figures.reference import REFERENCE
from auralize.rig.choice import Choice
from auralize.rig.lays import Added, ReadLay


@dataclass(frozen=True)
class Spread:
    """A value as rendered, and its lowest and highest over what a description leaves open."""

    low: float
    rendered: float
    high: float


@dataclass(frozen=True)
class LayFigures:
    """What the lay of one run adds to the same run laid straight."""

    run: str
    lay: str
    added_uh: Spread
    """Inductance at 1 kHz in microhenry."""
    added_milliohm: Spread
    """Resistance at 10 kHz."""
    db_10khz: Spread
    """Change of the loss at the loudspeaker; below 0 where level is lost."""
    db_20khz: Spread
    assumption: str
    """What the rendered value takes for granted."""
    coiled: bool


def lay_figures(choice: Choice, name: str, lay: ReadLay) -> LayFigures:
    """What the lay of a run adds, as rendered and over what is open."""
    frequency = np.array([REFERENCE, 1e4, 2e4])
    spread = lay.spread()
    variants = [added(frequency) for added in (spread.low, lay.nominal, spread.high)]
    straight = loss_db(solve(_with_lay(choice.network, name, None), frequency), choice.listen)
    changes = [
        loss_db(solve(_with_lay(choice.network, name, added), frequency), choice.listen) - straight
        for added in (spread.low, lay.nominal, spread.high)
    ]
    return LayFigures(
        run=name,
        lay=lay.words,
        added_uh=_spread([z[0].imag / (2.0 * np.pi * REFERENCE) * 1e6 for z in variants]),
        added_milliohm=_spread([z[1].real * 1e3 for z in variants]),
        db_10khz=_spread([change[1] for change in changes]),
        db_20khz=_spread([change[2] for change in changes]),
        assumption=spread.assumption,
        coiled=lay.coiled,
    )


def _with_lay(network: Network, name: str, added: Added | None) -> Network:
    run = replace(network.runs[name], added=added)
    return replace(network, runs={**network.runs, name: run})


def _spread(values: Sequence[float]) -> Spread:
    return Spread(float(min(values)), float(values[1]), float(max(values)))
