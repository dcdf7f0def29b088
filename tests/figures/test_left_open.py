"""What a description leaves open is said wherever a figure or a sound would hide it."""

from __future__ import annotations

import math

import pytest

import auralize as au
from auralize.figures.against import SMALLEST_DB, differences
from auralize.figures.against_text import as_comparison
from auralize.figures.columns import gathered
from auralize.figures.fit import fit
from auralize.figures.fit_text import as_fits
from auralize.figures.numbers import figures
from auralize.renderer.facts import told_of
from support.rig_loads import flat

COIL = {"shape": "coiled", "mean_diameter": "40 cm", "coiled": "40 m"}
RIG = {
    "amplifier": {"resistance": "20 mohm"},
    "cables": {"twin": {"construction": "twin", "conductor": "2.5 mm2", "insulation": "0.8 mm"}},
    "runs": {"quay": {"cable": "twin", "length": "50 m"}},
    "loads": {"stage": {"type": "resistor", "resistance": "8 ohm"}},
    "choices": {"flat": {}, "coiled": {"runs": {"quay": {"lay": COIL}}}},
}


def test_a_coil_of_unknown_facing_gets_no_verdict_that_its_range_decides() -> None:
    rig = au.read_rig(RIG)
    found = differences([rig["coiled"]], rig["flat"], across="plus")
    (drop,) = (one for one in found if one.signal == "drop")
    assert drop.largest_db is not None
    assert abs(drop.largest_db) < SMALLEST_DB < drop.open_db
    assert drop.verdict == "open"
    told = flat(as_comparison([drop]))
    assert f"may change this by {drop.open_db:.2f} dB" in told
    assert "cannot be told" in told
    assert "nobody is likely" not in told


@pytest.mark.parametrize(("name", "said"), [("flat", False), ("coiled", True)])
def test_fit_and_render_say_what_they_do_not_judge(name: str, said: bool) -> None:
    rig = au.read_rig(RIG)
    found = flat(as_fits("", [fit(rig, rig[name], None, "loss", 1.0)], "loss", 1.0))
    assert ("Judged as rendered" in found) == said
    assert any("leave open" in line for line in told_of([rig[name]])) == said


def test_of_the_loss_behind_a_transformer_its_own_part_is_told() -> None:
    """With the rated load a tap loses its stated 1.5 dB, far above its lowest frequency; no cable more."""
    tap = {"line": "100 V", "tap": "10 W", "secondary": "8 ohm", "insertion_loss": "1.5 dB"}
    rig = {
        "amplifier": {"resistance": "0.1 mohm"},
        "cables": RIG["cables"],
        "runs": {"quay": {"cable": "twin", "length": "500 m"}},
        "transformers": {"tap": {**tap, "from": "quay", "highest": "1 MHz"}},
        "loads": {"stage": {"type": "resistor", "resistance": "8 ohm", "at": "tap"}},
    }
    found = figures(au.read_rig(rig).pick([])[0])
    (note,) = (one for one in found.notes if "behind a transformer" in one)
    own = float(note.partition("of its loss at 1 kHz, ")[2].partition(" dB")[0])
    assert math.isclose(own, 1.5, abs_tol=0.02)
    assert -found.loss_db > own + 0.04  # the rest is the cable's


def test_what_is_said_of_many_loads_is_said_once() -> None:
    notes = [f"load lamp {n} is typical, invented" for n in range(1, 21)]
    assert gathered([*notes, "the tide is low"]) == [
        "each of the loads lamp 1 to lamp 20 is typical, invented",
        "the tide is low",
    ]
    assert gathered(notes[:2]) == notes[:2]
