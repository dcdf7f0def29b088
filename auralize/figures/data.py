"""Figures as data: JSON, and comma-separated values."""

from __future__ import annotations

import csv
import io
import json
import math
from collections.abc import Sequence
from dataclasses import asdict, fields
from typing import Any, Literal

from auralize.figures.against import Difference
from auralize.figures.loudspeakers import Loudspeaker
from auralize.figures.numbers import Figures, Line

By = Literal["frequency", "loudspeaker", "choice"]
"""What the rows of a table in CSV are by."""


def as_json(title: str, found: Sequence[Figures], compared: Sequence[Difference] = ()) -> str:
    """All figures as one JSON object; what is without limit is null."""
    whole = {
        "title": title,
        "choices": [_finite(figures.as_dict()) for figures in found],
        "differences": [_finite(asdict(one)) for one in compared],
    }
    return json.dumps(whole, indent=2, ensure_ascii=False, allow_nan=False)


def _finite(value: Any) -> Any:
    if isinstance(value, dict):
        return {k: _finite(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [_finite(v) for v in value]
    return None if isinstance(value, float) and not math.isfinite(value) else value


def as_csv(
    found: Sequence[Figures], by: By = "frequency", compared: Sequence[Difference] = ()
) -> str:
    """One of the tables with a header: a row a choice and frequency, or loudspeaker, or a choice compared.

    What is without limit is left empty.
    """
    kind = {"frequency": Line, "loudspeaker": Loudspeaker, "choice": Difference}[by]
    names = [field.name for field in fields(kind)]
    rows: list[list[Any]] = []
    if by == "choice":
        rows = [[*{**asdict(one), "notes": "; ".join(one.notes)}.values()] for one in compared]
    for figures in found:
        if by == "loudspeaker":
            rows += [[figures.choice, *asdict(one).values()] for one in figures.loudspeakers]
        elif by == "frequency":
            before = (figures.choice, figures.drop_across)
            rows += [[*before, *asdict(line).values()] for line in figures.lines]
    head = {"frequency": ["choice", "drop_across"], "loudspeaker": ["choice"], "choice": []}[by]
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerows([[*head, *names], *(_finite(row) for row in rows)])
    return text.getvalue()
