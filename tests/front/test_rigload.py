"""Loads, joints, transformers, measurements and faults in a rig file: what is refused, what is meant."""

from __future__ import annotations

import csv
import io
import json
import math
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pytest
import soundfile as sf

from auralize.circuit.cable import Dielectric, MeasuredCable, make_pair
from auralize.circuit.conductor import MATERIALS, make_conductor
from auralize.circuit.loudspeaker import Driver, Vent
from auralize.circuit.network import Amplifier, Connected, Network, Run, solve
from auralize.commands.main import main
from auralize.errors import AudioFileError, RigError
from auralize.figures import text as show
from auralize.figures.numbers import figures
from auralize.figures.picture import save_plot
from auralize.filters.export import export_filter
from auralize.render import Wishes, render
from auralize.rig.choice import Choice
from auralize.rig.measured import write_impedance
from auralize.rig.reading import load_rig
from auralize.rig.touchstone import write_touchstone

DRIVER = """type = "driver"
nominal = "8 ohm"
Re = "5.5 ohm"
fs = "42 Hz"
Qms = 5.0
Qes = 0.38
"""
RESISTOR = 'type = "resistor"\nresistance = "8 ohm"\n'
TWIN = 'construction = "twin"\nconductor = "2.5 mm2"\ninsulation = "0.8 mm"\n'
MEASURED = 'type = "measured"\nnominal = "8 ohm"\n'
TAP = 'line = "100 V"\ntap = "20 W"\nsecondary = "8 ohm"\n'


def text(
    load: str = RESISTOR,
    *,
    top: str = "",
    amplifier: str = "",
    cable: str = TWIN,
    run: str = "",
    more: str = "",
) -> str:
    """A rig of the ferry landing: one run, one load, and lines of TOML put into each part."""
    return f"""{top}
[amplifier]
resistance = "0.05 ohm"
{amplifier}
[cables.reel]
{cable}
[runs.quay]
cable = "reel"
length = "62 m"
{run}
[loads.landing]
{load}
{more}
"""


def crossover(*rungs: str, end: str = "to woofer") -> str:
    """A load of one way with these rungs."""
    ladder = ", ".join(f'"{rung}"' for rung in (*rungs, end))
    woofer = DRIVER.split("\n", 2)[2]
    return f"""type = "crossover"
nominal = "8 ohm"
[loads.landing.ways]
low = [{ladder}]
[loads.landing.drivers.woofer]
{woofer}"""


def written(folder: Path, content: str) -> Path:
    path = folder / "landing.toml"
    path.write_text(content, encoding="utf-8")
    return path


def the(folder: Path, content: str) -> Choice:
    (choice,) = load_rig(written(folder, content)).choices.values()
    return choice


def table(choice: Choice, *frequencies: float) -> str:
    """The figures as they are printed."""
    return show.as_table("landing", [figures(choice, frequencies or (1000.0,))])


def flat(printed: str) -> str:
    """Without the line breaks that the width of the terminal asks for."""
    return " ".join(printed.split())


# ---- malformed ------------------------------------------------------------------------------------


class Bad(NamedTuple):
    """A spoilt rig file, and what its refusal must say."""

    text: str
    place: str
    """Dotted path of the field."""
    found: str
    right: str


def ladder(*rungs: str, found: str, right: str, end: str = "to woofer") -> Bad:
    return Bad(text(crossover(*rungs, end=end)), "loads.landing.ways.low", found, right)


def load(lines: str, key: str, found: str, right: str, base: str = DRIVER) -> Bad:
    return Bad(text(base + lines), f"loads.landing{key}", found, right)


def tap(lines: str, key: str, found: str, right: str) -> Bad:
    return Bad(text(more=f"[transformers.tap]\n{lines}"), f"transformers.tap{key}", found, right)


def joint(value: str, key: str, found: str, right: str) -> Bad:
    return Bad(text(run=f"far = {value}"), f"runs.quay.far{key}", found, right)


def programme(lines: str, key: str, found: str, right: str) -> Bad:
    return Bad(text(more=f"[programme]\n{lines}"), f"programme{key}", found, right)


def reel(lines: str, key: str, found: str, right: str) -> Bad:
    return Bad(text(cable=f'construction = "measured"\n{lines}'), f"cables.reel{key}", found, right)


