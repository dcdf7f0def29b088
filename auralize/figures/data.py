"""Figures as data: JSON, and comma-separated values."""

from __future__ import annotations

import csv
import io
import json
import math
from collections.abc import Sequence
from dataclasses import asdict, fields
from typing import Any, Literal

from auralize.figures.loudspeakers import Loudspeaker
from auralize.figures.numbers import Figures, Line

By = Literal["frequency", "loudspeaker"]
"""What the rows of a table in CSV are by."""


def as_json(title: str, found: Sequence[Figures]) -> str:
    """All figures as one JSON object; what is without limit is null."""
    whole = {"title": title, "choices": [_finite(figures.as_dict()) for figures in found]}
    return json.dumps(whole, indent=2, ensure_ascii=False, allow_nan=False)


def _finite(value: Any) -> Any:
    if isinstance(value, dict):
        return {k: _finite(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [_finite(v) for v in value]
    return None if isinstance(value, float) and not math.isfinite(value) else value


def as_csv(found: Sequence[Figures], by: By = "frequency") -> str:
    """One of the tables with a header: a row a choice and frequency, or a choice and loudspeaker.

    What is without limit is left empty.
    """
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    if by == "loudspeaker":
        writer.writerow(["choice", *(f.name for f in fields(Loudspeaker))])
        for figures in found:
            rows = [_finite(asdict(one)).values() for one in figures.loudspeakers]
            writer.writerows([figures.choice, *row] for row in rows)
        return text.getvalue()
    writer.writerow(["choice", "drop_across", *(f.name for f in fields(Line))])
    for figures in found:
        rows = [_finite(asdict(line)).values() for line in figures.lines]
        writer.writerows([figures.choice, figures.drop_across, *row] for row in rows)
    return text.getvalue()
