"""What came of a sweep in words: the cheapest that will do, and which value matters most."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Sequence

from auralize.figures.columns import WIDTH, pages, wrapped
from auralize.figures.fit import Kind
from auralize.sweep.alone import Alone, swing
from auralize.sweep.case_figures import CaseFigures
from auralize.sweep.cases import Cases
from auralize.sweep.cheapest import MOST_OF, Cheapest, CheapestOne, PricedChoice
from auralize.sweep.requirement import Requirement, cell, kind_words, measured_words, told


def as_cheapest(found: Cheapest, cases: Cases, figures: Sequence[CaseFigures]) -> str:
    """Two sentences: the cheapest in the nominal case, and in most of all cases; or what comes nearest."""
    wanted, kind = found.requirement, found.requirement.kind
    prices = ", ".join(f"{name} {_price(price)}" for name, price in found.prices.items())
    name = kind_words(kind, figures)
    head = f"Cheapest with a {name} of {wanted.words}, a metre costing {prices}:"
    nominal = measured_words(found.nominal.priced.nominal, kind)
    lines = [f"nominal: {_picked(found.nominal, cases)}, {nominal}"]
    if found.in_most is not None:
        lines.append(f"in at least {MOST_OF} % of cases: {_in_most(found.in_most, cases, wanted)}")
    return "\n".join([textwrap.fill(head, WIDTH), *map(wrapped, lines)])


def _price(price: float) -> str:
    """With two decimals, or more where it has more."""
    return max(f"{price:.2f}", f"{price:.12g}", key=len)


def _picked(picked: CheapestOne, cases: Cases) -> str:
    priced = _priced(picked.priced, cases)
    return priced if picked.does else f"none; nearest is {priced}"


def _in_most(picked: CheapestOne, cases: Cases, wanted: Requirement) -> str:
    priced = picked.priced
    edge = measured_words(priced.in_most, wanted.kind)
    kept = math.floor(priced.share * 1000.0) / 10.0  # down: 94.96 % are not 95 %
    return f"{_picked(picked, cases)}; {kept:g} % of its cases do, {MOST_OF} % have {wanted.bound} {edge}"


def _priced(priced: PricedChoice, cases: Cases) -> str:
    values = zip(cases.steps, priced.steps, strict=True)
    name = ", ".join([priced.choice, *(f"{one.words} {value}" for one, value in values)])
    metres = " and ".join(f"{length:.4g} m of {cable}" for cable, length in priced.metres.items())
    return f"{name}: {metres or 'no cable'} for {priced.cost:.2f}"


def as_alone(found: Sequence[Alone], kind: Kind) -> str:
    """A table, the value that matters most at its head: by how much it moves the figure of each choice."""
    name = kind_words(kind, [one for alone in found for one in alone.figures])
    unit = " in dB" if kind in ("loss", "deviation") else ""
    head = f"What moves the {name} most{unit}, each alone over its range, all else nominal:"
    rows = [("", *(one.choice for one in found[0].figures))]
    for alone in sorted(found, key=lambda one: -_most(one, kind)):
        values = [told(one, kind) for one in alone.figures]
        rows.append((alone.words, *(cell(swing(one), kind) for one in values)))
        ends = (f"{cell(one.min(), kind)} to {cell(one.max(), kind)}" for one in values)
        rows.append((f"  {alone.range_words}", *ends))
    return f"{textwrap.fill(head, WIDTH)}\n{pages(rows)}"


def _most(alone: Alone, kind: Kind) -> float:
    return max(swing(told(one, kind)) for one in alone.figures)