FORM = 'is written like "8 ohm", "0.68 mH 0.3 ohm" or "22 uF"'
BAD = {
    # ladders
    "rung without its place": ladder("1 mH", found="'1 mH'", right='begins with "series"'),
    "rung of another place": ladder("parallel 1 mH", found="'parallel 1 mH'", right='"shunt"'),
    "rung without a part": ladder("series", found="'series'", right=FORM),
    "part without a unit": ladder("series 1", found="'series 1'", right=FORM),
    "part in words": ladder("series 1 mH DCR 0.3 ohm", found="DCR", right=FORM),
    "part in brackets": ladder("shunt (8 ohm + 1 uF)", found="(8 ohm", right=FORM),
    "three values": ladder("series 1 mH 1 ohm 2 ohm", found="1 ohm 2 ohm", right=FORM),
    "sign without a second part": ladder("shunt 8 ohm +", found="'shunt 8 ohm +'", right=FORM),
    "sign without a first part": ladder("shunt | 8 ohm", found="'shunt | 8 ohm'", right=FORM),
    "decimal comma": ladder("series 0,68 mH", found="0,68 mH", right="comma"),
    "small f": ladder("shunt 22 uf", found="'22 uf'", right='"10 uF"'),
    "megahenry": ladder("series 1 MH", found="'1 MH'", right='"0.5 mH"'),
    "coil of nothing": ladder("series 0 mH", found="'0 mH'", right="from 1 nH to 10 H"),
    "coil like a power station": ladder("series 90 H", found="'90 H'", right="from 1 nH to 10 H"),
    "capacitor in farad": ladder("shunt 22 F", found="'22 F'", right="from 1 pF to 1000 mF"),
    "resistor of nothing": ladder("shunt 0 ohm", found="'0 ohm'", right="from 1 mohm"),
    "winding below zero": ladder("series 1 mH -1 ohm", found="'-1 ohm'", right="from 0 ohm"),
    "winding in farad": ladder("series 1 mH 1 uF", found="'1 uF'", right='"8 ohm"'),
    "resistor with two values": ladder("series 1 ohm 2 ohm", found="two values", right="has one"),
    "end that is no driver": ladder(end="to tweeter", found="'to tweeter'", right='"to woofer"'),
    "no end": ladder(end="series 1 mH", found="'series 1 mH'", right='"to woofer"'),
    "end in the middle": ladder("to woofer", found="'to woofer'", right='"shunt"'),
    "ladder that is a text": Bad(
        text(crossover().replace('["to woofer"]', '"to woofer"')),
        "loads.landing.ways.low",
        "'to woofer'",
        "list of rungs",
    ),
    "ladder with a number": Bad(
        text(crossover().replace('["to woofer"]', '[1, "to woofer"]')),
        "loads.landing.ways.low",
        "[1, 'to woofer']",
        "list of rungs",
    ),
    "empty ladder": Bad(
        text(crossover().replace('["to woofer"]', "[]")),
        "loads.landing.ways.low",
        "[]",
        "list of rungs",
    ),
    "no ways": load(
        "", ".ways", "missing", '"to tweeter"', 'type = "crossover"\nnominal="8 ohm"\n'
    ),
    "no drivers": Bad(
        text('type = "crossover"\nnominal = "8 ohm"\nways.low = ["to woofer"]'),
        "loads.landing.ways.low",
        "'to woofer'",
        "[drivers.NAME]",
    ),
    "driver that no way leads to": Bad(
        text(crossover() + '[loads.landing.drivers.tweeter]\nresistance = "6 ohm"'),
        "loads.landing.ways",
        "'tweeter'",
        '"to tweeter"',
    ),
    "unknown key of a way's driver": Bad(
        text(crossover() + "Qts = 0.35"), "loads.landing.drivers.woofer.Qts", "not known", "'Qms'"
    ),
    # drivers
    "box without Vas": load('box = "45 l"', ".Vas", "missing", "volume"),
    "Vas without box": load('Vas = "70 l"', ".box", "missing", "volume"),
    "tuning without box": load('tuning = "44 Hz"', ".Vas", "missing", "volume"),
    "leakage without a vent": load("leakage_Q = 7", ".leakage_Q", "no vent", "tuning"),
    "L2 without R2": load('L2 = "1 mH"', ".R2", "L2 alone", "both"),
    "R2 without L2": load('R2 = "3 ohm"', ".L2", "R2 alone", "both"),
    "coil that glows": load(
        'coil_temperature = "300 degC"', ".coil_temperature", "'300 degC'", "to 200 degC"
    ),
    "coil temperature without a unit": load(
        "coil_temperature = 150", ".coil_temperature", "'150'", '"35 degC"'
    ),
    "none in parallel": load("parallel = 0", ".parallel", "0 was found", "from 1 to 100"),
    "one and a half in series": load("series = 1.5", ".series", "1.5", "whole number"),
    "parallel in quotes": load('parallel = "2"', ".parallel", "'2'", "plain number"),
    "reversed in words": load('reversed = "yes"', ".reversed", "'yes'", "true or false"),
    "at a run that is not there": load('at = "quai"', ".at", "'quai'", "did you mean 'quay'"),
    "unknown type": load("", ".type", "'horn'", "'driver'", 'type = "horn"\n'),
    "fault without a rating": load("", ".nominal", "missing", "resistance", 'type = "open"\n'),
    # measured loads
    "no file": load("", ".file", "missing", "value", MEASURED),
    "file that is not there": load('file = "no.txt"', ".file", "no.txt", "no such file", MEASURED),
    "file that is a number": load("file = 3", ".file", "3", "text in quotes", MEASURED),
    "two-port as a load": load('file = "c.s2p"', ".file", "c.s2p", ".s1p", MEASURED),
    "too few lines": load('file = "few.txt"', ".file", "2 frequencies", "4 or more", MEASURED),
    "word in the table": load('file = "word.txt"', ".file", "line 2: 'x'", "number", MEASURED),
    "phase of a generator": load('file = "act.txt"', ".file", "line 3", "-90 and 90", MEASURED),
    "DC resistance of nothing": load(
        'file = "z.txt"\ndc_resistance = "0 ohm"', ".dc_resistance", "'0 ohm'", "0.01 ohm", MEASURED
    ),
    "Re of a measured load": load(
        'file = "z.txt"\nRe = "6 ohm"', ".Re", "not known", "dc_resistance", MEASURED
    ),
    # joints
    "joint without a unit": joint("1.2", "", "'1.2'", '"8 ohm"'),
    "joint below zero": joint('"-1 ohm"', "", "'-1 ohm'", "from 0 ohm to 1 kohm"),
    "joint as a list": joint('["1 ohm"]', "", "1 ohm", "resistance in quotes"),
    "leg without a unit": joint("{ plus = 1 }", ".plus", "'1'", '"8 ohm"'),
    "leg of another name": joint('{ left = "1 ohm" }', ".left", "not known", "minus, plus"),
    "leg misspelt": joint('{ minsu = "1 ohm" }', ".minsu", "not known", "'minus'"),
    "terminals beyond all": load(
        'contact = { plus = "2 kohm" }', ".contact.plus", "'2 kohm'", "1 kohm"
    ),
    # transformers
    "empty transformer": tap("", ".tap", "missing", "power"),
    "tap without a line": tap('tap = "20 W"', ".line", "missing", "voltage"),
    "tap without a secondary": tap('tap="20 W"\nline="100 V"', ".secondary", "missing", "resist"),
    "step-up without power": tap('input="28 V"\noutput="100 V"', ".power", "missing", "power"),
    "tap and step-up": tap('line = "100 V"\ninput = "28 V"', ".input", "'line'", "keep one"),
    "tap in volt-ampere": tap(TAP.replace(" W", " VA"), ".tap", "'20 VA'", '"50 W"'),
    "insertion loss beyond all": tap(
        TAP + 'insertion_loss = "7 dB"', ".insertion_loss", "'7 dB'", "0 dB to 6 dB"
    ),
    "insertion gain": tap(
        TAP + 'insertion_loss = "-1 dB"', ".insertion_loss", "'-1 dB'", "0 dB to 6 dB"
    ),
    "ratio, which follows from the tap": tap(TAP + "ratio = 8", ".ratio", "not known", "secondary"),
    "transformer fed from itself": Bad(
        text(RESISTOR + 'at = "quay"', more=f'[transformers.tap]\nfrom = "tap"\n{TAP}'),
        "runs",
        "tap",
        "feed each other in a circle",
    ),
    "transformer named as a run": Bad(
        text(more=f"[transformers.quay]\n{TAP}"), "transformers.quay", "'quay'", "another name"
    ),
    # the programme and the amplifier
    "programme without a voltage": programme("", ".voltage", "missing", "a voltage"),
    "voltage in dB": programme('voltage = "28 dB"', ".voltage", "'28 dB'", '"100 V"'),
    "unknown signal": programme(
        'voltage = "28 V"\nsignal = "white noise"', ".signal", "'white noise'", "'pink noise'"
    ),
    "crest factor under a sine's": programme(
        'voltage = "28 V"\ncrest_factor = 1', ".crest_factor", "1 was found", "from 1.4"
    ),
    "frequency of noise": programme(
        'voltage = "28 V"\nfrequency = "1 kHz"', ".frequency", "not known", "crest_factor"
    ),
    "rating without a unit": Bad(
        text(amplifier="rating = 250"), "amplifier.rating", "'250'", '"50 W"'
    ),
    "short on an ideal amplifier": Bad(
        text('type = "short"\nnominal = "8 ohm"\nat = "amplifier"').replace("0.05 ohm", "0 ohm"),
        "amplifier",
        "feeds a short circuit",
        "give it, or what shorts it, a resistance",
    ),
    # measured cables
    "two-port without its length": reel('file = "c.s2p"', ".measured_length", "missing", "length"),
    "table with a length": reel(
        'file = "cable.txt"\nmeasured_length = "3 m"', ".measured_length", "per metre", "leave this"
    ),
    "length without a file": reel(
        'resistance = "15 ohm/km"\ninductance = "0.6 uH/m"\nmeasured_length = "3 m"',
        ".measured_length",
        "not known",
        "inductance",
    ),
    "file and resistance": reel(
        'file = "cable.txt"\nresistance = "15 ohm/km"', ".resistance", "'file'", "keep one"
    ),
    "cable file that is not there": reel('file = "no.txt"', ".file", "no.txt", "no such file"),
    "a load's table as a cable": reel('file = "z.txt"', ".file", "line 1: 3 numbers", "F/m"),
    "conductor of a measured cable": reel(
        'file = "cable.txt"\nconductor = "4 mm2"', ".conductor", "not known", "measured_at"
    ),
}

