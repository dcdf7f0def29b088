"""The cheapest of choices and steps that keeps a requirement: nominally, and in most of all cases."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from auralize.circuit.conductor import Real
from auralize.errors import RequestError
from auralize.rig.choice import Choice
from auralize.rig.reading import Rig
from auralize.rig.table import guess
from auralize.rig.varied import Place, VariedChoice
from auralize.sweep.case_figures import CaseFigures
from auralize.sweep.cases import Cases
from auralize.sweep.percentiles import percentiles
from auralize.sweep.requirement import Requirement, measured
from auralize.sweep.solving import solve_all, solve_nominal

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
    """Of each cable, by its name; nominal."""
    cost: float
    """The sum of lengths times prices."""
    nominal: float
    """What the requirement limits (see `requirement.measured`), all tolerances at their nominal values."""
    in_most: float
    """The same, which `MOST_OF` per cent of the draws do not exceed."""
    share: float
    """Of the draws that keep the requirement, 0 to 1."""


@dataclass(frozen=True)
class CheapestOne:
    """The cheapest that does, or, where none does, the one that comes nearest."""

    priced: PricedChoice
    does: bool


@dataclass(frozen=True)
class Cheapest:
    """What was asked for, and what was found."""

    requirement: Requirement
    prices: Prices
    nominal: CheapestOne
    """All tolerances at their nominal values."""
    in_most: CheapestOne | None
    """In at least `MOST_OF` per cent of the draws; None where nothing is drawn."""


@dataclass(frozen=True)
class Costs:
    """What every choice costs at every step."""

    prices: Prices
    metres: Sequence[Sequence[Mapping[str, float]]]
    """Of each cable, by choice and step; nominal."""
    cost: Real
    """Shape (choices, steps)."""

    @classmethod
    def of(cls, rig: Rig, choices: Sequence[Choice], cases: Cases, prices: Prices) -> Costs:
        """Raises RequestError where a cable that is used has no price, or a price no cable of the rig."""
        steps = _steps(cases)
        metres = [_metres(rig, choice, cases, steps) for choice in choices]
        used = list(dict.fromkeys(name for row in metres for at in row for name in at))
        _check(prices, used, list(dict.fromkeys([*used, *rig.data.get("cables", {})])))
        cost = [[sum(m * prices[name] for name, m in at.items()) for at in row] for row in metres]
        return cls(prices, metres, np.array(cost, dtype=np.float64))


def _check(prices: Prices, used: Sequence[str], known: Sequence[str]) -> None:
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
    if missing := [name for name in used if name not in prices]:
        raise RequestError(
            f"price: cable {missing[0]!r} has none; right is one for each of {', '.join(used)}"
        )


def cheapest(
    rig: Rig,
    choices: Sequence[Choice],
    cases: Cases,
    found: Sequence[CaseFigures],
    requirement: Requirement,
    costs: Costs,
) -> Cheapest:
    """The cheapest by nominal lengths, ``found`` being all cases of each choice.

    Of two that cost the same, the one that keeps more.
    """
    steps, cost = _steps(cases), costs.cost
    nominal = np.array([measured(one, requirement.kind) for one in _settled(rig, choices, cases)])
    drawn = np.array([measured(one, requirement.kind) for one in found])
    drawn = drawn.reshape(len(choices), -1, cases.grid)
    in_most = np.array([percentiles(one, [MOST_OF])[0] for one in drawn])
    share = np.mean(drawn <= requirement.most, axis=1)

    def picked(values: Real) -> CheapestOne:
        place, does = pick(cost.ravel(), values.ravel(), requirement.most)
        choice, step = divmod(place, cases.grid)
        priced = PricedChoice(
            choices[choice].name,
            tuple(
                stepped.shown[stepped.values.index(steps[step][stepped.place])]
                for stepped in cases.steps
            ),
            costs.metres[choice][step],
            *(float(one[choice, step]) for one in (cost, nominal, in_most, share)),
        )
        return CheapestOne(priced, does)

    return Cheapest(
        requirement, costs.prices, picked(nominal), picked(in_most) if cases.tolerances else None
    )


def pick(cost: Real, values: Real, most: float) -> tuple[int, bool]:
    """The place of the least cost among values up to ``most``, True; else of the least value, False."""
    does = values <= most
    if not does.any():
        return int(np.lexsort((cost, values))[0]), False
    return int(np.lexsort((values, np.where(does, cost, np.inf)))[0]), True


def _steps(cases: Cases) -> list[dict[Place, Any]]:
    """The stepped values at each step."""
    columns = cases.values(0, cases.grid)
    return [
        {stepped.place: columns[stepped.place][at] for stepped in cases.steps}
        for at in range(cases.grid)
    ]


def _settled(rig: Rig, choices: Sequence[Choice], cases: Cases) -> list[CaseFigures]:
    """The figures of all steps, tolerances at their nominal values."""
    if not cases.steps:
        return solve_nominal(rig, choices, cases)
    return solve_all(rig, choices, Cases((*cases.held(), *cases.steps)))


def _metres(
    rig: Rig, choice: Choice, cases: Cases, steps: Sequence[Mapping[Place, Any]]
) -> list[dict[str, float]]:
    """Metres of each cable at each step."""
    values = [{**cases.nominal, **at} for at in steps]
    varied = VariedChoice(rig, choice, [*values[0]])
    return [_lengths(varied.at(one)) for one in values]


def _lengths(choice: Choice) -> dict[str, float]:
    metres: dict[str, float] = {}
    for name, run in choice.runs.items():
        metres[run.cable_name] = metres.get(run.cable_name, 0.0) + choice.network.runs[name].length
    return metres
