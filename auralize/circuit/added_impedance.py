"""What the lay of a cable on the day adds to its straight impedance: coils, split coils, eights.

All results are series impedance in ohm of the whole run (loop), to be added to the straight model's
impedance for the same length. The straight model keeps each conductor's internal impedance and the
field of the pair; the difference is formed before the wire's radius enters, so no digits cancel.

    Z_lay(f) = j omega (L_turns + L_twist) + Z_crowding(f) + j omega L_iron(f)

L_turns: currents spread evenly in the wires (low frequency); thin rings, so good to about (spacing /
radius of the coil)^2. Z_crowding: eddy currents that the field of the other turns drives in each
wire (proximity) beyond those of the straight pair. Wires answer as dipoles that drive one another;
the field is taken as even across a wire. Against a multipole solution of the whole bundle, up to
20 kHz and down to 1.3 wire diameters between centres, resistance of straight and lay together is
right within 1 % for split coils, 5 % for a flat twin up to 4 mm2 (thicker ones with thin walls lose up
to 8 % of it at 6 mm2, 10 % at 10 mm2, 12 % at 16 mm2: always too little), 2 % for random orientation
(tests), and about 15 % for eights, whose dipoles are left uncoupled. Re Z_crowding may be negative,
where turns undo part of the pair's own proximity loss; straight and lay together never are. Capacitance
between turns is left out: valid well below the coil's own resonance. Of hundreds of turns or figures the far
ones are taken together (`groups`, `paths`), which moves what is added by under 1e-3 (along one
conductor: 2e-3 of the larger) where it does not itself cancel to next to nothing (tests).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Final, get_args

import numpy as np

from auralize.circuit.coil import (
    ROUNDING,
    Packing,
    even_columns,
    require_positive,
    twist_inductance,
)
from auralize.circuit.coiled import INSIDE, coiled_effect, random_pair, sizes, turns_of
from auralize.circuit.conductor import Complex, Real
from auralize.circuit.figure_of_eight import eight_effect
from auralize.circuit.lay_effect import Effect, swapped
from auralize.circuit.lays import (
    Coiled,
    EightFacing,
    Facing,
    FigureOfEight,
    LaidCable,
    Lay,
    SplitCoils,
    Straight,
)
from auralize.circuit.solution import ACROSS, Across
from auralize.circuit.split_coils import split_effect

_PACKINGS: Final = get_args(Packing)
_ONE_WAY: Final = ("edge to edge", "stacked", "random")
# Facings that settle how many lie side by side, or to which it is all the same in the mean.
_MANY: Final = 1000
# Turns beyond which not every lay that may be is worked out.
_FRUSTRATED: Final = -0.5
# Mean cosine between three phases 120 degrees apart, the least that mutual neighbours can reach.


@dataclass(frozen=True)
class AddedRange:
    """What a lay adds over what is not known of it, as `added_by_conductor`; `nominal` is rendered.

    ``low`` and ``high``: least and most inductance over both conductors, over plus and over minus.
    """

    low: Mapping[Across, Complex]
    nominal: Complex
    high: Mapping[Across, Complex]
    assumption: str
    """What the nominal value takes for granted, in words."""


def added_impedance(lay: Lay, cable: LaidCable, length: float, frequency: Real) -> Complex:
    """Series impedance in ohm that the lay adds to ``length`` m of straight run, at Hz from 0.

    What is not coiled lies straight; its coupling to the coil is left out. Raises ValueError for
    geometry that cannot be.
    """
    return np.asarray(added_by_conductor(lay, cable, length, frequency).sum(axis=0))


def added_by_conductor(lay: Lay, cable: LaidCable, length: float, frequency: Real) -> Complex:
    """`added_impedance` along plus and along minus (see `Cable.by_conductor`), shape (2, frequencies)."""
    f = _checked(frequency)
    found = _effect(lay, cable, length).impedance(cable, np.atleast_1d(f))
    return found.reshape(2, *f.shape)


def added_range(lay: Lay, cable: LaidCable, length: float, frequency: Real) -> AddedRange:
    """`added_by_conductor` with its lowest and highest value (by inductance) over the unknowns."""
    frequency = np.atleast_1d(_checked(frequency))
    nominal = _effect(lay, cable, length)
    others, assumption = _alternatives(lay, cable, length)
    effects = [nominal, *others]
    solved: dict[int, Complex] = {}

    def impedance(effect: Effect) -> Complex:
        if id(effect) not in solved:
            solved[id(effect)] = effect.impedance(cable, frequency)
        return solved[id(effect)]

    low, high = {}, {}
    for across in ACROSS:
        low[across] = impedance(min(effects, key=lambda effect: _over(effect, across)))
        high[across] = impedance(max(effects, key=lambda effect: _over(effect, across)))
    return AddedRange(low, impedance(nominal), high, assumption)


def _over(effect: Effect, across: Across) -> float:
    plus, minus = effect.inductance
    return float({"both": plus + minus, "plus": plus, "minus": minus}[across])


@lru_cache(maxsize=32)
def _effect(lay: Lay, cable: LaidCable, length: float) -> Effect:
    """The lay and the twist of ``length`` m together; kept, as a range starts from the nominal one."""
    require_positive(length=length)
    if isinstance(lay, Straight):
        effect = Effect(np.zeros(2))
    elif isinstance(lay, Coiled) and lay.facing == "minus inside" and cable.minus is None:
        effect = swapped(_effect(replace(lay, facing="plus inside"), cable, length))
    elif isinstance(lay, Coiled):
        _fits(lay.winding.length, length)
        effect = coiled_effect(lay, cable)
    elif isinstance(lay, SplitCoils):
        _fits(max(lay.first.length, lay.second.length), length)
        effect = split_effect(lay, cable)
    else:
        _fits(lay.length, length)
        effect = eight_effect(lay, cable)
    if cable.lay_length is None:
        return effect
    return _twisted(effect, cable, length)


def _twisted(effect: Effect, cable: LaidCable, length: float) -> Effect:
    """With what the twist itself adds to ``length`` m, half of it along each conductor."""
    assert cable.lay_length is not None
    twist = length * twist_inductance(cable.spacing, cable.lay_length)
    return replace(effect, inductance=effect.inductance + 0.5 * twist)


def _fits(wound: float, length: float) -> None:
    if wound > length * (1.0 + ROUNDING):
        raise ValueError(f"{wound:.4g} m are coiled, and the run is only {length:g} m long")


def _alternatives(lay: Lay, cable: LaidCable, length: float) -> tuple[list[Effect], str]:
    """Other lays that the same words allow, and what the nominal one assumes."""
    if isinstance(lay, Straight):
        return [], "laid out straight"
    if isinstance(lay, SplitCoils):
        pairs = [(replace(lay.first, packing=p), replace(lay.second, packing=p)) for p in _PACKINGS]
        others: list[Lay] = [replace(lay, first=a, second=b) for a, b in pairs]
        words = f"turns packed {lay.first.packing} and {lay.second.packing}"
        return _feasible(others, lay, cable, length), words
    if isinstance(lay, Coiled) and cable.lay_length is not None:
        return _phases(lay, cable, length), "twist phases of the turns unrelated to one another"
    if isinstance(lay, Coiled) and lay.facing != "random":
        words = f"flat sides {lay.facing}, {lay.winding.packing}"
        return _feasible(_packings(lay, cable), lay, cable, length), words
    if cable.lay_length is not None or lay.facing != "random":
        return [], f"eights {lay.facing}"
    words = "flat sides turned at random, as no facing is given"
    if isinstance(lay, FigureOfEight):
        others = [replace(lay, facing=facing) for facing in get_args(EightFacing)]
    else:
        facings = [replace(lay, facing=facing) for facing in get_args(Facing)]
        others = [other for facing in facings for other in _packings(facing, cable)]
    return _feasible(others, lay, cable, length), words


def _packings(lay: Coiled, cable: LaidCable) -> list[Lay]:
    """The lay in each packing; where its width is not given, in other numbers of columns too.

    Of thousands of turns only in one layer, as each of these takes seconds.
    """
    winding, turns = lay.winding, math.ceil(lay.winding.turns)
    few = turns <= _MANY
    packings = _PACKINGS if few else (winding.packing,)
    lays: list[Lay] = [replace(lay, winding=replace(winding, packing=p)) for p in packings]
    if lay.facing in _ONE_WAY or winding.width is not None:
        return lays
    along, up = sizes(lay.facing, cable)
    columns = even_columns(turns, along, up)
    widths = {math.ceil(columns / 2), min(2 * columns, turns)} if few else set()
    if lay.facing in INSIDE:  # for the others one layer is a facing of its own
        widths.add(turns)
    for some in sorted(widths):
        wide = replace(winding, packing="square", width=some * along)
        lays.append(replace(lay, winding=wide))
    return lays


def _phases(lay: Coiled, cable: LaidCable, length: float) -> list[Effect]:
    """The twisted pair's turns least and most in phase, as if they kept it all round."""
    turns = turns_of(lay, cable)
    extremes = [random_pair(turns, cable, cosine) for cosine in (_FRUSTRATED, 1.0)]
    return [_twisted(effect, cable, length) for effect in extremes]


def _feasible(lays: list[Lay], known: Lay, cable: LaidCable, length: float) -> list[Effect]:
    """Effects of those lays, but the ``known``, whose turns find room; a looser one may not."""
    effects = []
    for lay in (lay for lay in lays if lay != known):
        try:
            effects.append(_effect(lay, cable, length))
        except ValueError:
            continue
    return effects


def _checked(frequency: Real) -> Real:
    frequency = np.asarray(frequency, dtype=np.float64)
    if not np.all(np.isfinite(frequency) & (frequency >= 0.0)):
        raise ValueError("frequencies must be 0 Hz or above, and finite")
    return frequency
