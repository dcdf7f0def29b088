"""What a lay is: a cable as a shape, and how it lies on the day (straight, coiled, in eights)."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from auralize.circuit.coil import ROUNDING, Winding, require_choice, require_positive
from auralize.circuit.conductor import Conductor
from auralize.circuit.iron import IronBar

Facing = Literal["aligned", "edge to edge", "stacked", "plus inside", "minus inside", "random"]
"""How the flat sides of an untwisted twin lie.

Both conductors at one radius: aligned, rows edge to edge and layers face to face; edge to edge, one
layer; stacked, face on face in the fewest piles that leave half the mean radius free. One conductor
on the inside of the other in every turn: plus inside, minus inside. random: every turn its own way.
"""
EightFacing = Literal["edge to edge", "stacked", "random"]
CoilPlacing = Literal["coaxial", "side by side"]
Sense = Literal["same", "opposed"]
"""Which way the loop's current goes round the two coils, seen from one side."""


@dataclass(frozen=True)
class LaidCable:
    """Two-conductor cable as a shape, lengths in m: conductors ``spacing`` apart between centres.

    ``core_diameter`` is one conductor with its insulation (the thicker), ``sheath`` the thickness of
    what lies round both, ``lay_length`` that of the twist (None: untwisted, a flat twin).
    ``conductor`` is that of plus, and of minus too unless that is given.
    """

    conductor: Conductor
    spacing: float
    core_diameter: float
    sheath: float = 0.0
    lay_length: float | None = None
    minus: Conductor | None = None

    def __post_init__(self) -> None:
        require_positive(spacing=self.spacing, core_diameter=self.core_diameter)
        if not 0.0 <= self.sheath < math.inf:
            raise ValueError(f"the sheath must be 0 or thicker, not {self.sheath:g} m")
        thickest = 2.0 * max(conductor.radius for conductor in self.conductors)
        if self.core_diameter < thickest:
            raise ValueError(
                f"a core {self.core_diameter:g} m across cannot hold a conductor "
                f"{thickest:g} m across"
            )
        if self.spacing < self.core_diameter * (1.0 - ROUNDING):
            raise ValueError(
                f"cores {self.core_diameter:g} m across cannot lie {self.spacing:g} m apart"
            )
        if self.lay_length is not None and not self.lay_length > math.pi * self.spacing:
            raise ValueError(
                f"a lay length of {self.lay_length:g} m is too short for a spacing of "
                f"{self.spacing:g} m; it must be over pi times the spacing"
            )

    @property
    def conductors(self) -> tuple[Conductor, Conductor]:
        """Plus and minus."""
        return self.conductor, self.minus or self.conductor

    @property
    def width(self) -> float:
        """Outer size in m across both conductors."""
        return self.spacing + self.core_diameter + 2.0 * self.sheath

    @property
    def thickness(self) -> float:
        """Outer size in m across one conductor; a twisted pair is round."""
        flat = self.core_diameter + 2.0 * self.sheath
        return flat if self.lay_length is None else self.width

    def require_flat_sides(self, facing: str) -> None:
        """Raises ValueError for a twisted pair, which has none that could lie in any way."""
        if self.lay_length is not None:
            raise ValueError(f"a twisted pair has no flat sides to lie {facing!r}")


def on_reel(barrel: float, width: float, length: float, cable: LaidCable) -> Winding:
    """``length`` m of the whole cable wound in square rows on a barrel of that diameter, in m."""
    require_positive(barrel=barrel, width=width, length=length)
    per_layer = math.floor(width / cable.width * (1.0 + ROUNDING))
    if per_layer < 1:
        raise ValueError(f"a reel {width:g} m wide cannot take a cable {cable.width:g} m wide")
    left, turns, diameter = length, 0.0, barrel + cable.thickness
    while left > 0.0:
        wound = min(per_layer, left / (math.pi * diameter))
        turns += wound
        left -= per_layer * math.pi * diameter
        diameter += 2.0 * cable.thickness
    return Winding(length / (math.pi * turns), turns, "square", width)


@dataclass(frozen=True)
class Straight:
    """Laid out; only a twist adds something."""


@dataclass(frozen=True)
class Coiled:
    """Both conductors coiled together. A twisted pair's turns have unrelated twist phases."""

    winding: Winding
    facing: Facing = "random"
    iron: IronBar | None = None

    def __post_init__(self) -> None:
        require_choice("facing", self.facing, Facing)


@dataclass(frozen=True)
class SplitCoils:
    """Each conductor coiled by itself, the centres of the coils ``distance`` m apart.

    ``sense`` is that of the current: conductors coiled the same way round from the same end carry
    it in opposed sense, as one is the return. Iron goes through the middle of the first coil.
    """

    first: Winding
    second: Winding
    distance: float
    arrangement: CoilPlacing = "coaxial"
    sense: Sense = "opposed"
    iron: IronBar | None = None

    def __post_init__(self) -> None:
        require_choice("arrangement", self.arrangement, CoilPlacing)
        require_choice("sense", self.sense, Sense)
        if not 0.0 <= self.distance < math.inf:
            raise ValueError(f"the coils' distance must be 0 or more, not {self.distance:g} m")


@dataclass(frozen=True)
class FigureOfEight:
    """Both conductors laid in ``figures`` eights on a floor; lobe sizes in m.

    stacked: on the broad face; edge to edge: on the narrow side. The path is x = l sin t,
    y = w/2 sin 2t, rising by the cable's height for each figure, twice that at the crossing.
    """

    lobe_length: float
    lobe_width: float
    figures: float
    facing: EightFacing = "random"

    def __post_init__(self) -> None:
        require_positive(lobe_length=self.lobe_length, lobe_width=self.lobe_width)
        require_choice("facing", self.facing, EightFacing)
        if not 1.0 <= self.figures < math.inf:
            raise ValueError(f"a figure-of-eight needs 1 figure or more, not {self.figures:g}")

    @property
    def length(self) -> float:
        """m of cable in the figures (their rise left out)."""
        t = np.linspace(0.0, 2.0 * np.pi, 4001)
        x, y = self.lobe_length * np.sin(t), 0.5 * self.lobe_width * np.sin(2.0 * t)
        return self.figures * float(np.hypot(np.diff(x), np.diff(y)).sum())


Lay = Straight | Coiled | SplitCoils | FigureOfEight
