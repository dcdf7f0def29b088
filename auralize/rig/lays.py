"""The lay of a run in a rig file: how its cable lies on the day, and what that adds."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import Final, cast, get_args

import numpy as np

from auralize.circuit.added_impedance import added_by_conductor, added_range
from auralize.circuit.cable import TABLE_TOP
from auralize.circuit.coil import Packing, Winding
from auralize.circuit.conductor import Complex, Real
from auralize.circuit.frequency_table import ImpedanceTable
from auralize.circuit.iron import IronBar
from auralize.circuit.lays import (
    Coiled,
    CoilPlacing,
    EightFacing,
    Facing,
    FigureOfEight,
    LaidCable,
    Lay,
    SplitCoils,
    Straight,
    on_reel,
)
from auralize.circuit.solution import ACROSS, Across
from auralize.errors import RigError
from auralize.rig.cables import ReadCable
from auralize.rig.table import Table
from auralize.rig.work import working_out
from auralize.units import show_length

MOST_TURNS: Final = 10_000.0
MOST_FIGURES: Final = 1_000.0
SHAPES: Final = ("straight", "coiled", "split coils", "figure of eight")

# S/m and relative permeability at the small fields of a loudspeaker cable: common practice, no source.
IRONS: Final = {
    "mild steel": (6.0e6, 200.0),
    "stainless steel": (1.4e6, 1.05),
    "cast iron": (1.5e6, 100.0),
}

# Hz; steel changes from a few hundredths of a hertz on. 16 points a decade, quintic splines.
_FOOT: Final = 0.01
_GRID: Final = np.geomspace(_FOOT, TABLE_TOP, 129)

Added = Callable[[Real], Complex]
"""Impedance in ohm that a lay adds to a whole run along plus and minus, over frequency in Hz."""


@dataclass(frozen=True)
class ReadLay:
    """A lay in words, and what it adds to its run as rendered."""

    words: str
    nominal: Added
    spread: Callable[[], LayRange] = field(compare=False)
    """Solves the lays that the description leaves open; slower (seconds for thousands of turns)."""
    coiled: bool
    """True where cable lies on itself and cannot shed its heat."""


@dataclass(frozen=True)
class LayRange:
    """The lowest and highest addition that a description leaves open, and what the nominal one assumes.

    Over both conductors, over plus and over minus.
    """

    low: Mapping[Across, Added]
    high: Mapping[Across, Added]
    assumption: str


def read_lay(run: Table, read: ReadCable, length: float) -> ReadLay | None:
    """Read [runs.NAME.lay] of a run of ``length`` m; None where the lay adds nothing. Raises RigError."""
    table = run.table("lay")
    shape = table.one_of("shape", SHAPES, "straight")
    laid = read.shape
    if laid is None:
        return _without_shape(table, shape, read)
    try:
        lay = _READERS[shape](table, laid, length)
        table.finish()
        if shape == "straight" and laid.lay_length is None:
            return None
        told = f"the lay of run {run.place[-1]}: {_words(lay)}"
        with working_out(told):
            nominal = _nominal(lay, laid, length)
    except RigError:
        raise
    except ValueError as error:  # geometry that cannot be
        raise table.refuse(None, str(error)) from None

    def spread() -> LayRange:
        with working_out(told):
            return _spread(lay, laid, length)

    return ReadLay(_words(lay), nominal, spread, shape != "straight")


def _without_shape(table: Table, shape: str, read: ReadCable) -> ReadLay | None:
    """Cables of other constructions: those without a field outside may be coiled, which adds nothing."""
    if shape == "coiled" and read.closed:
        table.finish_any()
        words = "coiled; it has no field outside to speak of"
        nothing: Mapping[Across, Added] = dict.fromkeys(ACROSS, _nothing)
        return ReadLay(
            words, _nothing, lambda: LayRange(nothing, nothing, "nothing added"), coiled=True
        )
    if shape != "straight":
        raise table.refuse(
            "shape",
            f"{shape!r} needs two conductors whose shape is known; right is a twin, a "
            "twisted pair or single cores",
        )
    table.finish()
    return None


def _nothing(frequency: Real) -> Complex:
    return np.zeros((2, *np.shape(frequency)), dtype=np.complex128)


@dataclass(frozen=True)
class _Twist:
    """What the twist adds to a straight run: in closed form, so that no table is needed."""

    laid: LaidCable
    length: float

    def __call__(self, frequency: Real) -> Complex:
        return added_by_conductor(Straight(), self.laid, self.length, frequency)


def _nominal(lay: Lay, laid: LaidCable, length: float) -> Added:
    return _Twist(laid, length) if isinstance(lay, Straight) else _tabled(lay, laid, length)


@lru_cache(maxsize=512)
def _tabled(lay: Lay, laid: LaidCable, length: float) -> Added:
    return ImpedanceTable(_GRID, added_by_conductor(lay, laid, length, _GRID))


@lru_cache(maxsize=32)
def _spread(lay: Lay, laid: LaidCable, length: float) -> LayRange:
    found = added_range(lay, laid, length, _GRID)
    low, high = (
        {across: ImpedanceTable(_GRID, z) for across, z in some.items()}
        for some in (found.low, found.high)
    )
    return LayRange(low, high, found.assumption)


def _straight(table: Table, laid: LaidCable, length: float) -> Lay:
    return Straight()


def _coiled(table: Table, laid: LaidCable, length: float) -> Lay:
    if "barrel" in table:
        barrel = table.quantity("barrel", "length", "1 cm", "5 m")
        width = table.quantity("width", "length", "1 cm", "5 m")
        winding = on_reel(barrel, width, _coiled_length(table, length), laid)
        winding = replace(winding, packing=_packing(table, "square"))
        _require_at_most(table, "coiled", winding.turns, MOST_TURNS, "turns")
    else:
        winding = _winding(table, length)
    table.asked |= {"barrel", "mean_diameter", "turns", "coiled"}
    usual = "random"
    facing = cast(Facing, table.one_of("facing", get_args(Facing), usual))
    return Coiled(winding, facing, _iron(table))


def _split(table: Table, laid: LaidCable, length: float) -> Lay:
    first = _winding(table, length)
    second = _winding(table.table("second"), length) if "second" in table else first
    table.asked |= {"second", "turns", "coiled"}
    # The return current flows back: coils wound the same way round carry it in opposed sense.
    wound = table.one_of("wound", ("same way", "opposite ways"), "same way")
    return SplitCoils(
        first,
        second,
        table.quantity("distance", "length", "0 m", "10 m"),
        cast(CoilPlacing, table.one_of("arrangement", get_args(CoilPlacing), "side by side")),
        "opposed" if wound == "same way" else "same",
        _iron(table),
    )


def _eight(table: Table, laid: LaidCable, length: float) -> Lay:
    one = FigureOfEight(
        table.quantity("lobe_length", "length", "10 cm", "10 m"),
        table.quantity("lobe_width", "length", "5 cm", "10 m"),
        1.0,
        cast(EightFacing, table.one_of("facing", get_args(EightFacing), "random")),
    )
    figures = _coiled_length(table, length) / one.length
    _require_at_most(table, "coiled", figures, MOST_FIGURES, "figures of eight")
    return replace(one, figures=figures)


_READERS: Final = {
    "straight": _straight,
    "coiled": _coiled,
    "split coils": _split,
    "figure of eight": _eight,
}


def _require_at_most(table: Table, key: str, count: float, most: float, what: str) -> None:
    """Raises RigError where a length makes more rounds than anyone winds, and than are summed here."""
    if count > most:
        raise table.refuse(
            key, f"makes {count:,.0f} {what}; right is a length that makes {most:,.0f} at most"
        )


def _coiled_length(table: Table, length: float) -> float:
    return table.quantity("coiled", "length", "10 cm", "10 km", f"{length!r} m")


def _winding(table: Table, length: float) -> Winding:
    """A coil by its mean diameter, and its turns or the length that is coiled (all, if not said)."""
    table.exclusive(("turns",), ("coiled",))
    diameter = table.quantity("mean_diameter", "length", "1 cm", "10 m")
    if "turns" in table:
        turns = table.number("turns", 1.0, MOST_TURNS)
    else:
        turns = _coiled_length(table, length) / (math.pi * diameter)
        _require_at_most(table, "coiled", turns, MOST_TURNS, "turns")
    width = table.quantity("width", "length", "1 mm", "5 m") if "width" in table else None
    table.asked |= {"turns", "coiled", "width"}
    return Winding(diameter, turns, _packing(table, "square"), width)


def _packing(table: Table, usual: Packing) -> Packing:
    return cast(Packing, table.one_of("packing", get_args(Packing), usual))


def _iron(table: Table) -> IronBar | None:
    """The bar or tube through the coil, if there is one."""
    if "iron" not in table:
        table.asked.add("iron")
        return None
    iron = table.table("iron")
    conductivity, permeability = IRONS[iron.one_of("material", IRONS, "mild steel")]
    diameter = iron.quantity("diameter", "length", "1 mm", "1 m")
    wall = iron.quantity("wall", "length", "0.1 mm", "50 cm") if "wall" in iron else diameter / 2.0
    if wall > diameter / 2.0:
        raise iron.refuse(
            "wall", "the wall is thicker than half the tube; right is up to its radius"
        )
    bar = IronBar(
        diameter,
        iron.quantity("length", "length", "5 mm", "5 m"),
        iron.number("conductivity", 1e5, 1e8, conductivity),
        iron.number("permeability", 1.0, 1e4, permeability),
        bore=diameter - 2.0 * wall,
    )
    iron.asked.add("wall")
    iron.finish()
    return bar


def _words(lay: Lay) -> str:
    if isinstance(lay, Coiled):
        return f"{_coil(lay.winding)}{' round iron' if lay.iron else ''}"
    if isinstance(lay, SplitCoils):
        return (
            f"each conductor coiled by itself, {_coil(lay.first)}, {lay.arrangement}"
            f"{', round iron' if lay.iron else ''}"
        )
    if isinstance(lay, FigureOfEight):
        return f"{show_length(lay.length)} in {lay.figures:.3g} figures of eight"
    return "twist"


def _coil(winding: Winding) -> str:
    return (
        f"{show_length(winding.length)} in {winding.turns:.3g} turns, "
        f"{winding.mean_diameter * 100:.3g} cm mean diameter"
    )
