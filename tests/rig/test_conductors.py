"""Cables whose two conductors differ, cores in parallel, and what a class promises, from a rig file."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from auralize.figures.numbers import figures
from auralize.rig.choice import Choice
from auralize.units import parse
from support.rig_text import cable, read, refusal, run, text, the_choice, written

COPPER = 1.7241e-8  # ohm m, IACS
LENGTH = 62.0


def at_dc(choice: Choice) -> list[float]:
    """ohm of plus and of minus."""
    return list(choice.network.runs["pond"].by_conductor(np.zeros(1))[:, 0].real)


def of(folder: Path, **keys: str | None) -> Choice:
    return the_choice(folder, text(cables=cable(**keys)))


def test_a_minus_of_its_own_size_and_metal(tmp_path: Path) -> None:
    alike = at_dc(of(tmp_path))
    assert alike == pytest.approx([COPPER / 2.5e-6 * LENGTH] * 2, rel=1e-7)
    thin = of(tmp_path, minus='"1.5 mm2"')
    assert at_dc(thin) == pytest.approx([COPPER / a * LENGTH for a in (2.5e-6, 1.5e-6)], rel=1e-7)
    assert "2.5 mm2 (13.2 AWG) copper, stranded, minus 1.5 mm2" in figures(thin).runs["pond"]
    # 28.264e-9 ohm m: IEC 60889 hard-drawn aluminium (value from memory).
    metal = of(tmp_path, minus_material='"aluminium"')
    assert at_dc(metal)[1] == pytest.approx(2.8264e-8 / 2.5e-6 * LENGTH, rel=1e-7)
    assert at_dc(metal)[0] == pytest.approx(alike[0], rel=1e-7)
    # Plus and minus swapped give what each had.
    other = of(tmp_path, conductor='"1.5 mm2"', minus='"2.5 mm2"')
    assert at_dc(other) == pytest.approx(at_dc(thin)[::-1], rel=1e-7)


def test_the_heat_is_that_of_both(tmp_path: Path) -> None:
    metal = of(tmp_path, minus='"1.5 mm2"').runs["pond"].cable.metal
    assert metal is not None
    assert metal.resistance == pytest.approx(COPPER * (1 / 2.5e-6 + 1 / 1.5e-6) / 2.0, rel=1e-9)
    assert metal.area == pytest.approx(2.0e-6, rel=1e-9)


def test_unlike_conductors_can_be_coiled(tmp_path: Path) -> None:
    lay = '{ shape = "coiled", mean_diameter = "30 cm", turns = 20, facing = "plus inside" }'
    content = text(cables=cable(minus='"1.5 mm2"'), runs=run(lay=lay))
    (found,) = figures(the_choice(tmp_path, content)).lays
    assert found.conductors["plus"].times_straight.rendered < 0.9
    assert found.conductors["minus"].times_straight.rendered > 1.1


@pytest.mark.parametrize("doubled", ["plus", "minus"])
def test_one_core_doubled(tmp_path: Path, doubled: str) -> None:
    keys = {"construction": '"three-core"', "lay_length": '"7 cm"', "doubled": f'"{doubled}"'}
    choice = of(tmp_path, **keys)
    single, double = at_dc(choice) if doubled == "minus" else at_dc(choice)[::-1]
    assert single == pytest.approx(2.0 * double, rel=1e-9)
    # A helix round a circle through three cores a spacing apart: spacing over root three from the axis.
    spacing = math.sqrt(4.0 * 2.5 / 0.75 / math.pi) * 1e-3 + 1.6e-3
    stretch = math.hypot(1.0, 2.0 * math.pi * spacing / math.sqrt(3.0) / 0.07)
    assert single == pytest.approx(COPPER / 2.5e-6 * LENGTH * stretch, rel=1e-6)
    assert f"three-core, {doubled} doubled" in figures(choice).runs["pond"]


@pytest.mark.parametrize(
    ("construction", "cores"), [("twisted pair", 1.0), ("three-core", 1.0), ("four-core", 0.5)]
)
def test_a_class_promises_what_finished_cable_has(
    tmp_path: Path, construction: str, cores: float
) -> None:
    """IEC 60228: 2.5 mm2 of class 5 has 7.98 ohm/km at most, per length of cable, whatever its twist."""
    keys = {"construction": f'"{construction}"', "lay_length": '"6 cm"', "strands": '"class 5"'}
    choice = of(tmp_path, **keys)
    assert at_dc(choice)[0] == pytest.approx(7.98e-3 * cores * LENGTH, rel=1e-6)
    by_area = of(tmp_path, **{**keys, "strands": None})
    assert at_dc(by_area)[0] > COPPER / 2.5e-6 * cores * LENGTH * 1.01


def test_what_a_coil_does_along_each_is_told(tmp_path: Path) -> None:
    """Range over all that is open for a facing that is not given; as rendered, the straight share."""
    lay = '{ shape = "coiled", mean_diameter = "30 cm", turns = 32 }'
    (found,) = figures(the_choice(tmp_path, text(runs=run(lay=lay)))).lays
    for one in found.conductors.values():
        assert one.times_straight.rendered == pytest.approx(1.0, abs=0.01)
        assert one.times_straight.low < 0.75
        assert one.times_straight.high > 1.6
        assert one.drop_db_10khz.low < -1.0
        assert one.drop_db_10khz.high > 2.0


@pytest.mark.parametrize(
    ("keys", "says"),
    [
        ({"minus": '"3 sheep"'}, "cables.reel.minus: '3 sheep' has a unit that does not fit"),
        ({"minus_material": '"tin"'}, "cables.reel.minus_material: 'tin' is not known"),
        (
            {"minus": '"6 mm2"', "insulation": None, "spacing": '"3 mm"'},
            "cables.reel.spacing: 3 mm",
        ),
        ({"minus": '"2 mm2"', "strands": '"class 5"'}, "IEC 60228 has no 2 mm2 in class 5"),
        (
            {"construction": '"three-core"', "lay_length": '"7 cm"', "doubled": '"earth"'},
            "cables.reel.doubled: 'earth' is not known",
        ),
        ({"construction": '"coaxial"', "minus": '"1 mm2"'}, "cables.reel"),
    ],
)
def test_conductors_that_cannot_be(tmp_path: Path, keys: dict[str, str | None], says: str) -> None:
    assert says in refusal(written(tmp_path, text(cables=cable(**keys))))


def test_a_three_core_cable_cannot_be_coiled(tmp_path: Path) -> None:
    keys = {"construction": '"three-core"', "lay_length": '"7 cm"'}
    lay = '{ shape = "coiled", mean_diameter = "30 cm", turns = 20 }'
    said = refusal(written(tmp_path, text(cables=cable(**keys), runs=run(lay=lay))))
    assert "needs two conductors whose shape is known" in said


def test_sizes_are_read_as_everywhere(tmp_path: Path) -> None:
    assert parse("16 AWG", "area") == pytest.approx(1.309e-6, rel=1e-3)
    rig = read(tmp_path, text(cables=cable(minus='"16 AWG"')))
    (choice,) = rig.choices.values()
    assert at_dc(choice)[1] == pytest.approx(COPPER / 1.309e-6 * LENGTH, rel=1e-3)