FILES = {
    "z.txt": "20 8 0\n40 9 20\n80 8 0\n160 7 -10\n",
    "few.txt": "20 8 0\n40 8 0\n",
    "word.txt": "20 8 0\n40 x 0\n80 8 0\n160 8 0\n",
    "act.txt": "# a comment counts as a line\n20 8 0\n40 8 95\n80 8 0\n160 8 0\n",
    "cable.txt": "".join(f"{f} 0.0148 6.5e-7 6e-11\n" for f in (20, 200, 2000, 20000)),
    "c.s2p": "# HZ S RI R 50\n" + "".join(f"{f} 0 0 1 0 1 0 0 0\n" for f in (20, 200, 2000, 9000)),
}


@pytest.fixture
def landing(tmp_path: Path) -> Path:
    for name, content in FILES.items():
        (tmp_path / name).write_text(content, encoding="utf-8")
    return tmp_path


def test_there_are_many_ways_to_be_wrong() -> None:
    assert len(BAD) >= 40


@pytest.mark.parametrize("name", BAD)
def test_a_slip_is_told_by_file_field_find_and_remedy(name: str, landing: Path) -> None:
    bad = BAD[name]
    path = written(landing, bad.text)
    with pytest.raises(RigError) as refused:
        load_rig(path)
    sentence = str(refused.value)
    assert sentence.startswith(f"{path}: {bad.place}: ")
    assert bad.found in sentence
    assert bad.right in sentence
    assert sentence.isprintable(), "more than one line"


def test_a_slip_in_a_choice_is_told_where_the_choice_has_it(landing: Path) -> None:
    content = text(DRIVER, more="[choices.wet]\nloads.landing.contact = '1'")
    path = written(landing, content)
    with pytest.raises(RigError) as refused:
        load_rig(path)
    assert str(refused.value).startswith(
        f"{path}: choices.wet.loads.landing.contact: '1' has no unit"
    )


