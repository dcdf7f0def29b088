"""How far the figures of a choice go where its loudspeakers are known by their kind alone."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields, replace
from typing import Final

import numpy as np

from auralize.circuit.loudspeaker import Load
from auralize.circuit.typical import CORNERS, USUAL, Variant, varied
from auralize.figures.columns import MANY
from auralize.figures.lays import Spread
from auralize.rig.choice import Choice


@dataclass(frozen=True)
class Judged:
    """Of one choice."""

    loss_db: float
    """At the reference."""
    deviation_db: float
    """Without its sign."""
    drop_db: float
    """At the reference."""
    damping_factor: float


@dataclass(frozen=True)
class TypicalFigures:
    """The figures as rendered, and over all that such loudspeakers can be."""

    loads: tuple[str, ...]
    """Names of those that are typical."""
    loss_db: Spread
    deviation_db: Spread
    drop_db: Spread
    damping_factor: Spread
    find_out: str
    """What moves the figures most, and how to learn it."""


def typical_figures(choice: Choice, judge: Callable[[Choice], Judged]) -> TypicalFigures | None:
    """The range of what ``judge`` finds; None where no load is typical."""
    names = tuple(n for n, c in choice.network.loads.items() if _is_typical(c.load))
    if not names:
        return None
    corners = [judge(corner) for corner in variants(choice)]
    found = [judge(choice), *corners]
    spreads = {f.name: _spread([getattr(j, f.name) for j in found]) for f in fields(Judged)}
    return TypicalFigures(loads=names, find_out=_find_out(corners), **spreads)


def variants(choice: Choice) -> list[Choice]:
    """The choice with its typical loads at each corner of what they can be; none where none is typical."""
    if not any(_is_typical(connected.load) for connected in choice.network.loads.values()):
        return []
    return [as_variant(choice, variant) for variant in CORNERS]


LEFT_OPEN: Final = "what lay or loudspeaker leave open, `auralize figures` says"
"""Where a result has no range."""


def is_left_open(choice: Choice) -> bool:
    """Whether a lay, or a loudspeaker of which only the kind is known, leaves a range open."""
    coiled = any(run.lay is not None and run.lay.coiled for run in choice.runs.values())
    return coiled or bool(variants(choice))


def as_variant(choice: Choice, variant: Variant) -> Choice:
    """The choice with all its typical loads at one end of what they can be."""
    loads = {
        name: replace(connected, load=varied(connected.load, variant))
        for name, connected in choice.network.loads.items()
    }
    return replace(choice, network=replace(choice.network, loads=loads))


def _is_typical(load: Load) -> bool:
    return varied(load, CORNERS[0]) != varied(load, USUAL)


def _spread(values: Sequence[float]) -> Spread:
    """Of the value as rendered, and of all others."""
    return Spread(float(min(values)), float(values[0]), float(max(values)))


_WAYS: Final = {
    "resonance": "the resonance: measure the impedance from 10 Hz to 500 Hz, or ask the maker for "
    "the impedance curve",
    "lowest": "the lowest impedance: measure it, or ask the maker for the impedance curve",
    "inductance": "the inductance of the voice coil: measure the impedance from 1 kHz to 20 kHz, or ask "
    "the maker for the impedance curve",
}


def _find_out(corners: Sequence[Judged]) -> str:
    """The one of three by which loss, deviation and drop change most: its mean effect over all corners."""
    dB = np.array([[j.loss_db, j.deviation_db, j.drop_db] for j in corners])
    if not np.isfinite(dB).all():
        return _WAYS["lowest"]
    effects = {
        name: float(np.abs(np.array([getattr(v, name) for v in CORNERS]) @ dB).sum())
        for name in _WAYS
    }
    return _WAYS[max(effects, key=lambda name: effects[name])]


def typical_text(found: TypicalFigures) -> str:
    """The ranges as a sentence, and what to find out."""
    names = found.loads
    which = f"load {names[0]}" if len(names) == 1 else f"loads {', '.join(names)}"
    if len(names) > MANY:
        which = f"loads {names[0]} to {names[-1]}"
    return (
        f"Over all that {which} may be: loss {found.loss_db.text('+.2f')} dB, largest deviation "
        f"{found.deviation_db.text('.2f')} dB, drop {found.drop_db.text('+.2f')} dB at the same "
        f"frequency as the loss, damping factor {found.damping_factor.text('.3g')}. What matters most "
        f"here is {found.find_out}."
    )
