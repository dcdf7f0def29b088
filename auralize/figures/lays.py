"""What the lay of a run adds to the same run laid straight, with the range of what is open."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cache

import numpy as np

from auralize.circuit.cable import SIDES
from auralize.circuit.levels import drop_db, loss_db
from auralize.circuit.network import Network
from auralize.circuit.solution import Across, Solution, solve
from auralize.figures.reference import REFERENCE
from auralize.rig.choice import Choice
from auralize.rig.lays import Added, ReadLay
from auralize.units import rounded


@dataclass(frozen=True)
class Spread:
    """A value as rendered, and its lowest and highest over what a description leaves open."""

    low: float
    rendered: float
    high: float

    def text(self, form: str) -> str:
        """The value, and the range in brackets where there is one."""
        low, rendered, high = (rounded(v, form) for v in (self.low, self.rendered, self.high))
        return rendered if low == high else f"{rendered} ({low} to {high})"


@dataclass(frozen=True)
class ConductorFigures:
    """What a lay does along one conductor of a run."""

    times_straight: Spread
    """Inductance at 1 kHz over that of the same conductor laid straight."""
    drop_db_10khz: Spread
    """Change of the drop over this conductor, all the way to the loudspeaker; above 0: more of it."""


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
    conductors: dict[str, ConductorFigures]
    """Of plus and minus; none where a transformer parts them."""
    assumption: str
    """What the rendered value takes for granted."""
    coiled: bool


def lay_figures(choice: Choice, name: str, lay: ReadLay) -> LayFigures:
    """What the lay of a run adds, as rendered and over what is open."""
    frequency = np.array([REFERENCE, 1e4, 2e4])
    variants = _variants(lay, "both")
    added = [variant(frequency).sum(axis=0) for variant in variants]
    straight = loss_db(solve(_with_lay(choice.network, name, None), frequency), choice.listen)
    changes = [
        loss_db(solve(_with_lay(choice.network, name, variant), frequency), choice.listen)
        - straight
        for variant in variants
    ]
    return LayFigures(
        run=name,
        lay=lay.words,
        added_uh=_spread([z[0].imag / (2.0 * np.pi * REFERENCE) * 1e6 for z in added]),
        added_milliohm=_spread([z[1].real * 1e3 for z in added]),
        db_10khz=_spread([change[1] for change in changes]),
        db_20khz=_spread([change[2] for change in changes]),
        conductors=_conductors(choice, name, lay),
        assumption=lay.spread().assumption,
        coiled=lay.coiled,
    )


def extremes(choice: Choice, across: Across = "both") -> list[Choice]:
    """The choice with all lays on the way at their least, and at their most, of what is open."""
    lays = {name: choice.runs[name].lay for name in choice.network.path(choice.listen)}
    found = []
    for end in (0, -1):
        network = choice.network
        for name, lay in lays.items():
            if lay is not None:
                network = _with_lay(network, name, _variants(lay, across)[end])
        found.append(replace(choice, network=network))
    return found if any(lay is not None for lay in lays.values()) else []


def _conductors(choice: Choice, name: str, lay: ReadLay) -> dict[str, ConductorFigures]:
    @cache
    def solved(added: Added | None) -> Solution:
        return solve(_with_lay(choice.network, name, added), [1e4])

    try:
        return {
            across: ConductorFigures(
                _spread(_times_straight(choice, name, lay, index)),
                _spread(_drop_changes(choice, lay, across, solved)),
            )
            for index, across in enumerate(SIDES)
        }
    except ValueError:
        return {}


def _times_straight(choice: Choice, name: str, lay: ReadLay, index: int) -> list[float]:
    frequency = np.array([REFERENCE])
    run = choice.network.runs[name]
    straight = replace(run, added=None).by_conductor(frequency)[index, 0].imag
    return [
        float(1.0 + variant(frequency)[index, 0].imag / straight)
        for variant in _variants(lay, SIDES[index])
    ]


def _drop_changes(
    choice: Choice, lay: ReadLay, across: Across, solved: Callable[[Added | None], Solution]
) -> list[float]:
    def drop(added: Added | None) -> float:
        return float(drop_db(solved(added), choice.listen, across)[0])

    return [drop(variant) - drop(None) for variant in _variants(lay, across)]


def _variants(lay: ReadLay, across: Across) -> list[Added]:
    """The least, the rendered and the most inductance over both conductors, or over one."""
    spread = lay.spread()
    return [spread.low[across], lay.nominal, spread.high[across]]


def _with_lay(network: Network, name: str, added: Added | None) -> Network:
    run = replace(network.runs[name], added=added)
    return replace(network, runs={**network.runs, name: run})


def _spread(values: Sequence[float]) -> Spread:
    return Spread(float(min(values)), float(values[1]), float(max(values)))
