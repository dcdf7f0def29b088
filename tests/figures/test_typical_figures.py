"""Figures of an unknown loudspeaker carry a range, and say what to find out."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

import auralize as au
from auralize.circuit.conductor import Real
from auralize.circuit.typical import CORNERS, KINDS, Variant
from auralize.errors import RigError
from auralize.figures import data
from auralize.figures.against import differences
from auralize.figures.numbers import figures
from auralize.figures.reference import sweep
from auralize.figures.typical import as_variant
from support.rig_loads import RESISTOR, flat, table, text, the, written

SMALL = 'type = "typical"\nkind = "{}"\nnominal = "8 ohm"\n'


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_has_a_range_and_says_that_it_is_invented(kind: str, tmp_path: Path) -> None:
    choice = the(tmp_path, text(SMALL.format(kind)))
    found = figures(choice, (figures(choice).reference_hz,))
    typical = found.typical
    assert typical is not None
    for name in ("loss_db", "deviation_db", "drop_db", "damping_factor"):
        spread = getattr(typical, name)
        assert spread.low <= spread.rendered <= spread.high
    assert typical.loss_db.rendered == found.loss_db
    assert typical.loss_db.low < typical.loss_db.high
    assert typical.deviation_db.rendered == abs(found.deviation_db)
    assert typical.drop_db.rendered == pytest.approx(found.lines[0].drop_db, rel=1e-12)
    printed = flat(table(choice))
    assert "load landing is typical, invented: a" in printed
    assert "which is invented" in printed
    assert "IEC 60268-5, value from memory" in printed
    assert "What matters most here is the " in printed
    assert json.loads(data.as_json("", [found]))["choices"][0]["typical"]["loads"] == ["landing"]


def test_the_range_is_that_of_all_corners(tmp_path: Path) -> None:
    choice = the(tmp_path, text(SMALL.format("three-way")))
    typical = figures(choice, (1000.0,)).typical
    losses = [figures(as_variant(choice, v), (1000.0,)).loss_db for v in CORNERS]
    assert typical is not None
    assert (typical.loss_db.low, typical.loss_db.high) == (min(losses), max(losses))


@pytest.mark.parametrize(
    ("kind", "length", "band", "matters"),
    [
        ("plain", "62 m", "20 Hz to 20 kHz", "lowest"),
        ("subwoofer", "62 m", "25 Hz to 120 Hz", "resonance"),
        ("subwoofer", "10 m", "20 Hz to 20 kHz", "inductance"),
    ],
)
def test_what_to_find_out_is_what_moves_the_figures(
    kind: str, length: str, band: str, matters: str, tmp_path: Path
) -> None:
    """A resistance has nothing else; low down a box resonates; a coil alone is left high up."""
    lines = text(SMALL.format(kind) + f'band = "{band}"\n').replace("62 m", length)
    choice = the(tmp_path, lines)
    typical = figures(choice, (1000.0,)).typical
    assert typical is not None
    assert {"lowest": "the lowest", "resonance": "the reson", "inductance": "the induct"}[
        matters
    ] in (typical.find_out)


def test_two_unknown_loudspeakers_go_together(tmp_path: Path) -> None:
    more = f"[loads.lawn]\n{SMALL.format('column')}"
    choice = the(tmp_path, text(SMALL.format("subwoofer"), more=more, top='listen = "lawn"'))
    found = figures(choice, (1000.0,))
    assert found.typical is not None
    assert found.typical.loads == ("landing", "lawn")
    assert "Over all that loads landing, lawn may be: loss" in flat(table(choice))


def test_what_is_known_has_no_range(tmp_path: Path) -> None:
    choice = the(tmp_path, text(RESISTOR))
    assert figures(choice, (1000.0,)).typical is None
    assert "invented" not in table(choice)


def test_rendered_sound_says_so(tmp_path: Path) -> None:
    choice = the(tmp_path, text(SMALL.format("column")))
    response = choice.response([1000.0])
    other = as_variant(choice, Variant(lowest=-1)).response([1000.0])
    assert np.abs(other[0]) < np.abs(response[0])
    assert any("typical, invented" in note for note in choice.notes)


@pytest.mark.parametrize(
    ("lines", "said"),
    [
        (
            'kind = "sub woofer"',
            r"loads.landing.kind: 'sub woofer' is not known \(did you mean 'subwoofer'",
        ),
        ("", r"loads.landing.kind: one of 'small two-way', .* is missing"),
        ('kind = "column"\nRe = "6 ohm"', r"loads.landing.Re: this key is not known here"),
    ],
)
def test_what_is_no_kind_is_refused(lines: str, said: str, tmp_path: Path) -> None:
    (tmp_path / "rig.toml").write_text(text(f'type = "typical"\nnominal = "8 ohm"\n{lines}\n'))
    with pytest.raises(RigError, match=said):
        au.load_rig(tmp_path / "rig.toml")


UNKNOWN = """title = "Saltmarsh Tide Mill: whatever stands in the drying loft"

