"""The table of usual sizes, against published ones."""

from __future__ import annotations

import pytest

from auralize.commands.main import main
from auralize.figures.sizes import as_sizes, thicker, usual_sizes
from auralize.units import parse

# Solid copper at 20 degC in ohm per 1000 ft, NBS Handbook 100, table of the gauge (values from memory).
HANDBOOK_100 = {
    20: 10.15,
    18: 6.385,
    16: 4.016,
    14: 2.525,
    12: 1.588,
    10: 0.9989,
    8: 0.6282,
    6: 0.3951,
}
# IEC 60228 table 3, class 5, plain: most ohm per km at 20 degC (values from memory).
IEC_60228 = {"0.75": 26.0, "1.5": 13.3, "2.5": 7.98, "4": 4.95, "6": 3.30, "10": 1.91, "16": 1.21}
FOUR_DIGITS = 6e-4
"""Relative: half a step in the last of four digits, and resistivity is rounded in both."""

BY_NAME = {size.name: size for size in usual_sizes()}


@pytest.mark.parametrize(("gauge", "ohms"), HANDBOOK_100.items())
def test_gauges_are_those_of_the_handbook(gauge: int, ohms: float) -> None:
    assert BY_NAME[f"{gauge} AWG"].resistance * 304.8 == pytest.approx(ohms, rel=FOUR_DIGITS)


@pytest.mark.parametrize(("area", "ohms"), IEC_60228.items())
def test_metric_sizes_are_those_of_the_standard(area: str, ohms: float) -> None:
    assert BY_NAME[f"{area} mm2"].resistance * 1e3 == pytest.approx(ohms, rel=1e-12)


def test_every_size_can_be_typed_into_a_rig_file() -> None:
    for size in usual_sizes():
        assert parse(size.name, "area") == pytest.approx(size.area, rel=1e-9)


@pytest.mark.parametrize(
    ("size", "next_one"),
    [
        ("2.5 mm2", "4 mm2"),
        ("2 mm2", "2.5 mm2"),
        ("14 AWG", "12 AWG"),
        ("#13", "12 AWG"),
        ("16 mm2", "8 mm2"),
        ("2/0 AWG", "33.7 mm2"),
    ],
)
def test_the_next_thicker_is_of_the_same_series(size: str, next_one: str) -> None:
    assert thicker(size) == next_one


def test_it_fits_one_screen(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["sizes"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert len(lines) <= 24
    assert max(map(len, lines)) <= 80
    assert as_sizes().splitlines() == lines
