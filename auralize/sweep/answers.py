"""What came of a sweep in words: the cheapest that will do, and which value matters most."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Sequence

from auralize.figures.columns import WIDTH, pages, wrapped
from auralize.figures.fit import Kind
from auralize.sweep.alone import Alone, ranked, swing
from auralize.sweep.case_figures import CaseFigures
from auralize.sweep.cases import Cases
from auralize.sweep.cheapest import MOST_OF, Cheapest, CheapestOne
from auralize.sweep.requirement import (
    IN_DB,
    Requirement,
    cell,
    kept_share,
    kind_words,
    limit_words,
    measured_words,
    told,
)


def as_cheapest(found: Cheapest, cases: Cases, figures: Sequence[CaseFigures]) -> str:
    """Two sentences: the cheapest in the nominal case, and in most of all cases; or what comes nearest."""
    wanted = found.requirements
    prices = ", ".join(f"{name} {_price(price)}" for name, price in found.prices.items())
    head = f"Cheapest with a {limit_words(wanted, figures)}, a metre costing {prices}:"
    lines = [f"nominal: {_picked(found.nominal, cases)}, {_kept(found.nominal, wanted, '')}"]
    if found.in_most is not None:
        picked, share = _picked(found.in_most, cases, "at most "), found.in_most.priced.share
        told = f"{picked}; {_percent(share)} of its cases do"
        edges = _kept(found.in_most, wanted, f"{MOST_OF} % have ")
        lines.append(f"in at least {MOST_OF} % of cases: {told}, {edges}")
    return "\n".join([textwrap.fill(head, WIDTH), *map(wrapped, lines)])


def as_kept(figures: Sequence[CaseFigures], wanted: Sequence[Requirement]) -> str:
    """How many of its cases keep all limits, of each choice."""
    shares = [f"{one.choice} {_percent(kept_share(one, wanted))}" for one in figures]
    told = f"Of all cases, those with a {limit_words(wanted, figures)}: {', '.join(shares)}"
    return textwrap.fill(told, WIDTH, subsequent_indent="  ")


def _price(price: float) -> str:
    """With two decimals, or more where it has more."""
    return max(f"{price:.2f}", f"{price:.12g}", key=len)


def _percent(share: float) -> str:
    return f"{math.floor(share * 1000.0) / 10.0:g} %"  # down: 94.96 % are not 95 %


def _picked(picked: CheapestOne, cases: Cases, bound: str = "") -> str:
    priced = picked.priced
    values = zip(cases.steps, priced.steps, strict=True)
    name = ", ".join([priced.choice, *(f"{one.words} {value}" for one, value in values)])
    metres = " and ".join(f"{length:.4g} m of {cable}" for cable, length in priced.metres.items())
    told = f"{name}: {bound if metres else ''}{metres or 'no cable'} for {priced.cost:.2f}"
    return told if picked.does else f"none; nearest is {told}"


def _kept(picked: CheapestOne, wanted: Sequence[Requirement], whose: str) -> str:
    """What is measured of what is limited, named where there are several."""
    told = []
    for one, value in zip(wanted, picked.priced.measured, strict=True):
        name = f" {one.kind}" if len(wanted) > 1 else ""
        told.append(f"{whose and f'{whose}{one.bound} '}{measured_words(value, one.kind)}{name}")
    return ", ".join(told)


def as_alone(found: Sequence[Alone], kind: Kind) -> str:
    """A table, the value that matters most at its head: by how much it moves the figure of each choice."""
    name = kind_words(kind, [one for alone in found for one in alone.figures])
    unit = " in dB" if kind in IN_DB else ""
    head = f"What moves the {name} most{unit}, each alone over its range, all else nominal:"
    rows = [("", *(one.choice for one in found[0].figures))]
    for alone in ranked(found, kind):
        values = [told(one, kind) for one in alone.figures]
        rows.append((alone.words, *(cell(swing(one), kind) for one in values)))
        ends = (f"{cell(one.min(), kind)} to {cell(one.max(), kind)}" for one in values)
        rows.append((f"  {alone.range_words}", *ends))
    return f"{textwrap.fill(head, WIDTH)}\n{pages(rows)}"