[amplifier]
resistance = "20 mohm"

[cables.thin]
construction = "twin"
conductor = "0.75 mm2"

[cables.thick]
construction = "twisted pair"
conductor = "4 mm2"

[runs.loft]
cable = "thin"
length = "18 m"

[loads.loft]
type = "typical"
kind = "small two-way"
nominal = "8 ohm"

[choices.lying-there]

[choices.bought]
runs.loft.cable = "thick"
"""


def test_eight_ohm_that_is_all_i_know(tmp_path: Path) -> None:
    """From a size, a length and a kind to an answer: which cable is better holds for all of the range."""
    assert len(UNKNOWN.splitlines()) < 40
    (tmp_path / "loft.toml").write_text(UNKNOWN, encoding="utf-8")
    rig = au.load_rig(tmp_path / "loft.toml")
    there, bought = (figures(rig[name], (1000.0,)).typical for name in ("lying-there", "bought"))
    assert there is not None
    assert bought is not None
    assert there.loss_db.high < bought.loss_db.low < 0.0
    assert there.drop_db.low > bought.drop_db.high
    printed = " ".join(rig["bought"].notes)
    assert "lay_length" in printed
    assert "typical, invented: a small two-way loudspeaker of 8 ohm" in printed


def test_a_comparison_says_what_the_unknown_leaves_open(tmp_path: Path) -> None:
    """The change of the difference between two cables over all corners, both with the same loudspeaker."""
    lines = text(SMALL.format("small two-way")) + '[choices]\na = {}\nb.runs.quay.length = "90 m"\n'
    rig = au.load_rig(written(tmp_path, lines))
    a, b = rig.pick([])
    (found,) = differences([b], a)
    f = sweep((20.0, 20e3))

    def apart(variant: Variant | None) -> Real:
        both = [c if variant is None else as_variant(c, variant) for c in (a, b)]
        level = [20.0 * np.log10(np.abs(c.response(f))) for c in both]
        return np.asarray(level[1] - level[0])

    known = apart(None)
    most = max(float(np.abs(apart(corner) - known).max()) for corner in CORNERS)
    assert found.open_db == pytest.approx(most, rel=1e-9)
    assert most > 0.01


def test_what_is_one_way_of_a_system_is_judged_where_it_plays(tmp_path: Path) -> None:
    sub = figures(the(tmp_path, text(SMALL.format("subwoofer"))))
    assert (sub.band_hz, sub.reference_hz) == ((30.0, 200.0), 80.0)
    assert any("judged from 30 Hz to 200 Hz, as no band is given" in note for note in sub.notes)
    given = figures(the(tmp_path, text(SMALL.format("subwoofer") + 'band = "40 Hz to 90 Hz"')))
    assert given.band_hz == (40.0, 90.0)
    assert not any("as no band is given" in note for note in given.notes)
    horn = figures(the(tmp_path, text(SMALL.format("compression-driver horn"))))
    assert (horn.band_hz, horn.reference_hz) == ((500.0, 20e3), 1000.0)
    assert figures(the(tmp_path, text(SMALL.format("column")))).band_hz == (20.0, 20e3)
