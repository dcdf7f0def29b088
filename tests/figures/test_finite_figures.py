"""No figure is a number that is none, and an infinity only where a word says why."""

from __future__ import annotations

import csv
import io
import itertools
import json
import math
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from auralize.figures import data
from auralize.figures import text as show
from auralize.figures.numbers import figures
from auralize.rig.reading import load_rig
from support.rig_loads import DRIVER, RESISTOR, crossover, text, written

LOADS = {
    "resistor": RESISTOR,
    "driver": DRIVER,
    "open": 'type = "open"\nnominal = "8 ohm"\n',
    "short": 'type = "short"\nnominal = "8 ohm"\n',
    "a capacitor that lets nothing through": crossover("series 1 pF"),
    "next to a short": crossover("shunt 1 mohm", "series 1000 mF"),
}
SAID = {
    "loss_db": "silent",
    "drop_db": "silent",
    "damping": "no limit",
    "damping_factor": "no limit",
    "load_ohm": "open",
    "lowest_ohm": "open",
    "rise_kelvin": "does not settle",
}
"""Figures that may be without limit, and the word that tells it."""


def unlimited(value: Any, key: str = "") -> Iterator[tuple[str, float]]:
    if isinstance(value, dict):
        for name, inner in value.items():
            yield from unlimited(inner, name)
    elif isinstance(value, list | tuple):
        for inner in value:
            yield from unlimited(inner, key)
    elif isinstance(value, float) and not math.isfinite(value):
        yield key, value


@pytest.mark.parametrize(
    ("load", "ohm", "length"), itertools.product(LOADS, ("0 ohm", "1 kohm"), ("1 cm", "10 km"))
)
@pytest.mark.filterwarnings("error")
def test_every_infinity_has_its_word(load: str, ohm: str, length: str, tmp_path: Path) -> None:
    whole = text(LOADS[load], more='[programme]\nvoltage = "30 V"')
    whole = whole.replace('"0.05 ohm"', f'"{ohm}"').replace('"62 m"', f'"{length}"')
    (choice,) = load_rig(written(tmp_path, whole)).choices.values()
    found = figures(choice, (0.0, 20.0, 1e3, 1e6))
    printed = " ".join(show.as_table("pond", [found]).split())
    for key, value in unlimited(found.as_dict()):
        assert not math.isnan(value), key
        assert SAID[key] in printed
    for word in (" nan", " inf", "-inf"):
        assert word not in printed.lower()
    json.loads(data.as_json("pond", [found]), parse_constant=pytest.fail)
    cells = [cell for row in csv.reader(io.StringIO(data.as_csv([found]))) for cell in row]
    assert not {"inf", "-inf", "nan"} & set(cells)