# ---- what a ladder means --------------------------------------------------------------------------

F = np.geomspace(20.0, 20e3, 31)
S = 2j * np.pi * F


def impedance(folder: Path, *rungs: str) -> np.ndarray:
    """ohm of a one-way crossover that ends in 6 ohm."""
    load = crossover(*rungs).split("[loads.landing.drivers.woofer]")[0]
    choice = the(folder, text(f'{load}[loads.landing.drivers.woofer]\nresistance = "6 ohm"'))
    return choice.network.loads["landing"].load.impedance(F)


def beside(*parts: complex | np.ndarray) -> complex | np.ndarray:
    return 1.0 / sum(1.0 / part for part in parts)


C22, L1 = 1.0 / (S * 22e-6), S * 1e-3
LADDERS = {
    "nothing but the driver": ((), 6.0 + 0 * S),
    "a coil": (("series 1 mH",), L1 + 6.0),
    "a coil with its winding": (("series 1 mH 0.3 ohm",), L1 + 0.3 + 6.0),
    "a winding in milliohm": (("series 1 mH 300 mohm",), L1 + 0.3 + 6.0),
    "a capacitor with its own resistance": (("series 22 uF 0.1 ohm",), C22 + 0.1 + 6.0),
    "a capacitor across": (("shunt 22 uF",), beside(C22, 6.0)),
    "order: coil before capacitor": (("series 1 mH", "shunt 22 uF"), L1 + beside(C22, 6.0)),
    "order: capacitor before coil": (("shunt 22 uF", "series 1 mH"), beside(C22, L1 + 6.0)),
    "+ puts one behind the other": (("shunt 8 ohm + 22 uF",), beside(8.0 + C22, 6.0)),
    "| puts side by side": (("series 1 mH | 22 uF | 20 ohm",), beside(L1, C22, 20.0) + 6.0),
    "+ is taken together before |": (
        ("series 1 ohm + 1 mH 0.2 ohm | 22 uF",),
        beside(1.0 + L1 + 0.2, C22) + 6.0,
    ),
    "without spaces": (("shunt 8ohm+22uF", "series 1mH 0.3ohm"), beside(8 + C22, L1 + 6.3)),
    "with powers of ten": (("series 1e-3 H", "series 1e+1 ohm"), L1 + 16.0),
    "other spellings": (("series 22 µF", "series 8 Ω", "series 2 ohms"), C22 + 16.0),
    "L-pad": (("series 2.7 ohm", "shunt 12 ohm"), 2.7 + beside(12.0, 6.0) + 0 * S),
}


@pytest.mark.parametrize("name", LADDERS)
def test_ladders_by_hand(name: str, tmp_path: Path) -> None:
    rungs, expected = LADDERS[name]
    np.testing.assert_allclose(impedance(tmp_path, *rungs), expected, rtol=1e-12)


def test_ways_are_side_by_side_and_may_end_in_drivers_of_one_kind(tmp_path: Path) -> None:
    content = crossover("series 1 mH").replace(
        "[loads.landing.drivers", 'high = ["series 22 uF", "to  woofer"]\n[loads.landing.drivers'
    )
    found = the(tmp_path, text(content)).network.loads["landing"].load.impedance(F)
    driver = Driver(5.5, 42.0, 5.0, 0.38).impedance(F)
    np.testing.assert_allclose(found, beside(L1 + driver, C22 + driver), rtol=1e-12)


def test_loads_in_series_and_parallel_have_the_rating_that_follows(tmp_path: Path) -> None:
    choice = the(tmp_path, text(DRIVER + "series = 2\nparallel = 3"))
    one = Driver(5.5, 42.0, 5.0, 0.38).impedance(F)
    found = choice.network.loads["landing"].load.impedance(F)
    np.testing.assert_allclose(found, one * 2.0 / 3.0, rtol=1e-12)
    assert choice.loads["landing"].nominal == pytest.approx(8.0 * 2.0 / 3.0)


def test_a_vented_box_and_a_hot_coil_are_the_driver_s(tmp_path: Path) -> None:
    lines = 'Vas = "70 l"\nbox = "45 l"\ntuning = "44 Hz"\ncoil_temperature = "150 degC"'
    found = the(tmp_path, text(DRIVER + lines)).network.loads["landing"].load
    same = Driver(
        5.5, 42.0, 5.0, 0.38, stiffness_ratio=70 / 45, vent=Vent(44.0, 7.0), coil_celsius=150.0
    )
    np.testing.assert_allclose(found.impedance(F), same.impedance(F), rtol=1e-12)
    # 0.393 % a kelvin, IEC 60028
    assert found.impedance(np.zeros(1))[0].real == pytest.approx(5.5 * (1 + 0.00393 * 130))


# ---- measured -------------------------------------------------------------------------------------


def test_measurements_are_looked_for_beside_the_rig_file(
    landing: Path, monkeypatch: pytest.MonkeyPatch, tmp_path_factory: pytest.TempPathFactory
) -> None:
    monkeypatch.chdir(tmp_path_factory.mktemp("elsewhere"))
    (landing / "data").mkdir()
    (landing / "z.txt").rename(landing / "data" / "z.txt")
    choice = the(landing, text(MEASURED + 'file = "data/z.txt"'))
    found = choice.network.loads["landing"].load.impedance(np.array([40.0]))[0]
    assert found == pytest.approx(9.0 * np.exp(1j * math.radians(20.0)), rel=1e-12)


