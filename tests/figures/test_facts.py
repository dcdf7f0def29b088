"""A choice in one line; and that the sentences that warn are known as such."""

import pytest

from auralize.figures.facts import facts, short_facts
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


def test_a_coil_is_told():
    """20 turns of 40 cm are 25.1 m of the 50 m."""
    lay = {"shape": "coiled", "turns": 20, "mean_diameter": "40 cm"}
    told = facts(_rig({"pond": {"cable": "reel", "length": "50 m", "lay": lay}}))
    assert told.endswith("twin, lay: 25.1 m (82.5 ft) in 20 turns, 40 cm mean diameter")


def test_in_little_room_the_lay_is_a_word_and_the_strands_go():
    lay = {"shape": "coiled", "turns": 20, "mean_diameter": "40 cm"}
    cables = {"reel": {**TWIN, "conductor": "2.5 mm2", "strands": "class 5"}}
    told = short_facts(_rig({"pond": {"cable": "reel", "length": "62 m", "lay": lay}}, cables))
    assert told == "62 m (203 ft) coiled, 2.5 mm2 (13.2 AWG) copper, twin"
    assert len(told) <= 55  # beside the cautions on a screen of 76 columns


def test_without_cable():
    told = facts(_rig({"pond": {"cable": "reel", "length": "50 m"}}, at="amplifier"))
    assert told == "stage stands at the amplifier, without cable"
    assert short_facts(_rig({"pond": {"cable": "reel", "length": "50 m"}}, at="amplifier")) == told


@pytest.mark.parametrize("words", [HEAT, OVERLOAD.format(ohm=1.2), TOO_HOT, *FAULTS.values()])
def test_what_warns_is_a_caution(words):
    assert is_caution(f"load stage {words}")
    assert is_caution(f"load stage {REVERSED}")


def test_what_does_not_warn_is_none():
    assert not is_caution("run pond: 62 m (203 ft) of 2.5 mm2 (13.2 AWG) copper, twin at 20 degC")
