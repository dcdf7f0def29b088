"""A newcomer's mistakes: each is answered by one sentence that leads on, and exit code 2."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from io import StringIO
from pathlib import Path

import numpy as np
import pytest
import soundfile as sf

from auralize.commands.main import main

RIG = """\
title = "Saltmarsh Tide Mill: the first try"

[amplifier]
resistance = "20 mohm"

[cables.reel]
construction = "twin"
conductor = "2.5 mm2"
insulation = "0.8 mm"

[runs.pond]
cable = "reel"
length = "62 m"

[loads.stage]
type = "resistor"
resistance = "8 ohm"
"""
LOAD = 'type = "resistor"\nresistance = "8 ohm"\n'

# What is written in place of what, and parts of the one sentence that follows "pond.toml: ".
IN_THE_RIG: dict[str, tuple[str, str, Sequence[str]]] = {
    "table misspelt": ("[amplifier]", "[amplfier]", ["amplfier: ", "did you mean 'amplifier'?"]),
    "table in the singular": ("[cables.reel]", "[cable.reel]", ["cable: ", "mean 'cables'?"]),
    "table without a name": ("[runs.pond]", "[runs]", ["runs.cable: ", "[runs.NAME]"]),
    "another word for a table": (
        "[loads.stage]",
        "[speakers.stage]",
        ["speakers: ", "did you mean 'loads'?"],
    ),
    "another word for a key": (
        "conductor =",
        "size =",
        ["cables.reel.conductor: an area is missing; 'size' is there, which is not known"],
    ),
    "key misspelt": ("length =", "lenght =", ["runs.pond.length: ", "'lenght' is there"]),
    "key in capitals": ("length =", "LENGTH =", ["runs.pond.length: ", "'LENGTH' is there"]),
    "extra key misspelt": (
        'length = "62 m"',
        'length = "62 m"\ntemprature = "35 degC"',
        ["runs.pond.temprature: ", "did you mean 'temperature'?"],
    ),
    "no amplifier": ('[amplifier]\nresistance = "20 mohm"', "", ["table [amplifier] is missing"]),
    "no loudspeaker": (f"[loads.stage]\n{LOAD}", "", ["no load is described", "[loads.NAME]"]),
    "no length": (
        'length = "62 m"',
        "",
        ['runs.pond.length: a length is missing, such as "62 m" or "200 ft"'],
    ),
    "a whole cable for a conductor": (
        "2.5 mm2",
        "2x2.5 mm2",
        ["cables.reel.conductor: '2x2.5 mm2'", '"2.5 mm2"'],
    ),
    "gauge and conductors": ("2.5 mm2", "14/2", ["'14/2'", 'the gauge alone, "14 AWG"']),
    "strands": ("2.5 mm2", "24/0.2", ["'24/0.2'", 'their area, such as "0.75 mm2"']),
    "a diameter for an area": ("2.5 mm2", "2.5 mm", ["'2.5 mm' has a unit that does not fit"]),
    "a decimal comma": ("2.5 mm2", "2,5 mm2", ["'2,5 mm2' has a comma; write 2.5"]),
    "no unit": ('"2.5 mm2"', "2.5", ["'2.5' has no unit", '"2.5 mm2" or "14 AWG"']),
    "a comma between thousands": ("62 m", "1,000 ft", ["'1,000 ft' has a comma", "1000 without"]),
    "no quotes": ('"62 m"', "62 m", ["line 13", 'in quotes, such as length = "62 m"']),
    "a bare number": ('"62 m"', "62", ["'62' has no unit", '"62 m" or "200 ft"']),
    "a tenth of a millimetre": ("62 m", "0.1 mm", ["'0.1 mm'", "a length from 1 cm to 10 km"]),
    "a name that is not there": (
        'cable = "reel"',
        'cable = "real"',
        ["runs.pond.cable: 'real' is not known (did you mean 'reel'?)"],
    ),
    "construction misspelt": ('"twin"', '"twinn"', ["'twinn'", "mean 'twin'?", "'four-core'"]),
    "a speaker": ('"resistor"', '"speaker"', ["'speaker' is not known (did you mean 'driver'?)"]),
    "no impedance": ('"8 ohm"', '"0 ohm"', ["'0 ohm'", "a resistance from 0.5 ohm to 100 kohm"]),
    "another word for nominal": (
        LOAD,
        'type = "driver"\nimpedance = "8 ohm"\n',
        ["loads.stage.nominal: a resistance is missing; 'impedance' is there"],
    ),
    "a gauge in a metric class": (
        '"2.5 mm2"',
        '"14 AWG"\nstrands = "class 5"',
        ["cables.reel.strands: IEC 60228 has no 2.081 mm2", 'strands = "stranded"'],
    ),
    "damping factor of what": (
        'resistance = "20 mohm"',
        "damping_factor = 200",
        ['amplifier.into: a resistance is missing, such as "8 ohm"'],
    ),
    "the same said twice": (
        'resistance = "20 mohm"',
        'resistance = "20 mohm"\ndamping_factor = 200\ninto = "8 ohm"',
        ["amplifier.damping_factor: stands beside 'resistance'", "keep one"],
    ),
    "two loudspeakers, none named": (
        "[loads.stage]",
        f"[loads.bar]\n{LOAD}\n[loads.stage]",
        ["listen: there are several loads", "out of bar, stage"],
    ),
    "a choice of a run that is not there": (
        "[loads.stage]",
        '[choices.long]\nruns.pnd.length = "90 m"\n\n[loads.stage]',
        ["choices.long.runs.pnd: 'pnd' is not there to be changed (did you mean 'pond'?)"],
    ),
    "a choice of another cable that is not there": (
        "[loads.stage]",
        '[choices.thick]\ncables.rell.conductor = "4 mm2"\n\n[loads.stage]',
        ["choices.thick.cables.rell: ", "did you mean 'reel'?"],
    ),
    "yes for true": (
        'type = "resistor"',
        'type = "resistor"\nreversed = "yes"',
        ["loads.stage.reversed: 'yes'", "true or false"],
    ),
}
SIZES = ("--size", "2.5 mm2", "--length", "30 m", "--speaker", "8 ohm")

# What is typed after `auralize`, and parts of the one sentence.
AT_THE_PROMPT: dict[str, tuple[Sequence[str], Sequence[str]]] = {
    "no command": ([], ["COMMAND", "`auralize --help` lists what is right"]),
    "command misspelt": (["figrues", "pond.toml"], ["'figrues' (did you mean 'figures'?)"]),
    "sound for a rig": (["figures", "gulls.wav"], ["gulls.wav: ", "a rig file is a TOML text"]),
    "figures of a sound": (
        ["figures", "gulls.wav", "pond.toml"],
        ["the rig file comes first", "`auralize figures pond.toml`, which takes no sound file"],
    ),
    "render the wrong way round": (
        ["render", "gulls.wav", "pond.toml"],
        ["gulls.wav: the rig file comes first", "`auralize render pond.toml gulls.wav`"],
    ),
    "bench the wrong way round": (
        ["bench", "gulls.wav", "pond.toml"],
        ["`auralize bench pond.toml gulls.wav`"],
    ),
    "hand over the wrong way round": (
        ["handover", "gulls.wav", "pond.toml", "--into", "client"],
        ["right is `auralize handover pond.toml gulls.wav`"],
    ),
    "render without a sound": (["render", "pond.toml"], ["SOUND", "`auralize render --help`"]),
    "a rig for a sound": (
        ["render", "pond.toml", "pond.toml"],
        ["not a sound file that can be read"],
    ),
    "a sound for a sweep file": (
        ["sweep", "pond.toml", "gulls.wav"],
        ["gulls.wav: this is no text in UTF-8; a sweep file is a TOML text"],
    ),
    "a sound of a name that no file can have": (
        ["render", "pond.toml", "g" * 300 + ".wav"],
        ["cannot be reached (File name too long)"],
    ),
    "a file that is not there": (["figures", "ponds.toml"], ["ponds.toml: ", "no such file"]),
    "a choice that is not there": (
        ["figures", "pond.toml", "--choice", "thin"],
        ["choice 'thin' is not in it", "as-described"],
    ),
    "a loudspeaker misspelt": (
        ["figures", "pond.toml", "--load", "stge"],
        ["did you mean 'stage'?"],
    ),
    "a frequency in words": (
        ["figures", "pond.toml", "--at", "treble"],
        ["'treble' is not a frequency", '"1 kHz"'],
    ),
    "fit to nothing": (["fit", "pond.toml"], ["--loss", "required"]),
    "fit to a half": (["fit", "pond.toml", "--loss", "half"], ["'half'", '"0.5 dB"']),
    "keys of no table": (["keys", "speakers"], ["'speakers'", "did you mean 'loads'?"]),
    "new without answers": (
        ["new", "lawn.toml"],
        ["--size, --length, --speaker: missing", *SIZES[::2]],
    ),
    "new over the old": (["new", "pond.toml", *SIZES], ["it is there already, and stays"]),
    "new of two conductors": (
        ["new", "lawn.toml", "--size", "2x4", *SIZES[2:]],
        ["--size: '2x4' counts conductors", '"4 mm2"'],
    ),
}


@pytest.fixture(autouse=True)
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(sys, "stdin", StringIO())  # no terminal
    (tmp_path / "pond.toml").write_text(RIG, encoding="utf-8")
    sf.write(tmp_path / "gulls.wav", np.zeros((800, 2)), 8000)
    return tmp_path


def answer(arguments: Sequence[str], capsys: pytest.CaptureFixture[str]) -> str:
    """The one sentence of a command that is refused."""
    try:
        code = main(list(arguments))
    except SystemExit as ended:  # what argparse refuses
        code = int(ended.code or 0)
    said = capsys.readouterr()
    assert code == 2
    assert said.out == ""
    assert said.err.startswith("auralize: ")
    assert said.err.count("\n") == 1
    return said.err.removeprefix("auralize: ").rstrip("\n")


def test_there_is_nothing_wrong_with_the_rig_before(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["figures", "pond.toml"]) == 0
    assert capsys.readouterr().err == ""
    assert len(IN_THE_RIG) + len(AT_THE_PROMPT) >= 30


@pytest.mark.parametrize(("before", "after", "says"), IN_THE_RIG.values(), ids=IN_THE_RIG)
def test_a_mistake_in_the_rig(
    before: str, after: str, says: Sequence[str], capsys: pytest.CaptureFixture[str], here: Path
) -> None:
    assert before in RIG
    (here / "pond.toml").write_text(RIG.replace(before, after, 1), encoding="utf-8")
    sentence = answer(["figures", "pond.toml"], capsys)
    assert sentence.startswith("pond.toml: ")
    assert all(part in sentence for part in says), sentence


@pytest.mark.parametrize(("typed", "says"), AT_THE_PROMPT.values(), ids=AT_THE_PROMPT)
def test_a_mistake_at_the_prompt(
    typed: Sequence[str], says: Sequence[str], capsys: pytest.CaptureFixture[str], here: Path
) -> None:
    before = {path.name: path.read_bytes() for path in here.iterdir()}
    sentence = answer(typed, capsys)
    assert all(part in sentence for part in says), sentence
    assert {path.name: path.read_bytes() for path in here.iterdir()} == before
