"""Loads, joints, transformers and faults in a rig file: every slip is told by file, field and remedy."""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

import pytest

from auralize.errors import RigError
from auralize.rig.reading import load_rig
from support.rig_loads import DRIVER, MEASURED, RESISTOR, TAP, crossover, text, written


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
