"""A sweep as data: comma-separated values, a row a case and choice, and the facts that stand beside them."""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Mapping, Sequence
from typing import Any, Final

from auralize.circuit.conductor import Real
from auralize.figures.fit import Kind
from auralize.rig.reading import Rig
from auralize.rig.stepped import NUMBER, SteppedValue
from auralize.rig.table import dotted
from auralize.sweep.alone import Alone, ranked, swing
from auralize.sweep.case_figures import CaseFigures
from auralize.sweep.cases import Cases
from auralize.sweep.cheapest import MOST_OF, Cheapest, CheapestOne
from auralize.sweep.percentiles import LEAST_TO_MOST, PERCENTS, percentiles
from auralize.sweep.requirement import FIGURE, Requirement, kept_share, told, untold
from auralize.sweep.uncertain import UncertainValue

FIGURES: Final = {
    "loss_db": "level at the loudspeaker relative to the amplifier's terminals, at reference_hz",
    "drop_db": "level of the drop relative to the same, at reference_hz",
    "deviation_db": "largest departure of the loss from that, over the band",
    "deviation_hz": "at which that is",
    "worst_loss_db": "least level over the band, without what transformers lose themselves",
    "worst_loss_hz": "at which that is",
    "worst_deviation_db": "largest departure of that from its value at reference_hz, without its sign",
    "damping_factor": "at the loudspeaker",
    "damping_hz": "at which that is",
    "cable_share": "share of the amplifier's output power that cable and joints turn into heat",
    "cable_watts": "heat in the cable of all runs under the rig's programme",
    "reference_hz": "at which loss and drop are stated",
}
"""Columns for each choice in each case; what is without limit, or not known, is left empty (JSON: null)."""


