"""Loads in few words: a line of many, and one like another, against the same rigs written out by hand."""

import copy

import numpy as np
import pytest

from auralize.circuit.solution import solve
from auralize.errors import RigError
from auralize.rig.reading import read_rig
from support.small_driver import SMALL_DRIVER, THIN

LINE = {"count": 4, "spacing": "5 m", "along": "path"}
RIG = {
    "amplifier": {"resistance": "40 mohm"},
    "cables": {"thin": THIN},
    "runs": {
        "path": {"cable": "thin", "length": "30 m", "temperature": "30 degC", "far": "5 mohm"}
    },
    "loads": {"lamp": {**SMALL_DRIVER, **LINE}},
}
BY_HAND = {
    **RIG,
    "listen": "lamp 4",
    "runs": RIG["runs"]
    | {
        f"path {n}": {
            "cable": "thin",
            "length": "5 m",
            "temperature": "30 degC",
            "from": "path" if n == 2 else f"path {n - 1}",
        }
        for n in (2, 3, 4)
    },
    "loads": {
        f"lamp {n}": {**SMALL_DRIVER, "at": "path" if n == 1 else f"path {n}"} for n in (1, 2, 3, 4)
    },
}
TAP = {"line": "100 V", "tap": "6 W", "secondary": "8 ohm"}


def only(data):
    (choice,) = read_rig(data).choices.values()
    return choice


def changed(data, **tables):
    """A rig with more in some of its tables."""
    data = copy.deepcopy(data)
    for name, table in tables.items():
        data[name] = {**data.get(name, {}), **table} if isinstance(table, dict) else table
    return data


def test_a_line_is_the_same_as_all_its_loudspeakers_written_by_hand():
    assert only(RIG).content == only(BY_HAND).content
    assert list(only(RIG).loads) == list(only(BY_HAND).loads)


def test_a_line_through_transformers_is_the_same_as_by_hand():
    chain = changed(RIG, transformers={"tap": TAP})
    chain["loads"]["lamp"]["through"] = "tap"
    places = ["path", "path 2", "path 3", "path 4"]
    taps = {f"tap {n}": {**TAP, "from": place} for n, place in enumerate(places, 1)}
    by_hand = changed(BY_HAND, transformers=taps)
    for n in (1, 2, 3, 4):
        by_hand["loads"][f"lamp {n}"]["at"] = f"tap {n}"
    assert only(chain).content == only(by_hand).content


def test_a_line_of_twenty_is_the_ladder_that_it_looks_like():
    """Against a ladder walked outwards in: Kirchhoff, with the runs' own series impedance alone.

    The capacitance of 106 m of twin, some 5 nF, moves 1 kHz by under 1e-4.
    """
    count, f = 20, np.array([1000.0])
    chain = changed(RIG)
    chain["loads"]["lamp"] = {"type": "resistor", "resistance": "160 ohm", **LINE, "count": count}
    choice = only(chain)
    first, rest = choice.runs["path"].run, choice.runs["path 7"].run
    volts, amperes = 1.0 + 0j, 0j  # at the last, and into it
    at = []
    for number in range(count, 0, -1):
        at.append(volts)
        amperes += volts / 160.0
        run = first if number == 1 else rest
        joints = 0.010 if number == 1 else 0.0
        volts += amperes * (run.cable.series(f)[0] * run.length + joints)
    solution = solve(choice.network, f)
    for number, expected in enumerate(reversed(at), 1):
        found = solution.receiving[f"lamp {number}"] / solution.sending
        assert found[0] == pytest.approx(expected / volts, rel=2e-4)


def test_what_is_said_of_one_part_by_name_is_laid_on_it():
    """A corroded joint in one link, one loudspeaker reversed: in one choice, and in all."""
    fault = {"runs": {"path 3": {"near": "1 ohm"}}, "loads": {"lamp 2": {"reversed": True}}}
    as_choice = read_rig({**RIG, "choices": {"good": {}, "bad": fault}})
    common = changed(RIG, **fault)
    by_hand = changed(BY_HAND)
    by_hand["runs"]["path 3"]["near"] = "1 ohm"
    by_hand["loads"]["lamp 2"]["reversed"] = True
    assert as_choice["good"].content == only(RIG).content
    assert as_choice["bad"].content == only(common).content == only(by_hand).content