def test_figures_name_the_range_that_was_measured(landing: Path) -> None:
    cable = 'construction = "measured"\nfile = "mid.txt"'
    (landing / "mid.txt").write_text(
        "".join(f"{f} 0.0148 6.5e-7 6e-11\n" for f in (100, 300, 1000, 9000))
    )
    choice = the(landing, text(MEASURED + 'file = "z.txt"', cable=cable))
    assert len(choice.notes) == 2
    printed = table(choice)
    assert "load landing is measured from 20 Hz to 160 Hz only: above, " in flat(printed)
    assert "cable reel is measured from 100 Hz to 9 kHz only: below, " in flat(printed)
    assert json.loads(show.as_json("", [figures(choice)]))["choices"][0]["notes"] == list(
        choice.notes
    )
    assert max(map(len, printed.splitlines())) <= 80


def test_what_is_measured_over_all_the_band_needs_no_word(landing: Path) -> None:
    assert the(landing, text(cable='construction = "measured"\nfile = "cable.txt"')).notes == ()


PAIR = make_pair(
    make_conductor(2.5e-6, MATERIALS["copper"], None, 0.75, 20.0),
    3.66e-3,
    permittivity=3.5,
    loss_tangent=0.05,
)


def responses(choice: Choice) -> np.ndarray:
    return solve(choice.network, F).receiving["landing"]


def test_a_cable_of_a_table_is_the_cable_that_was_measured(landing: Path) -> None:
    f = 10.0 * 2.0 ** (np.arange(11 * 12 + 1) / 12.0)
    z, y = PAIR.series(f), PAIR.shunt(f)
    rows = zip(f, z.real, z.imag / (2 * np.pi * f), y.imag / (2 * np.pi * f), strict=True)
    lines = "\n".join(" ".join(repr(float(v)) for v in row) for row in rows)
    (landing / "pair.txt").write_text("Hz ohm/m H/m F/m\n" + lines)
    measured = the(landing, text(DRIVER, cable='construction = "measured"\nfile = "pair.txt"'))
    ratio = responses(measured) / _reference(20.0)
    assert np.abs(20.0 * np.log10(np.abs(ratio))).max() < 0.0005
    assert np.abs(np.angle(ratio, deg=True)).max() < 0.005


def test_a_cable_of_a_two_port_is_the_cable_that_was_measured(landing: Path) -> None:
    """20 m measured, 62 m laid: S-parameters from the chain matrix by the textbook's formulas."""
    f = 10.0 * 2.0 ** (np.arange(11 * 12 + 1) / 12.0)
    m, r = Run(PAIR, 20.0).two_port(f), 50.0
    a, b, c, d = m[:, 0, 0], m[:, 0, 1], m[:, 1, 0], m[:, 1, 1]
    total = a + b / r + c * r + d
    s11, s22 = (a + b / r - c * r - d) / total, (-a + b / r - c * r + d) / total
    scattering = np.stack([np.stack([s11, 2 / total], -1), np.stack([2 / total, s22], -1)], -2)
    write_touchstone(landing / "pair.s2p", f, scattering)
    lines = 'construction = "measured"\nfile = "pair.s2p"\nmeasured_length = "20 m"'
    ratio = responses(the(landing, text(DRIVER, cable=lines))) / _reference(20.0)
    assert np.abs(20.0 * np.log10(np.abs(ratio))).max() < 0.005
    assert np.abs(np.angle(ratio, deg=True)).max() < 0.05


def _reference(celsius: float) -> np.ndarray:
    conductor = make_conductor(2.5e-6, MATERIALS["copper"], None, 0.75, celsius)
    pair = make_pair(conductor, 3.66e-3, permittivity=3.5, loss_tangent=0.05)
    driver = Driver(5.5, 42.0, 5.0, 0.38)
    runs = {"quay": Run(pair, 62.0)}
    return solve(
        Network(Amplifier(0.05), runs, {"landing": Connected(driver, "quay")}), F
    ).receiving["landing"]


def test_a_measured_cable_gets_warm_as_a_described_one_does(landing: Path) -> None:
    """What is measured at 20 degC and laid at 70 degC, against the field solved at 70 degC."""
    f = 10.0 * 2.0 ** (np.arange(11 * 12 + 1) / 12.0)
    z, y = PAIR.series(f), PAIR.shunt(f)
    rows = zip(f, z.real, z.imag / (2 * np.pi * f), y.imag / (2 * np.pi * f), strict=True)
    (landing / "pair.txt").write_text("\n".join(" ".join(map(str, row)) for row in rows))
    lines = 'construction = "measured"\nfile = "pair.txt"'
    choice = the(landing, text(DRIVER, cable=lines, run='temperature = "70 degC"'))
    ratio = responses(choice) / _reference(70.0)
    assert np.abs(20.0 * np.log10(np.abs(ratio))).max() < 0.02
    cold = responses(choice) / _reference(20.0)
    assert np.abs(20.0 * np.log10(np.abs(cold))).max() > 0.1  # or the check above checks nothing