def as_csv(cases: Cases, found: Sequence[CaseFigures]) -> str:
    """All cases with a header: the case, what varies, the choice, its figures."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    varied, columns = _columns(cases)
    writer.writerow(["case", *varied, "choice", *FIGURES])
    figures = [[getattr(one, name).tolist() for name in FIGURES] for one in found]
    rows = [zip(*some, strict=True) for some in figures]
    for case, values in enumerate(zip(*columns, strict=True), 1):
        for one, row in zip(found, rows, strict=True):
            writer.writerow([case, *values, one.choice, *map(_finite, next(row))])
    return text.getvalue()


def facts(
    rig: Rig, cases: Cases, found: Sequence[CaseFigures], nominal: Sequence[CaseFigures]
) -> dict[str, Any]:
    """What stands beside the table: what was asked, what its columns are, and each choice in short."""
    return {
        "title": rig.title,
        "cases": len(cases),
        "seed": cases.seed if cases.tolerances else None,
        "steps": [_stepped(one) for one in cases.steps],
        "tolerances": [_uncertain(one) for one in cases.tolerances],
        "columns": FIGURES,
        "choices": [
            _in_short(*both, drawn=bool(cases.tolerances))
            for both in zip(found, nominal, strict=True)
        ],
    }


ANSWERS: Final = {
    "limits": "columns with the least or the most that each may be; all are kept together",
    "kept": "share of all cases of each choice that keep all limits, 0 to 1; null where none is given",
    "cheapest": "what costs least and keeps all limits, null where nothing is priced; nominal: with all "
    "tolerances at their nominal values; in_most: in at least in_most_percent of its cases, null where "
    "nothing is drawn",
    "meets": "whether it does; where none does, it is what exceeds a limit by the least factor",
    "steps": "its values of what is stepped, in words",
    "metres": "m of each cable, in in_most those that in_most_percent of its cases do not exceed",
    "cost": "the sum of metres times prices, which are of a metre; in in_most as metres",
    "figures": "of the columns that are limited, in in_most what in_most_percent of its cases keep to",
    "share": "of its cases that keep all limits, 0 to 1",
    "matters": "how a column moves with each value alone over its range, all else nominal, the most first: "
    "low, high, and the swing between them, for each choice; null where it was not asked",
}
"""What is beside these words."""


def answers_facts(
    cases: Cases,
    found: Sequence[CaseFigures],
    requirements: Sequence[Requirement],
    least: Cheapest | None,
    matters: Kind | None,
    alone: Sequence[Alone],
) -> dict[str, Any]:
    """What was asked of the cases, and what came of it."""
    kept = {one.choice: kept_share(one, requirements) for one in found} if requirements else None
    return {
        "fields": ANSWERS,
        "limits": [_limit(one) for one in requirements],
        "kept": kept,
        "cheapest": None if least is None else _cheapest(least, cases),
        "matters": None if matters is None else _matters(ranked(alone, matters), matters),
    }


def _limit(one: Requirement) -> dict[str, Any]:
    bound = "least" if one.kind in ("loss", "damping") else "most"
    return {"column": FIGURE[one.kind], bound: untold(one.most, one.kind)}


def _cheapest(found: Cheapest, cases: Cases) -> dict[str, Any]:
    def one(picked: CheapestOne) -> dict[str, Any]:
        priced = picked.priced
        figures = zip(found.requirements, priced.measured, strict=True)
        return {
            "meets": picked.does,
            "choice": priced.choice,
            "steps": dict(zip((dotted(s.place) for s in cases.steps), priced.steps, strict=True)),
            "metres": dict(priced.metres),
            "cost": priced.cost,
            "figures": {FIGURE[r.kind]: _finite(untold(v, r.kind)) for r, v in figures},
            "share": priced.share,
        }

    return {
        "prices": dict(sorted(found.prices.items())),
        "in_most_percent": MOST_OF,
        "nominal": one(found.nominal),
        "in_most": None if found.in_most is None else one(found.in_most),
    }


def _matters(found: Sequence[Alone], kind: Kind) -> dict[str, Any]:
    def moved(values: Real) -> dict[str, float | None]:
        ends = {"low": values.min(), "high": values.max(), "swing": swing(values)}
        return {name: _finite(float(value)) for name, value in ends.items()}

    values = [
        {
            "place": dotted(one.place),
            "range": one.range_words,
            "choices": {figures.choice: moved(told(figures, kind)) for figures in one.figures},
        }
        for one in found
    ]
    return {"column": FIGURE[kind], "values": values}


def _in_short(found: CaseFigures, nominal: CaseFigures, *, drawn: bool) -> dict[str, Any]:
    """Nominal values and percentiles of each figure, or the range of steps; of the deviation those of its
    modulus."""
    names = [name for name in FIGURES if not name.endswith("_hz")]
    percents = {str(percent): percent for percent in PERCENTS}
    if not drawn:
        percents = dict(zip(("least", "median", "most"), LEAST_TO_MOST, strict=True))
    return {
        "choice": found.choice,
        "label": found.label,
        "load": found.load,
        "nominal": {name: _finite(float(getattr(nominal, name)[0])) for name in FIGURES},
        "percentiles" if drawn else "range": {
            name: _spread(getattr(found, name), name, percents) for name in names
        },
    }


def _spread(values: Real, name: str, percents: Mapping[str, int]) -> dict[str, float | None]:
    if name == "deviation_db":
        values = abs(values)
    found = percentiles(values, [*percents.values()]).tolist()
    return {words: _finite(value) for words, value in zip(percents, found, strict=True)}


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None


def _stepped(one: SteppedValue) -> dict[str, Any]:
    return {"place": dotted(one.place), "values": list(one.values)}


def _uncertain(one: UncertainValue) -> dict[str, Any]:
    """With ``low`` and ``high``, for a normal law ``mean`` and ``sigma``, in ``unit``; or the list."""
    about: dict[str, Any] = {"place": dotted(one.place), "law": one.law}
    if one.law == "list":
        return about | {"values": list(one.values)}
    limits = {"low": one.low, "high": one.high}
    if one.law == "normal":
        limits = {"mean": one.middle, "sigma": one.half}
    return about | {"unit": one.unit, "nominal": one.nominal} | limits


def _columns(cases: Cases) -> tuple[list[str], list[list[Any]]]:
    """Names and values of what varies: numbers with their unit in the name, or values as the rig has them."""
    numbers = cases.numbers(0, len(cases))
    units = {one.place: one.unit for one in cases.tolerances}
    for stepped in cases.steps:
        unit, scale = _in_one_unit(stepped)
        units[stepped.place] = unit
        numbers[stepped.place] = [scale[value] for value in numbers[stepped.place]]
    names = [
        f"{dotted(place)}_{units[place].replace('/', '_per_')}".rstrip("_") for place in numbers
    ]
    return names, list(numbers.values())


_QUANTITY: Final = re.compile(rf"({NUMBER})\s*([A-Za-z]\S*)")


def _in_one_unit(stepped: SteppedValue) -> tuple[str, dict[Any, Any]]:
    """The unit that all values share, and the number of each; else nothing, and each as it is."""
    found = [_QUANTITY.fullmatch(str(value)) for value in stepped.values]
    units = {match and match[2] for match in found}
    if len(units) != 1 or None in units:
        return "", {value: value for value in stepped.values}
    return units.pop() or "", {m.string: float(m[1]) for m in found if m}