def test_a_choice_may_change_the_cable_or_the_count_of_a_line():
    rig = read_rig(
        {
            **RIG,
            "cables": {**RIG["cables"], "thick": {**RIG["cables"]["thin"], "conductor": "4 mm2"}},
            "choices": {
                "thick": {"runs": {"path": {"cable": "thick"}}},
                "six": {"loads": {"lamp": {"count": 6}}},
            },
        }
    )
    assert {run.cable_name for run in rig["thick"].runs.values()} == {"thick"}
    assert rig["six"].listen == "lamp 6"
    assert rig["six"].at("lamp 1").listen == "lamp 1"


def test_a_change_from_outside_reaches_one_link():
    rig = read_rig(RIG)
    (choice,) = rig.choices.values()
    longer = rig.changed(choice, {("runs", "path 3", "length"): "9 m"})
    assert [run.run.length for run in longer.runs.values()] == [30.0, 5.0, 9.0, 5.0]
    assert rig.of(choice)["runs"]["path 3"]["length"] == "5 m"


def test_like_takes_all_but_the_place_and_a_change_of_kind_starts_afresh():
    rig = changed(BY_HAND, listen="porch")
    rig["loads"]["lamp 1"]["reversed"] = True
    rig["loads"] |= {
        "porch": {"like": "lamp 1", "at": "path 2", "Re": "6.5 ohm"},
        "gate": {"like": "porch", "at": "path"},
        "shed": {"like": "lamp 1", "at": "path", "type": "resistor", "resistance": "9 ohm"},
    }
    by_hand = copy.deepcopy(rig)
    warm = {**SMALL_DRIVER, "Re": "6.5 ohm", "reversed": True}
    by_hand["loads"] |= {
        "porch": {**warm, "at": "path 2"},
        "gate": {**warm, "at": "path"},
        "shed": {"type": "resistor", "resistance": "9 ohm", "at": "path"},
    }
    assert only(rig).content == only(by_hand).content


def test_a_line_may_be_like_a_single_load_and_the_other_way_round():
    rig = changed(RIG)
    rig["loads"] = {
        "lamp": {"like": "desk", **LINE},
        "desk": {**SMALL_DRIVER, "at": "amplifier"},
        "bench": {"like": "lamp", "at": "path"},
    }
    read = only({**rig, "listen": "lamp"})
    assert read.listen == "lamp 4"
    assert {n: load.connected.at for n, load in read.loads.items()} == {
        "lamp 1": "path",
        "lamp 2": "path 2",
        "lamp 3": "path 3",
        "lamp 4": "path 4",
        "desk": None,
        "bench": "path",
    }
    assert len({load.connected.load for load in read.loads.values()}) == 1


BAD = [
    ({"count": 1}, r"loads\.lamp\.count: 1 was found; right is a number from 2 to 200"),
    ({"count": 2.5}, r"loads\.lamp\.count: 2\.5 was found; right is a whole number"),
    ({"count": None}, r"loads\.lamp\.count: a value is missing"),
    ({"spacing": "0 m"}, r"loads\.lamp\.spacing: '0 m' was found; right is a length"),
    ({"spacing": None}, r"loads\.lamp\.spacing: a length is missing"),
    ({"along": "quay"}, r"loads\.lamp\.along: 'quay' is not known; right is 'path'"),
    ({"at": "path"}, r"loads\.lamp\.at: a line has no one place; right is `along`"),
    ({"through": "tap"}, r"loads\.lamp\.through: 'tap' is not known; right is nothing"),
    ({"like": "lmp"}, r"loads\.lamp\.like: 'lmp' is not known; right is nothing"),
    ({"Re": None}, r"loads\.lamp\.Re: a resistance is missing"),
    (
        {"spcing": "5 m"},
        r"loads\.lamp\.spcing: this key is not known here \(did you mean 'spacing'",
    ),
]


@pytest.mark.parametrize(("keys", "sentence"), BAD)
def test_what_cannot_be_is_refused_where_it_stands_in_the_file(keys, sentence):
    rig = changed(RIG)
    rig["loads"]["lamp"] = {
        k: v for k, v in {**rig["loads"]["lamp"], **keys}.items() if v is not None
    }
    with pytest.raises(RigError, match=sentence):
        read_rig(rig)


def test_loads_that_are_like_each_other_and_lines_along_one_run_are_refused():
    rig = changed(RIG)
    rig["loads"] = {"lamp": {"like": "desk"}, "desk": {"like": "lamp"}}
    with pytest.raises(RigError, match=r"loads\.desk\.like: 'lamp' is itself like 'desk'"):
        read_rig(rig)
    rig["loads"] = {"lamp": RIG["loads"]["lamp"], "horn": RIG["loads"]["lamp"]}
    with pytest.raises(RigError, match=r"two lines would both make runs\.path 2"):
        read_rig(rig)