@pytest.mark.parametrize("square_millimetres", [2.5, 4.0, 10.0])
def test_warmth_of_a_measured_cable_is_within_the_error_that_is_stated(
    square_millimetres: float, landing: Path
) -> None:
    """3 % of R for 20 % more resistance, 10 Hz to 20 kHz, against the solved field."""
    f = np.geomspace(10.0, 20e3, 120)
    warm = 20.0 + 0.2 / 0.00393
    cold_pair, warm_pair = (
        make_pair(
            make_conductor(square_millimetres * 1e-6, MATERIALS["copper"], None, 0.75, celsius),
            2.6 * math.sqrt(square_millimetres * 1e-6 / 0.75 / math.pi),
            permittivity=3.5,
            loss_tangent=0.0,
        )
        for celsius in (20.0, warm)
    )
    z = cold_pair.series(f)
    rows = zip(f, z.real, z.imag / (2 * np.pi * f), 0 * f, strict=True)
    (landing / "pair.txt").write_text("\n".join(" ".join(map(str, row)) for row in rows))
    lines = 'construction = "measured"\nfile = "pair.txt"'
    run = the(landing, text(cable=lines, run=f'temperature = "{warm} degC"')).network.runs["quay"]
    found, expected = run.cable.series(f).real, warm_pair.series(f).real
    assert np.abs(found / expected - 1.0).max() < 0.03
    assert np.abs(found / z.real - 1.0).max() > 0.15


def test_a_choice_may_replace_numbers_by_a_file_and_back(landing: Path) -> None:
    numbers = 'construction = "measured"\nresistance = "15 ohm/km"\ninductance = "0.65 uH/m"'
    choices = """
[choices.numbers]
[choices.file]
cables.reel.file = "cable.txt"
"""
    rig = load_rig(written(landing, text(cable=numbers, more=choices)))
    ohms = {
        n: c.network.runs["quay"].cable.series(np.zeros(1))[0].real for n, c in rig.choices.items()
    }
    assert ohms == pytest.approx({"numbers": 0.015, "file": 0.0148}, rel=1e-6)
    assert isinstance(rig.choices["numbers"].network.runs["quay"].cable, MeasuredCable)


# ---- joints ---------------------------------------------------------------------------------------

OHMIC = 'construction = "measured"\nresistance = "10 ohm/km"\ninductance = "1 nH/m"'  # 0.62 ohm


def test_a_joint_in_one_leg_is_in_the_loop_once(tmp_path: Path) -> None:
    one = the(tmp_path, text(cable=OHMIC, run='far = { plus = "1 ohm" }'))
    both = the(tmp_path, text(cable=OHMIC, run='far = "0.5 ohm"'))
    at_dc = [solve(c.network, [0.0]).receiving["landing"][0] for c in (one, both)]
    by_hand = 8.0 / (8.0 + 1.0 + 0.62 + 0.05)
    assert at_dc == pytest.approx([by_hand, by_hand], rel=1e-12)


def test_a_joint_in_one_leg_keeps_its_drop_in_that_leg(tmp_path: Path) -> None:
    choice = the(tmp_path, text(cable=OHMIC, run='near = { minus = "1 ohm" }'))
    found = solve(choice.network, [0.0])
    current = 1.0 / (8.0 + 1.0 + 0.62 + 0.05)
    assert found.leg_drop("landing", "plus")[0] == pytest.approx(current * 0.31, rel=1e-9)
    assert found.leg_drop("landing", "minus")[0] == pytest.approx(current * 1.31, rel=1e-9)


def test_figures_say_which_leg(tmp_path: Path) -> None:
    run = 'near = "3 mohm"\nfar = { plus = "1.2 ohm", minus = "8 mohm" }'
    printed = flat(table(the(tmp_path, text(run=run))))
    assert "joints of 1.20 ohm in plus and 11.0 mohm in minus" in printed
    printed = flat(table(the(tmp_path, text(run='near = "3 mohm"'))))
    assert "joints of 3.00 mohm in each conductor" in printed
    assert "joints" not in table(the(tmp_path, text()))


def test_a_joint_that_burns_is_a_caution(tmp_path: Path) -> None:
    run = 'far = { plus = "1.2 ohm" }'
    printed = flat(table(the(tmp_path, text(run=run, more='[programme]\nvoltage = "28.3 V"'))))
    assert "in its joints (Caution: they get hot)" in printed
    quiet = flat(table(the(tmp_path, text(run=run, more='[programme]\nvoltage = "2.83 V"'))))
    assert "in its joints" in quiet
    assert "Caution" not in quiet


# ---- faults ---------------------------------------------------------------------------------------

BRANCHES = """
listen = "{listen}"
[amplifier]
resistance = "0.05 ohm"
rating = "250 W"
[programme]
voltage = "28.3 V"
[cables.reel]
{cable}
[runs.quay]
cable = "reel"
length = "62 m"
[runs.boathouse]
cable = "reel"
length = "20 m"
from = "quay"
[loads.landing]
{driver}at = "quay"
[loads.boathouse]
type = "{fault}"
nominal = "8 ohm"
at = "{at}"
"""


def branches(folder: Path, fault: str, at: str, listen: str) -> Choice:
    content = BRANCHES.format(fault=fault, at=at, listen=listen, cable=TWIN, driver=DRIVER)
    return the(folder, content)


