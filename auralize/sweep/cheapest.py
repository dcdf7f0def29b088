"""The cheapest of choices and steps that keeps all requirements: nominally, and in most of all cases."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from auralize.circuit.conductor import Real
from auralize.errors import RequestError
from auralize.rig.choice import Choice
from auralize.rig.reading import Rig
from auralize.rig.table import guess
from auralize.sweep.case_figures import CaseFigures
from auralize.sweep.cases import Cases
from auralize.sweep.percentiles import percentiles
from auralize.sweep.requirement import Requirement, excess, measured
from auralize.sweep.solving import cables_of, solve_all, solve_nominal

MOST_OF: Final = 95
"""Per cent of the cases in which it has to be kept."""
MOST_PRICE: Final = 1e9
Prices = Mapping[str, float]
"""Of a metre of each cable by its name, in whatever the user counts in."""


@dataclass(frozen=True)
class PricedChoice:
    """One choice at one step: what it costs, and what it keeps."""

    choice: str
    steps: tuple[str, ...]
    """Its values of what is stepped, in words."""
    metres: Mapping[str, float]
    """Of each cable that is used, by its name."""
    cost: float
    """The sum of lengths times prices."""
    measured: tuple[float, ...]
    """What each requirement limits (see `requirement.measured`)."""
    share: float
    """Of the draws that keep all requirements, 0 to 1."""


@dataclass(frozen=True)
class CheapestOne:
    """The cheapest that does, or, where none does, the one that comes nearest."""

    priced: PricedChoice
    does: bool


@dataclass(frozen=True)
class Cheapest:
    """What was asked for, and what was found."""

    requirements: Sequence[Requirement]
    prices: Prices
    nominal: CheapestOne
    """All tolerances at their nominal values."""
    in_most: CheapestOne | None
    """In at least `MOST_OF` per cent of the draws, which do not exceed its metres, cost and what is measured.

    None where nothing is drawn.
    """


def check_prices(rig: Rig, choices: Sequence[Choice], cases: Cases, prices: Prices) -> None:
    """Raise RequestError where a cable that is used has no price, or a price no cable of the rig."""
    known = list(dict.fromkeys(name for choice in choices for name in cables_of(rig, choice)))
    for name, price in prices.items():
        if name not in known:
            right = ", ".join(known) or "none, as there is no cable"
            raise RequestError(
                f"price: there is no cable {name!r}{guess(name, known)}; right is one of {right}"
            )
        if not 0.0 <= price <= MOST_PRICE:
            raise RequestError(
                f"price: {price:g} of {name} was found; right is 0 to {MOST_PRICE:g} a metre"
            )
    values = [(one.place, one.values) for one in cases.steps]
    values += [(one.place, one.values) for one in cases.tolerances]
    varied = [name for place, names in values if place[-1] == "cable" for name in names]
    installed = [run.cable_name for choice in choices for run in choice.runs.values()]
    _check_all_priced(varied or installed, prices)


def _check_all_priced(used: Sequence[str], prices: Prices) -> None:
    if missing := [name for name in used if name not in prices]:
        raise RequestError(
            f"price: cable {missing[0]!r} has none; right is one for each of {', '.join(dict.fromkeys(used))}"
        )


def cheapest(
    rig: Rig,
    choices: Sequence[Choice],
    cases: Cases,
    found: Sequence[CaseFigures],
    requirements: Sequence[Requirement],
    prices: Prices,
) -> Cheapest:
    """The cheapest by the lengths of each case, ``found`` being all cases of each choice.

    Of two that cost the same, the one that keeps more. Raises RequestError for a cable without a price.
    """
    share = np.array(
        [np.mean(_draws(excess(f, requirements), cases) <= 1.0, axis=0) for f in found]
    )

    def picked(solved: Sequence[CaseFigures]) -> CheapestOne:
        all_of = [_AtSteps.of(one, cases, requirements, prices) for one in solved]
        cost, over = (
            np.concatenate(v) for v in zip(*((o.cost, o.over) for o in all_of), strict=True)
        )
        place, does = pick(cost, over, 1.0)
        choice, step = divmod(place, cases.grid)
        return CheapestOne(all_of[choice].priced(cases, step, float(share[choice, step])), does)

    settled = _settled(rig, choices, cases) if cases.tolerances else found
    in_most = picked(found) if cases.tolerances else None
    return Cheapest(requirements, prices, picked(settled), in_most)


def pick(cost: Real, values: Real, most: float) -> tuple[int, bool]:
    """The place of the least cost among values up to ``most``, True; else of the least value, False."""
    does = values <= most
    if not does.any():
        return int(np.lexsort((cost, values))[0]), False
    return int(np.lexsort((values, np.where(does, cost, np.inf)))[0]), True


@dataclass(frozen=True)
class _AtSteps:
    """A choice at every step: of its draws what `MOST_OF` per cent do not exceed."""

    figures: CaseFigures
    metres: Real
    """Shape (steps, cables)."""
    cost: Real
    over: Real
    """See `requirement.excess`."""
    measured: Sequence[Real]
    """Of each requirement."""

    @classmethod
    def of(
        cls,
        figures: CaseFigures,
        cases: Cases,
        requirements: Sequence[Requirement],
        prices: Prices,
    ) -> _AtSteps:
        def most(values: Real) -> Real:
            return percentiles(_draws(values, cases), [MOST_OF])[0]

        used = np.flatnonzero(figures.metres.any(axis=0))
        _check_all_priced([figures.cables[at] for at in used], prices)
        each = np.array([prices.get(name, 0.0) for name in figures.cables])
        return cls(
            figures,
            most(figures.metres),
            most((figures.metres * each).sum(axis=1)),
            most(excess(figures, requirements)),
            [most(measured(figures, one.kind)) for one in requirements],
        )

    def priced(self, cases: Cases, step: int, share: float) -> PricedChoice:
        """One of them."""
        index = np.unravel_index(step, [len(one.values) for one in cases.steps])
        metres = zip(self.figures.cables, self.metres[step].tolist(), strict=True)
        return PricedChoice(
            self.figures.choice,
            tuple(one.shown[at] for one, at in zip(cases.steps, index, strict=True)),
            {name: length for name, length in metres if length > 0.0},
            float(self.cost[step]),
            tuple(float(one[step]) for one in self.measured),
            share,
        )


def _draws(values: Real, cases: Cases) -> Real:
    """By draw and step, of values by case in their first axis."""
    return values.reshape(-1, cases.grid, *values.shape[1:])


def _settled(rig: Rig, choices: Sequence[Choice], cases: Cases) -> list[CaseFigures]:
    """The figures of all steps, tolerances at their nominal values."""
    if not cases.steps:
        return solve_nominal(rig, choices, cases)
    return solve_all(rig, choices, Cases((*cases.held(), *cases.steps)))
