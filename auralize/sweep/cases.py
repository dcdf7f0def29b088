"""The cases of a sweep: every step of every stepped value, each with values drawn within tolerances."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import combinations
from typing import Any, Final

import numpy as np

from auralize.errors import RequestError
from auralize.rig.overlay import said_otherwise
from auralize.rig.place_words import value_words
from auralize.rig.stepped import SteppedValue
from auralize.rig.table import dotted
from auralize.rig.varied import Place
from auralize.sweep.uncertain import UncertainValue

MOST_CASES: Final = 1_000_000
"""A quarter of an hour and some 100 MB a choice."""


@dataclass(frozen=True)
class Cases:
    """Cases are numbered from 0, and told from 1.

    Case i has the step ``i % grid`` and the draw ``i // grid``: each draw goes through all steps, and
    more draws come behind those that are there. A draw depends on the seed, its own number and its
    place in the rig file, and on nothing else.
    """

    steps: tuple[SteppedValue, ...] = ()
    tolerances: tuple[UncertainValue, ...] = ()
    drawn: int = 1
    """Draws at each step; without tolerances there is 1."""
    seed: int = 1

    def __post_init__(self) -> None:
        """Raises RequestError for what cannot go together."""
        if not self.places:
            raise RequestError("nothing varies; right is at least one --steps or --tolerance")
        for one, other in combinations(self.places, 2):
            shorter = min(len(one), len(other))
            if one[:shorter] == other[:shorter] or one in said_otherwise(other):
                raise RequestError(
                    f"{dotted(one)} and {dotted(other)} say the same, or one is part of the other; "
                    "right is one of them"
                )
        if self.drawn < 1 or not 1 <= len(self) <= MOST_CASES:
            raise RequestError(
                f"{self.grid} steps with {self.drawn} draws each were asked for; right are 1 to "
                f"{MOST_CASES} cases in all"
            )

    @property
    def places(self) -> tuple[Place, ...]:
        """Of all that varies."""
        return (*(one.place for one in self.steps), *(one.place for one in self.tolerances))

    @property
    def grid(self) -> int:
        """How many steps there are, all stepped values combined."""
        return math.prod(len(one.values) for one in self.steps)

    def __len__(self) -> int:
        return self.grid * (self.drawn if self.tolerances else 1)

    def numbers(self, first: int, last: int) -> dict[Place, list[Any]]:
        """What varies, in the cases from ``first`` to before ``last``: numbers in their unit, or values."""
        at = np.arange(first, last)
        found: dict[Place, list[Any]] = {}
        each = self.grid
        for stepped in self.steps:
            each //= len(stepped.values)
            index = at % self.grid // each % len(stepped.values)
            found[stepped.place] = [stepped.values[i] for i in index]
        begin, end = first // self.grid, (last - 1) // self.grid + 1
        for uncertain in self.tolerances:
            chance = self._chance(uncertain.place, end)[begin:]
            found[uncertain.place] = uncertain.numbers(chance[at // self.grid - begin])
        return found

    def _chance(self, place: Place, count: int) -> Any:
        """The first draws of one value, 0 to below 1."""
        words = [self.seed, *dotted(place).encode()]
        return np.random.Generator(np.random.PCG64(np.random.SeedSequence(words))).random(count)

    def values(self, first: int, last: int) -> dict[Place, list[Any]]:
        """The same as a rig file has them."""
        found = self.numbers(first, last)
        for uncertain in self.tolerances:
            found[uncertain.place] = [uncertain.written(n) for n in found[uncertain.place]]
        return found

    @property
    def nominal(self) -> dict[Place, Any]:
        """The rig as it is, where no tolerance names a nominal value of its own."""
        return {u.place: u.nominal for u in self.tolerances if u.nominal is not None}

    def held(self, but: Place = ()) -> tuple[SteppedValue, ...]:
        """All tolerances at their nominal values, as steps of one value each, ``but`` for one place."""
        return tuple(
            SteppedValue(place, (value,), (value_words(value),))
            for place, value in self.nominal.items()
            if place != but
        )