def noise(folder: Path, rate: int = 8000) -> Path:
    path = folder / "gulls.wav"
    wave = 0.1 * np.random.default_rng(4).standard_normal((rate // 4, 1))
    sf.write(path, wave.clip(-0.9, 0.9), rate, subtype="DOUBLE")
    return path


@pytest.mark.parametrize("listen", ["landing", "boathouse"])
@pytest.mark.parametrize("at", ["boathouse", "quay", "amplifier"])
@pytest.mark.parametrize("fault", ["open", "short"])
def test_every_command_bears_a_fault(fault: str, at: str, listen: str, tmp_path: Path) -> None:
    choice = branches(tmp_path, fault, at, listen)
    found = figures(choice, (0.0, 20.0, 1000.0, 20e3))
    printed = show.as_table("landing", [found])
    assert "nan" not in printed.lower()
    assert max(map(len, printed.splitlines())) <= 80
    assert "load boathouse is " + ("open" if fault == "open" else "shorted") in flat(printed)
    told = json.loads(show.as_json("landing", [found]))  # refuses NaN and infinity by itself
    assert (told["choices"][0]["driven"] is None) == (fault == "short" and at == "amplifier")
    for row in csv.DictReader(io.StringIO(show.as_csv([found]))):
        values = [float(v) for k, v in row.items() if k != "choice" and v]
        assert np.isfinite(values).all()
    save_plot("landing", [choice], tmp_path / "plot.svg")
    wishes = Wishes(signals=("receiving", "drop", "sending"), makeup=0.0, depth="FLOAT")
    done = render(noise(tmp_path), [choice], tmp_path, wishes)
    heard = {o.signal: sf.read(o.path)[0] for o in done.outputs}
    np.testing.assert_allclose(heard["receiving"] + heard["drop"], heard["sending"], atol=2e-7)
    silent = fault == "short" and (at != "boathouse" or listen == "boathouse")
    assert (np.abs(heard["receiving"]).max() == 0.0) == silent


def test_a_short_far_away_leaves_the_rest_to_be_heard_and_cautions(tmp_path: Path) -> None:
    """At 0 Hz by hand: the spur's copper (rho/A) beside 5.5 ohm, behind that of the run."""
    found = figures(branches(tmp_path, "short", "boathouse", "landing"), (0.0,))
    run, spur = (2.0 * metres * 1.7241e-8 / 2.5e-6 for metres in (62.0, 20.0))
    both = beside(spur, 5.5)
    assert found.lines[0].loss_db == pytest.approx(20.0 * math.log10(both / (both + run)), rel=1e-6)
    assert both + run < found.lowest_ohm < 1.01 * (both + run)  # at 20 Hz, not at 0
    printed = flat(show.as_table("", [found]))
    assert "Caution: the amplifier sees 1.1 ohm" in printed
    assert "Caution: that overloads it" in printed
    assert "its protection may act" in printed


def test_an_open_branch_is_no_danger_and_says_so(tmp_path: Path) -> None:
    printed = flat(table(branches(tmp_path, "open", "boathouse", "landing")))
    assert "Transistor amplifiers bear this; one with valves must not run" in printed
    assert "Caution" not in printed


def test_listening_to_a_short_is_silence_and_to_an_open_is_a_voltage(tmp_path: Path) -> None:
    short = figures(branches(tmp_path, "short", "boathouse", "boathouse"))
    assert short.loss_1khz_db == -math.inf
    assert short.deviation_db == 0.0
    assert "silent" in show.as_table("", [short])
    opened = branches(tmp_path, "open", "boathouse", "boathouse")
    beside = branches(tmp_path, "open", "boathouse", "landing")
    # No current in the spur but that into its 2 nF: what stands at its end is what stands at its start.
    assert figures(opened).loss_1khz_db == pytest.approx(figures(beside).loss_1khz_db, abs=1e-3)
    assert "what is shown and rendered is the voltage at its terminals" in flat(table(opened))


@pytest.mark.parametrize("fault", ["open", "short"])
@pytest.mark.parametrize("suffix", [".wav", ".txt", ".json"])
def test_silence_has_no_filter(
    fault: str, suffix: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    at = {"open": "amplifier", "short": "boathouse"}[fault]
    signal = {"open": "drop", "short": "receiving"}[fault]
    path = written(
        tmp_path,
        BRANCHES.format(fault=fault, at=at, listen="boathouse", cable=TWIN, driver=DRIVER),
    )
    out = tmp_path / f"filter{suffix}"
    assert main(["filter", str(path), str(out), "--rate", "8000", "--signal", signal]) == 2
    told = capsys.readouterr().err
    assert f"the {signal} signal of boathouse is silence" in told
    assert told.count("\n") == 1
    assert not out.exists()


def test_a_choice_makes_a_fault_of_a_loudspeaker_in_one_line(tmp_path: Path) -> None:
    choices = "[choices.sound]\n[choices.cut]\nloads.landing.type = 'open'"
    for load, rated in ((DRIVER, 8.0), (RESISTOR, 8.0), (DRIVER.replace("8 ohm", "4 ohm"), 4.0)):
        rig = load_rig(written(tmp_path, text(load, more=choices)))
        assert {c.loads["landing"].nominal for c in rig.choices.values()} == {rated}
        assert "landing is open" in rig.choices["cut"].notes[0]


def test_reversed_is_said_wherever_it_is_and_changes_no_level(tmp_path: Path) -> None:
    right = the(tmp_path, text(DRIVER))
    wrong = the(tmp_path, text(DRIVER + "reversed = true"))
    assert right.notes == ()
    assert figures(wrong).lines == figures(right).lines
    assert figures(wrong).reversed
    assert not figures(right).reversed
    assert "load landing has plus and minus swapped" in flat(table(wrong))
    other = BRANCHES.format(
        fault="open", at="boathouse", listen="boathouse", cable=TWIN, driver=DRIVER
    )
    other = other.replace('at = "quay"', 'at = "quay"\nreversed = true')
    assert "load landing has plus and minus swapped" in flat(table(the(tmp_path, other)))


def test_reversed_is_heard_inverted_and_still_adds_up(tmp_path: Path) -> None:
    """Two loudspeakers of which one is reversed cancel, as they would in front of them."""
    more = "[choices.right]\n[choices.wrong]\nloads.landing.reversed = true"
    rig = load_rig(written(tmp_path, text(DRIVER, more=more)))
    wishes = Wishes(signals=("receiving", "drop", "sending"), makeup=0.0, depth="FLOAT")
    done = render(noise(tmp_path), list(rig.choices.values()), tmp_path, wishes)
    heard = {(o.choice, o.signal): sf.read(o.path)[0] for o in done.outputs}
    for signal in ("receiving", "drop", "sending"):
        right, wrong = heard["right", signal], heard["wrong", signal]
        assert np.abs(right).max() > 1e-3
        np.testing.assert_array_equal(wrong, -right)
    for choice in rig.choices:
        both = heard[choice, "receiving"] + heard[choice, "drop"]
        np.testing.assert_allclose(both, heard[choice, "sending"], atol=2e-7)


@pytest.mark.parametrize(
    ("suffix", "minimum_phase"), [(".txt", False), (".txt", True), (".json", False)]
)
def test_reversed_is_exported_inverted(suffix: str, minimum_phase: bool, tmp_path: Path) -> None:
    out = tmp_path / f"filter{suffix}"
    found = []
    for lines in ("", "reversed = true"):
        choice = the(tmp_path, text(DRIVER + lines))
        export_filter(choice, "receiving", 8000, minimum_phase, out)
        if suffix == ".txt":
            found.append(np.loadtxt(out))
            continue
        sections = json.loads(out.read_text())["sections"]
        gain = math.prod(sum(s[f"b{n}"] for n in range(3)) for s in sections)
        found.append(
            np.array([gain, *(s["a1"] for s in sections)]) * [1.0, *(0.0 for _ in sections)]
        )
    np.testing.assert_allclose(found[1], -found[0], rtol=1e-12)


def test_matching_at_a_frequency_leaves_silence_alone(tmp_path: Path) -> None:
    choice = branches(tmp_path, "short", "boathouse", "boathouse")
    done = render(noise(tmp_path), [choice], tmp_path, Wishes(match=1000.0))
    assert {o.gains.match for o in done.outputs} == {0.0}


@pytest.mark.parametrize("run", ['far = { plus = "1 ohm" }', ""])
def test_drop_over_one_conductor_needs_two_alike(run: str, tmp_path: Path) -> None:
    choice = the(tmp_path, text(DRIVER, run=run))
    wishes = Wishes(conductors=1)
    if run == "":
        assert len(render(noise(tmp_path), [choice], tmp_path, wishes).outputs) == 2
        return
    with pytest.raises(AudioFileError, match="the two conductors to 'landing' differ"):
        render(noise(tmp_path), [choice], tmp_path, wishes)
    render(noise(tmp_path), [choice], tmp_path, Wishes(conductors=1, signals=("receiving",)))


# ---- transformers ---------------------------------------------------------------------------------


def test_what_is_behind_a_transformer_is_explained(tmp_path: Path) -> None:
    line = f'at = "tap"\n[transformers.tap]\nfrom = "quay"\n{TAP}'
    choice = the(tmp_path, text(DRIVER + line))
    found = figures(choice, (1000.0,))
    assert "landing is behind a transformer" in flat(show.as_table("", [found]))
    assert found.damping_factor == pytest.approx(found.lines[0].damping, rel=1e-9)
    assert "transformer" not in table(the(tmp_path, text(DRIVER)))


@pytest.mark.parametrize("suffix", [".txt", ".json"])
def test_sending_of_a_filter_is_the_same_in_every_form(suffix: str, tmp_path: Path) -> None:
    """Past the turns of a step-up of 1 to 4, whatever the file: 20 lg 4 = 12.04 dB at mid band."""
    up = 'input = "25 V"\noutput = "100 V"\npower = "100 W"\n'
    choice = the(
        tmp_path,
        text(
            'type="resistor"\nresistance="100 ohm"\nat="up"',
            more=f'[transformers.up]\nfrom = "quay"\n{up}',
        ),
    )
    path = tmp_path / f"sending{suffix}"
    export_filter(choice, "sending", 8000, False, path)
    z = np.exp(-2j * np.pi * 1000.0 / 8000.0)
    if suffix == ".txt":
        taps = np.loadtxt(path)
        gain = abs(np.sum(taps * z ** np.arange(len(taps))))
    else:
        gain = 1.0
        for section in json.loads(path.read_text())["sections"]:
            b, a = ([section[f"{letter}{n}"] for n in range(3)] for letter in "ba")
            gain *= abs(np.polyval(b[::-1], z) / np.polyval(a[::-1], z))
    sent = abs(solve(choice.network, [1000.0]).sending[0])
    assert 20.0 * math.log10(gain / sent) == pytest.approx(20.0 * math.log10(4.0), abs=0.02)


def test_measured_load_is_written_and_read_in_a_rig(landing: Path) -> None:
    f = 10.0 * 2.0 ** (np.arange(11 * 24 + 1) / 24.0)
    box = Driver(5.5, 42.0, 5.0, 0.38)
    for name in ("box.txt", "box.s1p"):
        write_impedance(landing / name, f, box.impedance(f))
        measured = the(landing, text(MEASURED + f'file = "{name}"'))
        ratio = responses(measured) / responses(the(landing, text(DRIVER)))
        assert np.abs(20.0 * np.log10(np.abs(ratio))).max() < 0.005


def test_a_measured_cable_is_one_of_the_circuit(landing: Path) -> None:
    """Of constant R, L, C it is the cable of these three numbers."""
    choice = the(landing, text(cable='construction = "measured"\nfile = "cable.txt"'))
    same = MeasuredCable(0.0148, 6.5e-7, Dielectric(6e-11))
    found, expected = choice.network.runs["quay"].cable, same
    np.testing.assert_allclose(found.series(F), expected.series(F), rtol=1e-6)
    np.testing.assert_allclose(found.shunt(F), expected.shunt(F), rtol=1e-6)
