"""A table of thousands of choices takes a time in proportion to their number, and looks as one of a few."""

from __future__ import annotations

import time
from dataclasses import replace

import pytest

from auralize.figures.columns import WIDTH, columns, factor_text, pages
from auralize.figures.numbers import Figures, figures
from auralize.figures.text import as_table
from auralize.rig.reading import read_rig


def alike(count: int) -> list[Figures]:
    """The figures of a resistor at a run, as those of so many choices."""
    rig = read_rig(
        {
            "amplifier": {"resistance": "20 mohm"},
            "cables": {
                "reel": {"construction": "twin", "conductor": "2.5 mm2", "insulation": "0.8 mm"}
            },
            "runs": {"pond": {"cable": "reel", "length": "60 m"}},
            "loads": {"stage": {"type": "resistor", "resistance": "8 ohm"}},
        }
    )
    (found,) = map(figures, rig.choices.values())
    return [replace(found, choice=f"c{number}") for number in range(count)]


def seconds(found: list[Figures]) -> float:
    """Processor time of one table, the least of three."""
    took = []
    for _ in range(3):
        begin = time.process_time()
        as_table("pond", found)
        took.append(time.process_time() - begin)
    return min(took)


def test_four_times_the_choices_take_four_times_the_time_or_little_more() -> None:
    """The ratio was 15 while every number of columns was tried on all of them: 4 is in proportion."""
    many = alike(2000)
    assert seconds(many) / seconds(many[:500]) < 6.0


def tried(rows: list[tuple[str, ...]]) -> str:
    """The plain definition: the largest number of columns a page with which all pages fit."""
    count = len(rows[0]) - 1
    for each in range(count, 0, -1):
        found = [
            columns([(row[0], *row[at : at + each]) for row in rows])
            for at in range(1, count + 1, each)
        ]
        if all(len(line) <= WIDTH for page in found for line in page.splitlines()):
            break
    return "\n\n".join(found)


@pytest.mark.parametrize("count", [1, 2, 3, 7, 30, 60])
@pytest.mark.parametrize("width", [1, 5, 20, 90])
def test_pages_are_as_wide_as_they_can_be(count: int, width: int) -> None:
    names = tuple("n" * (1 + number * width % 17 + width // 2) for number in range(count))
    rows = [("what", *names), ("how much", *("1" * width for _ in range(count)))]
    assert pages(rows) == tried(rows)


@pytest.mark.parametrize(
    ("factor", "cell"),
    [
        (8.798, "8.80"),
        (9.999, "10.0"),
        (14.0, "14.0"),
        (133.2, "133"),
        (999.6, "1000"),
        (4_321.0, "4320"),
    ],
)
def test_a_damping_factor_has_three_digits_and_no_exponent(factor: float, cell: str) -> None:
    assert factor_text(factor) == cell
