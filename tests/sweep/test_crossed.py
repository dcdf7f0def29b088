"""Two stepped values as a table, read back and held against the divider's closed form."""

import numpy as np
import pytest

import auralize as au
from auralize.rig.stepped import SteppedValue
from auralize.sweep.cases import Cases
from auralize.sweep.crossed import as_crossed
from auralize.sweep.requirement import Requirement, cell, kept_share, measured_words
from auralize.sweep.solving import solve_all
from auralize.sweep.uncertain import UncertainValue

RIG = au.read_rig(
    {
        "amplifier": {"resistance": "0 ohm"},
        "cables": {
            "reel": {"construction": "measured", "resistance": "16 mohm/m", "inductance": "1 nH/m"}
        },
        "runs": {"pond": {"length": "60 m", "cable": "reel"}},
        "loads": {"stage": {"type": "resistor", "resistance": "8 ohm"}},
        "choices": {"here": {}, "there": {"loads": {"stage": {"resistance": "4 ohm"}}}},
    }
)
METRES, OHM = (20, 40, 80), (0.004, 0.016)
LENGTH = "runs.pond.length = 20 m, 40 m, 80 m"
SIZE = "cables.reel.resistance = 4 mohm/m, 16 mohm/m"


def crossed(*steps, limits=(), tolerances=()):
    cases = Cases(tuple(SteppedValue.of(one, 100) for one in steps), tolerances, 1)
    return as_crossed(cases, solve_all(RIG, RIG.pick([]), cases), limits)


def read_back(text):
    """Its head, and of each choice the cells, without their label."""
    head, *tables = text.split("\n\n")
    return head, {t.split(":\n")[0]: [row.split() for row in t.splitlines()[2:]] for t in tables}


def loss(ohm, metres, load):
    return -20.0 * np.log10(1.0 + ohm * metres / load)


def test_the_figure_of_the_first_limit_is_marked_where_all_are_kept():
    """A damping factor is 8 ohm (the load's own) over the cable's; 0.5 dB at 8 ohm are 0.474 ohm of it."""
    limits = [Requirement("loss", 0.5), Requirement("damping", 30.0)]
    head, tables = read_back(crossed(LENGTH, SIZE, limits=limits))
    assert " ".join(head.split()) == (
        "Largest cable loss in dB, length of the pond run down, resistance of the reel cable across, "
        "* where all limits are kept:"
    )
    for choice, load in (("here", 8.0), ("there", 4.0)):
        for row, metres in zip(tables[choice], METRES, strict=True):
            assert row[:2] == [str(metres), "m"]
            for text, ohm in zip(row[2:], OHM, strict=True):
                level = loss(ohm, metres, load)
                assert float(text.rstrip("*")) == pytest.approx(level, abs=0.00501)
                keeps = level >= -0.5 and load / (ohm * metres) >= 30.0
                assert text.endswith("*") is bool(keeps)


@pytest.mark.parametrize(("below", "keeps"), [(0.0, True), (1e-9, False)])
def test_what_is_just_at_its_limit_keeps_it(below, keeps):
    """Marked in the table, and counted, at every limit."""
    cases = Cases((SteppedValue.of(LENGTH, 100), SteppedValue.of(SIZE, 100)), (), 1)
    found = solve_all(RIG, RIG.pick([]), cases)[:1]
    largest = [
        Requirement("loss", -float(found[0].worst_loss_db.min()) * (1.0 - below)),
        Requirement("heat", float(found[0].cable_share.max()) * (1.0 - below)),
        Requirement("damping", float(found[0].damping_factor.min()) * (1.0 + below)),
    ]
    for limit in largest[:2]:
        assert as_crossed(cases, found, [limit]).count("*") == 1 + 5 + keeps  # one in the head
        assert kept_share(found[0], [limit]) == (1.0 if keeps else 5 / 6)
    assert kept_share(found[0], largest) == (1.0 if keeps else 5 / 6)


@pytest.mark.parametrize(
    ("kind", "limit", "tag"),
    [
        ("loss", 0.35001, "loss-0.35001dB"),
        ("heat", 0.012345, "heat-1.2345percent"),
        ("damping", 20.001, "damping-20.001"),
    ],
)
def test_limits_that_differ_are_named_apart(kind, limit, tag):
    assert Requirement(kind, limit).tag == tag


def test_silence_is_no_number_of_decibels():
    assert measured_words(np.inf, "deviation") == cell(np.inf, "deviation")
    assert measured_words(1.0, "deviation").endswith("1.00 dB")


def test_without_a_limit_it_is_the_loss_at_the_reference():
    head, tables = read_back(crossed(SIZE, LENGTH))
    assert head.startswith("Loss at 1 kHz in dB, resistance of the reel cable down")
    assert [float(cell) for cell in tables["here"][1][2:]] == pytest.approx(
        [loss(0.016, metres, 8.0) for metres in METRES], abs=0.00501
    )


def test_the_longer_goes_down_where_it_has_no_room_across():
    many = "runs.pond.length = 10 m to 29 m in 20"
    limits = [Requirement("damping", 10.0)]
    for steps in ((many, SIZE), (SIZE, many)):
        text = crossed(*steps, limits=limits)
        assert max(map(len, text.splitlines())) <= 80
        head, tables = read_back(text)
        assert "length of the pond run down" in " ".join(head.split())
        assert len(tables["there"]) == 20
        assert float(tables["there"][19][3].rstrip("*")) == pytest.approx(4 / 0.016 / 29, rel=5e-3)


def test_where_neither_way_has_room_the_table_of_all_is_named():
    text = crossed(
        "runs.pond.length = 10 m to 30 m in 21", "runs.pond.temperature = 0 degC to 40 degC in 21"
    )
    assert " ".join(text.split()) == (
        "There is no room for a table of length of the pond run by temperature of the pond run; the CSV has "
        "all cases."
    )


def test_nothing_else_is_crossed():
    drawn = UncertainValue.of("loads.stage.resistance = 8 ohm +- 1 ohm", lambda place: None)
    assert crossed(LENGTH) == ""
    assert crossed(LENGTH, SIZE, tolerances=(drawn,)) == ""
    assert crossed(LENGTH, SIZE, "loads.stage.resistance = 4 ohm, 8 ohm") == ""
