"""The rig file from the chair of who writes it: every slip is named by file, field, find and remedy."""

import math
import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from auralize.circuit.cable import MeasuredCable, PairCable
from auralize.errors import AuralizeError, RigError
from auralize.rig.choice import Choice
from auralize.rig.reading import ONLY_CHOICE, Rig, load_rig, read_rig

# --- a sound rig file, and how to spoil it --------------------------------------------------------

AMPLIFIER = {"resistance": '"0.05 ohm"'}
CABLE = {"construction": '"twin"', "conductor": '"2.5 mm2"', "insulation": '"0.8 mm"'}
RUN = {"cable": '"reel"', "length": '"62 m"'}
LOAD = {"type": '"resistor"', "resistance": '"8 ohm"'}
DRIVER = {
    "type": '"driver"',
    "nominal": '"8 ohm"',
    "Re": '"5.6 ohm"',
    "fs": '"38 Hz"',
    "Qms": "4.2",
    "Qes": "0.42",
}


def table(name: str, base: Mapping[str, str], changes: Mapping[str, str | None]) -> str:
    """[name] with the keys of ``base``, changed; None leaves one out. Values are TOML."""
    keys = {**base, **changes}
    return f"[{name}]\n" + "".join(f"{k} = {v}\n" for k, v in keys.items() if v is not None)


def amplifier(**changes: str | None) -> str:
    return table("amplifier", AMPLIFIER, changes)


def cable(name: str = "reel", **changes: str | None) -> str:
    return table(f"cables.{name}", CABLE, changes)


def run(name: str = "pond", **changes: str | None) -> str:
    if "feeder" in changes:  # `from` is a word of Python
        changes["from"] = changes.pop("feeder")
    return table(f"runs.{name}", RUN, changes)


def load(name: str = "stage", **changes: str | None) -> str:
    return table(f"loads.{name}", LOAD, changes)


def driver(**changes: str | None) -> str:
    return table("loads.stage", DRIVER, changes)


def text(
    top: str = "",
    amplifier: str = amplifier(),
    cables: str = cable(),
    runs: str = run(),
    loads: str = load(),
    choices: str = "",
) -> str:
    """A whole rig file of the Saltmarsh Tide Mill, sound unless a part is replaced."""
    return "\n".join([top, amplifier, cables, runs, loads, choices])


def written(folder: Path, content: str | bytes) -> Path:
    path = folder / "tide-mill.toml"
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    return path


def refusal(path: Path) -> str:
    """The sentence on a rig file that must be refused, after the file's name."""
    with pytest.raises(RigError) as caught:
        load_rig(path)
    sentence = str(caught.value)
    assert sentence.isprintable(), f"a line break or a control character: {sentence!r}"
    assert sentence.startswith(f"{path}: ")
    return sentence.removeprefix(f"{path}: ")


def read(folder: Path, content: str) -> Rig:
    return load_rig(written(folder, content))


def the_choice(folder: Path, content: str) -> Choice:
    (choice,) = read(folder, content).choices.values()
    return choice


def test_the_sound_file_is_read(tmp_path: Path) -> None:
    choice = the_choice(tmp_path, text())
    assert choice.name == ONLY_CHOICE
    assert choice.network.amplifier.resistance == 0.05
    assert choice.network.runs["pond"].length == 62.0


@pytest.mark.parametrize("name", ["saltmarsh.toml", "lobby.toml"])
def test_the_files_of_the_demo_are_read(name: str) -> None:
    rig = load_rig(Path(__file__).parents[2] / "audio_demo" / name)
    assert rig.title.startswith("Saltmarsh Tide Mill")
    assert len(rig.choices) >= 2


# --- malformed files ------------------------------------------------------------------------------


class Bad(NamedTuple):
    """A spoilt rig file, and what its refusal must say."""

    text: str
    place: str
    """Dotted path of the field."""
    found: str
    """What was found, as the sentence must quote it."""
    right: str
    """What must be said to be right."""


TWO_RUNS = run("near") + run("far", feeder='"near"')

BAD = {
    # whole tables
    "nothing at all": Bad("", "amplifier", "missing", "[amplifier]"),
    "no amplifier": Bad(text(amplifier=""), "amplifier", "missing", "[amplifier]"),
    "amplifier is a list": Bad("amplifier = [1]", "amplifier", "[1]", "table [amplifier]"),
    "amplifier is a number": Bad("amplifier = 8", "amplifier", "8", "table [amplifier]"),
    "cables is a list": Bad('cables = ["a"]\n' + text(cables=""), "cables", "['a']", "[cables]"),
    "a cable is a text": Bad(
        'cables.reel = "a"\n' + text(cables=""), "cables.reel", "'a'", "table"
    ),
    "runs is a text": Bad('runs = "pond"\n' + text(runs=""), "runs", "'pond'", "table"),
    "a run is a number": Bad("runs.pond = 62\n" + text(runs=""), "runs.pond", "62", "table"),
    "no loads": Bad(text(loads=""), "loads", "no load", "[loads.NAME]"),
    "empty loads": Bad(text(loads="[loads]"), "loads", "no load", "[loads.NAME]"),
    "choices is a list": Bad(text('choices = ["a"]'), "choices", "['a']", "table"),
    "a choice is a number": Bad(text(choices="[choices]\na = 3"), "choices.a", "3", "table"),
    "title is a number": Bad(text("title = 3"), "title", "3", "text in quotes"),
    # unknown keys
    "unknown table": Bad(text("[amplifer]"), "amplifer", "not known", "'amplifier'"),
    "unknown key of the amplifier": Bad(
        text(amplifier=amplifier(inductence='"1 uH"')),
        "amplifier.inductence",
        "not known",
        "did you mean 'inductance'",
    ),
    "unknown key of a cable": Bad(
        text(cables=cable(materiel='"copper"')),
        "cables.reel.materiel",
        "not known",
        "did you mean 'material'",
    ),
    "misspelt capacitance": Bad(
        text(cables=cable(capacitence='"60 pF/m"')),
        "cables.reel.capacitence",
        "not known",
        "did you mean 'capacitance'",
    ),
    "unknown key of a run": Bad(
        text(runs=run(temprature='"20 degC"')),
        "runs.pond.temprature",
        "not known",
        "did you mean 'temperature'",
    ),
    "unknown key of a load": Bad(
        text(loads=driver(le='"1 mH"')), "loads.stage.le", "not known", "'Le'"
    ),
    "key of a driver on a resistor": Bad(
        text(loads=load(fs='"38 Hz"')), "loads.stage.fs", "not known", "resistance"
    ),
    "key of a measured cable on a twin": Bad(
        text(cables=cable(inductance='"0.6 uH/m"')),
        "cables.reel.inductance",
        "not known",
        "construction",
    ),
    "geometry on a measured cable": Bad(
        text(
            cables=cable(
                construction='"measured"',
                resistance='"14.8 ohm/km"',
                inductance='"0.6 uH/m"',
                insulation=None,
            )
        ),
        "cables.reel.conductor",
        "not known",
        "resistance",
    ),
    "lay length on a twin": Bad(
        text(cables=cable(lay_length='"80 mm"')), "cables.reel.lay_length", "not known", "known are"
    ),
    # the misspelt key, and not only the gap that it leaves
    "misspelt key that is required": Bad(
        text(amplifier=amplifier(resistance=None, resistence='"1 ohm"')),
        "amplifier.resistance",
        "'resistence'",
        "missing",
    ),
    "misspelt length": Bad(
        text(runs=run(length=None, lenght='"62 m"')), "runs.pond.length", "'lenght'", "missing"
    ),
    # amplifier
    "amplifier without resistance": Bad(
        text(amplifier="[amplifier]"), "amplifier.resistance", "missing", "resistance"
    ),
    "resistance and damping factor": Bad(
        text(amplifier=amplifier(damping_factor="400", into='"8 ohm"')),
        "amplifier.damping_factor",
        "'resistance'",
        "keep one",
    ),
    "damping factor into nothing": Bad(
        text(amplifier=amplifier(resistance=None, damping_factor="400")),
        "amplifier.into",
        "missing",
        "resistance",
    ),
    "into without a damping factor": Bad(
        text(amplifier=amplifier(resistance=None, into='"8 ohm"')),
        "amplifier.damping_factor",
        "missing",
        "a value",
    ),
    "damping factor in quotes": Bad(
        text(amplifier=amplifier(resistance=None, damping_factor='"400"', into='"8 ohm"')),
        "amplifier.damping_factor",
        "'400'",
        "plain number",
    ),
    "damping factor nan": Bad(
        text(amplifier=amplifier(resistance=None, damping_factor="nan", into='"8 ohm"')),
        "amplifier.damping_factor",
        "nan",
        "from 0.1 to 1e+06",
    ),
    "damping factor inf": Bad(
        text(amplifier=amplifier(resistance=None, damping_factor="inf", into='"8 ohm"')),
        "amplifier.damping_factor",
        "inf",
        "from 0.1 to 1e+06",
    ),
    "damping factor zero": Bad(
        text(amplifier=amplifier(resistance=None, damping_factor="0", into='"8 ohm"')),
        "amplifier.damping_factor",
        "0 was found",
        "from 0.1 to 1e+06",
    ),
    "damping factor true": Bad(
        text(amplifier=amplifier(resistance=None, damping_factor="true", into='"8 ohm"')),
        "amplifier.damping_factor",
        "true",
        "plain number",
    ),
    "damping factor of 400 digits": Bad(
        text(amplifier=amplifier(resistance=None, damping_factor="4" * 400, into='"8 ohm"')),
        "amplifier.damping_factor",
        "444",
        "from 0.1 to 1e+06",
    ),
    "negative resistance": Bad(
        text(amplifier=amplifier(resistance='"-1 ohm"')),
        "amplifier.resistance",
        "'-1 ohm'",
        "from 0 ohm to 1 kohm",
    ),
    "resistance without unit": Bad(
        text(amplifier=amplifier(resistance="0.05")), "amplifier.resistance", "0.05", '"8 ohm"'
    ),
    "resistance nan": Bad(
        text(amplifier=amplifier(resistance="nan")), "amplifier.resistance", "nan", '"8 ohm"'
    ),
    "resistance beyond numbers": Bad(
        text(amplifier=amplifier(resistance='"1e999 ohm"')),
        "amplifier.resistance",
        "'1e999 ohm'",
        "resistance",
    ),
    "resistance is a date": Bad(
        text(amplifier=amplifier(resistance="2024-05-01")),
        "amplifier.resistance",
        "2024-05-01",
        "resistance in quotes",
    ),
    "resistance is a list": Bad(
        text(amplifier=amplifier(resistance='["1 ohm"]')),
        "amplifier.resistance",
        "1 ohm",
        "resistance in quotes",
    ),
    "coil in ohm": Bad(
        text(amplifier=amplifier(inductance='"2 ohm"')),
        "amplifier.inductance",
        "'2 ohm'",
        '"0.5 mH"',
    ),
    # what a cable is
    "no construction": Bad(
        text(cables=cable(construction=None)), "cables.reel.construction", "missing", "'twin'"
    ),
    "unknown construction": Bad(
        text(cables=cable(construction='"twim"')),
        "cables.reel.construction",
        "'twim'",
        "did you mean 'twin'",
    ),
    "unknown material": Bad(
        text(cables=cable(material='"aluminum"')),
        "cables.reel.material",
        "'aluminum'",
        "did you mean 'aluminium'",
    ),
    "unknown strands": Bad(
        text(cables=cable(strands='"class 6"')), "cables.reel.strands", "'class 6'", "'class 5'"
    ),
    "strands as a number": Bad(
        text(cables=cable(strands="5")), "cables.reel.strands", "5", "text in quotes"
    ),
    "size that its class does not have": Bad(
        text(cables=cable(conductor='"14 AWG"', strands='"class 5"')),
        "cables.reel.strands",
        "2.081 mm2",
        'strands = "stranded" takes a gauge',
    ),
    "class 5 aluminium": Bad(
        text(cables=cable(conductor='"16 mm2"', strands='"class 5"', material='"aluminium"')),
        "cables.reel.strands",
        "aluminium",
        "class 5",
    ),
    "fill of a solid conductor": Bad(
        text(cables=cable(strands='"solid"', fill="0.8")),
        "cables.reel.fill",
        "solid",
        "leave it out",
    ),
    "fill of class 1, which is solid": Bad(
        text(cables=cable(strands='"class 1"', fill="0.8")),
        "cables.reel.fill",
        "solid",
        "leave it out",
    ),
    "fill above one": Bad(
        text(cables=cable(fill="1.2")), "cables.reel.fill", "1.2", "from 0.5 to 1"
    ),
    # the geometry of cables
    "conductor missing": Bad(
        text(cables=cable(conductor=None)), "cables.reel.conductor", "missing", "area"
    ),
    "conductor with a decimal comma": Bad(
        text(cables=cable(conductor='"2,5 mm2"')), "cables.reel.conductor", "'2,5 mm2'", "comma"
    ),
    "conductor by diameter": Bad(
        text(cables=cable(conductor='"2.5 mm"')), "cables.reel.conductor", "'2.5 mm'", '"2.5 mm2"'
    ),
    "conductor of no area": Bad(
        text(cables=cable(conductor='"0 mm2"')), "cables.reel.conductor", "'0 mm2'", "0.03 mm2"
    ),
    "conductor like a tree": Bad(
        text(cables=cable(conductor='"1000 mm2"')),
        "cables.reel.conductor",
        "'1000 mm2'",
        "to 120 mm2",
    ),
    "gauge off the table": Bad(
        text(cables=cable(conductor='"99 AWG"')), "cables.reel.conductor", "99 AWG", "40 AWG"
    ),
    "spacing under the diameter": Bad(
        text(cables=cable(spacing='"1 mm"', insulation=None)),
        "cables.reel.spacing",
        "1 mm",
        "more than 2.081 mm",  # 2.5 mm2 at a fill of 0.75 is 2.06 mm across
    ),
    "spacing that touches": Bad(
        text(cables=cable(spacing='"2.06 mm"', insulation=None)),
        "cables.reel.spacing",
        "2.06 mm",
        "more than 2.081 mm",
    ),
    "spacing and insulation": Bad(
        text(cables=cable(spacing='"4 mm"')), "cables.reel.insulation", "'spacing'", "keep one"
    ),
    "neither spacing nor insulation": Bad(
        text(cables=cable(insulation=None)), "cables.reel.spacing", "missing", "insulation"
    ),
    "insulation of single cores": Bad(
        text(cables=cable(construction='"single cores"')),
        "cables.reel.spacing",
        "missing",
        "length",
    ),
    "negative insulation": Bad(
        text(cables=cable(insulation='"-1 mm"')), "cables.reel.insulation", "'-1 mm'", "0.05 mm"
    ),
    "twisted pair without lay length": Bad(
        text(cables=cable(construction='"twisted pair"')),
        "cables.reel.lay_length",
        "missing",
        "length",
    ),
    "twist too tight": Bad(
        text(cables=cable(construction='"twisted pair"', lay_length='"6 mm"')),
        "cables.reel.lay_length",
        "6 mm",
        "four times that distance",
    ),
    "dielectric and permittivity": Bad(
        text(cables=cable(dielectric='"PE"', permittivity="2.3")),
        "cables.reel.permittivity",
        "'dielectric'",
        "keep one",
    ),
    "permittivity and capacitance": Bad(
        text(cables=cable(permittivity="2.3", capacitance='"60 pF/m"')),
        "cables.reel.capacitance",
        "'permittivity'",
        "keep one",
    ),
    "permittivity under that of nothing": Bad(
        text(cables=cable(permittivity="0.5")), "cables.reel.permittivity", "0.5", "from 1 to 20"
    ),
    "capacitance of the whole run": Bad(
        text(cables=cable(capacitance='"60 pF"')),
        "cables.reel.capacitance",
        "'60 pF'",
        '"60 pF/m"',
    ),
    "measured without resistance": Bad(
        text(
            cables=table(
                "cables.reel", {}, {"construction": '"measured"', "inductance": '"0.6 uH/m"'}
            )
        ),
        "cables.reel.resistance",
        "missing",
        "resistance per length",
    ),
    "fault in a cable that no run uses": Bad(
        text(cables=cable() + cable("spare", conductor='"2 mm"')),
        "cables.spare.conductor",
        "'2 mm'",
        '"2.5 mm2"',
    ),
    # runs
    "unknown cable": Bad(
        text(runs=run(cable='"rell"')), "runs.pond.cable", "'rell'", "did you mean 'reel'"
    ),
    "no cables to choose from": Bad(text(cables=""), "runs.pond.cable", "'reel'", "none"),
    "no cable": Bad(text(runs=run(cable=None)), "runs.pond.cable", "missing", "'reel'"),
    "no length": Bad(text(runs=run(length=None)), "runs.pond.length", "missing", "length"),
    "length zero": Bad(text(runs=run(length='"0 m"')), "runs.pond.length", "'0 m'", "from 1 cm"),
    "length negative": Bad(
        text(runs=run(length='"-62 m"')), "runs.pond.length", "'-62 m'", "from 1 cm"
    ),
    "length round the world": Bad(
        text(runs=run(length='"40000 km"')), "runs.pond.length", "'40000 km'", "to 10 km"
    ),
    "length without unit": Bad(text(runs=run(length="62")), "runs.pond.length", "62", "no unit"),
    "length in ohm": Bad(
        text(runs=run(length='"62 ohm"')), "runs.pond.length", "'62 ohm'", '"62 m"'
    ),
    "length is true": Bad(
        text(runs=run(length="true")), "runs.pond.length", "true", "length in quotes"
    ),
    "length is a table": Bad(
        text(runs=run(length="{ m = 62 }")), "runs.pond.length", "62", "length in quotes"
    ),
    "temperature of a furnace": Bad(
        text(runs=run(temperature='"500 degC"')),
        "runs.pond.temperature",
        "'500 degC'",
        "to 200 degC",
    ),
    "temperature below all": Bad(
        text(runs=run(temperature='"-5 K"')), "runs.pond.temperature", "'-5 K'", "from -60 degC"
    ),
    "fed from nowhere": Bad(
        text(runs=run(feeder='"amp"')), "runs.pond.from", "'amp'", "'amplifier'"
    ),
    "runs in a circle": Bad(
        text(
            runs=run("near", feeder='"far"') + run("far", feeder='"near"'),
            loads=load(at='"far"'),
        ),
        "runs",
        "near, far",
        "circle",
    ),
    "run that feeds itself": Bad(text(runs=run(feeder='"pond"')), "runs", "pond", "circle"),
    "circle beside the way to the load": Bad(
        text(
            runs=run() + run("near", feeder='"far"') + run("far", feeder='"near"'),
            loads=load(at='"pond"'),
        ),
        "runs",
        "near, far",
        "circle",
    ),
    "run with the amplifier's name": Bad(
        text(runs=run("amplifier")), "runs.amplifier", "amplifier", "name"
    ),
    # loads
    "no type": Bad(text(loads=load(type=None)), "loads.stage.type", "missing", "'driver'"),
    "unknown type": Bad(
        text(loads=load(type='"horn"')), "loads.stage.type", "'horn'", "'resistor', 'driver'"
    ),
    "short circuit": Bad(
        text(loads=load(resistance='"0 ohm"')), "loads.stage.resistance", "'0 ohm'", "0.5 ohm"
    ),
    "at no run": Bad(text(loads=load(at='"pnd"')), "loads.stage.at", "'pnd'", "mean 'pond'"),
    "at either of two runs": Bad(text(runs=TWO_RUNS), "loads.stage.at", "missing", "'far'"),
    "driver without rated impedance": Bad(
        text(loads=driver(nominal=None)), "loads.stage.nominal", "missing", "resistance"
    ),
    "driver in a box of unknown effect": Bad(
        text(loads=driver(box='"60 l"')), "loads.stage.Vas", "missing", "volume"
    ),
    "driver in no box": Bad(
        text(loads=driver(Vas='"95 l"')), "loads.stage.box", "missing", "volume"
    ),
    "box without room": Bad(
        text(loads=driver(Vas='"95 l"', box='"0 l"')), "loads.stage.box", "'0 l'", "0.01 l"
    ),
    "quality in quotes": Bad(
        text(loads=driver(Qms='"4.2"')), "loads.stage.Qms", "'4.2'", "plain number"
    ),
    "quality negative": Bad(
        text(loads=driver(Qes="-0.42")), "loads.stage.Qes", "-0.42", "from 0.05 to 100"
    ),
    "resonance in ohm": Bad(
        text(loads=driver(fs='"38 ohm"')), "loads.stage.fs", "'38 ohm'", '"1 kHz"'
    ),
    "semi-inductance as an inductance": Bad(
        text(loads=driver(semi_inductance='"20 mH"')),
        "loads.stage.semi_inductance",
        "'20 mH'",
        '"0.02 sH"',
    ),
    "listen to nobody": Bad(text('listen = "stge"'), "listen", "'stge'", "did you mean 'stage'"),
    "listen to which": Bad(
        text(loads=load(at='"pond"') + load("lobby", at='"pond"')),
        "listen",
        "several",
        "stage, lobby",
    ),
    # choices
    "label is a number": Bad(
        text(choices="[choices.a]\nlabel = 3"), "choices.a.label", "3", "text in quotes"
    ),
    "title of a choice": Bad(
        text(choices='[choices.a]\ntitle = "x"'), "choices.a.title", "not known", "label"
    ),
    "overlay of runs is a number": Bad(
        text(choices="[choices.a]\nruns = 3"), "choices.a.runs", "3", "table"
    ),
    "overlay of a run is a text": Bad(
        text(choices='[choices.a]\nruns.pond = "reel"'), "choices.a.runs.pond", "'reel'", "table"
    ),
    "overlay of a cable is a list": Bad(
        text(choices="[choices.a]\ncables.reel = [1]"), "choices.a.cables.reel", "[1]", "table"
    ),
    "misspelt table of a choice": Bad(
        text(choices='[choices.a]\nrun.pond.length = "3 m"'),
        "choices.a.run",
        "not known",
        "did you mean 'runs'",
    ),
    "misspelt key of a choice": Bad(
        text(choices='[choices.a]\nruns.pond.lenght = "3 m"'),
        "choices.a.runs.pond.lenght",
        "not known",
        "did you mean 'length'",
    ),
    "bad value of a choice": Bad(
        text(choices='[choices.a]\nruns.pond.length = "0 m"'),
        "choices.a.runs.pond.length",
        "'0 m'",
        "from 1 cm",
    ),
    "cable key at the top of a choice": Bad(
        text(choices='[choices.a]\nconstruction = "twin"'),
        "choices.a.construction",
        "not known",
        "cables",
    ),
    "choices inside a choice": Bad(
        text(choices="[choices.a.choices.b]"), "choices.a.choices", "not known", "label"
    ),
}


@pytest.mark.parametrize("bad", BAD.values(), ids=BAD.keys())
def test_a_malformed_rig_is_refused_by_field_find_and_remedy(tmp_path: Path, bad: Bad) -> None:
    where, _, sentence = refusal(written(tmp_path, bad.text)).partition(": ")
    assert where.partition(" (choice ")[0] == bad.place
    assert bad.found in sentence
    assert bad.right in sentence
    assert " a area" not in f" {sentence}"
    assert " a inductance" not in f" {sentence}"


@pytest.mark.parametrize("strands", ["class 1", "class 2", "class 5"])
def test_the_remedy_for_a_size_that_a_class_does_not_have_is_right(
    tmp_path: Path, strands: str
) -> None:
    """IEC 60228 lists areas in mm2 and no gauges: what the refusal proposes must then be read."""
    gauge = '"14 AWG"'
    sentence = refusal(
        written(tmp_path, text(cables=cable(conductor=gauge, strands=f'"{strands}"')))
    )
    assert "1.5, 2.5, 4" in sentence
    (remedy,) = re.findall(r'strands = ("\w+") takes a gauge or any other area', sentence)
    load_rig(written(tmp_path, text(cables=cable(conductor=gauge, strands=remedy))))


def test_enough_ways_to_be_wrong_are_tried() -> None:
    assert len({bad.text for bad in BAD.values()}) == len(BAD) >= 50


def test_a_fault_of_the_common_part_names_the_choice_it_was_found_in(tmp_path: Path) -> None:
    content = text(runs=run(length='"0 m"'), choices='[choices.a]\nlabel = "x"')
    assert refusal(written(tmp_path, content)).startswith("runs.pond.length (choice 'a'): ")


def test_a_fault_in_one_choice_refuses_the_file_whichever_is_wanted(tmp_path: Path) -> None:
    content = text(choices='[choices.a]\n[choices.b]\nruns.pond.length = "0 m"')
    assert refusal(written(tmp_path, content)).startswith("choices.b.runs.pond.length: ")


def test_the_kind_of_error_is_both_ours_and_a_value_error(tmp_path: Path) -> None:
    with pytest.raises(RigError) as caught:
        read(tmp_path, "")
    assert isinstance(caught.value, AuralizeError)
    assert isinstance(caught.value, ValueError)


# --- names and texts that do not fit into one line ------------------------------------------------


@pytest.mark.parametrize(
    ("content", "place"),
    [
        (text('"ampli\\nfier" = 3'), "fier"),
        (text(cables=cable() + cable('"\\u001b[31m"', conductor='"x"')), "conductor"),
        (text(cables=cable() + cable('""', conductor='"x"')), 'cables."".conductor'),
        (
            text(cables=cable() + cable('"2.5 twin"', conductor='"x"')),
            'cables."2.5 twin".conductor',
        ),
    ],
    ids=["line break", "escape sequence", "empty", "with a point"],
)
def test_an_odd_name_is_quoted_as_toml_would(tmp_path: Path, content: str, place: str) -> None:
    assert place in refusal(written(tmp_path, content))


@pytest.mark.parametrize("field", ["title", "label"])
@pytest.mark.parametrize("value", ['"a\\nb"', '"\\u001b[2J"'], ids=["line break", "escape"])
def test_texts_for_the_screen_are_one_line_of_print(tmp_path: Path, field: str, value: str) -> None:
    """They go to the terminal as they are: an escape sequence in a file from elsewhere would act."""
    content = (
        text(f"title = {value}")
        if field == "title"
        else text(choices=f"[choices.a]\nlabel = {value}")
    )
    assert field in refusal(written(tmp_path, content))


@pytest.mark.parametrize(
    "value", ['"' + "x" * 100_000 + '"', '"' + "1" * 5000 + ' ohm"'], ids=["letters", "digits"]
)
def test_a_value_without_end_is_not_repeated_in_full(tmp_path: Path, value: str) -> None:
    sentence = refusal(written(tmp_path, text(amplifier=amplifier(resistance=value))))
    assert sentence.startswith("amplifier.resistance: ")
    assert len(sentence) < 400


# --- files that are no rig file at all ------------------------------------------------------------

NO_TOML = {
    "broken line": "amplifier = \n",
    "key twice": text(amplifier=amplifier() + 'resistance = "2 ohm"\n'),
    "table twice": text(cables=cable() + cable()),
    "table over a value": 'amplifier = "x"\n' + text(),
    "unclosed quote": text('title = "Saltmarsh'),
    "a NUL at the end": text() + "\0",
    "integer beyond all": text(amplifier=amplifier(resistance="1" * 5000)),
    "deep lists": "a = " + "[" * 5000 + "]" * 5000,
    "deep tables": "a = " + "{a=" * 2000 + "1" + "}" * 2000,
}


@pytest.mark.parametrize("content", NO_TOML.values(), ids=NO_TOML.keys())
def test_what_is_no_toml_is_refused_as_such(tmp_path: Path, content: str) -> None:
    assert "TOML" in refusal(written(tmp_path, content))


@pytest.mark.parametrize(
    ("content", "line"),
    [(text() + "x = \n", text().count("\n") + 1), ("\n\namplifier = [\n", 4)],
    ids=["last", "unclosed"],
)
def test_a_fault_in_the_toml_is_given_with_its_line(
    tmp_path: Path, content: str, line: int
) -> None:
    sentence = refusal(written(tmp_path, content))
    assert f"line {line}" in sentence or "end of document" in sentence


def test_deep_dotted_keys_on_both_sides_are_refused(tmp_path: Path) -> None:
    deep = ".".join(["runs", *["a"] * 2000])
    content = f"{deep} = 1\n" + text(runs="", choices=f"[choices.a]\n{deep} = 2")
    refusal(written(tmp_path, content))


NO_TEXT = {
    "latin-1": 'title = "Mühle"\n'.encode("latin-1") + text().encode(),
    "utf-16": text().encode("utf-16"),
    "sound": b"RIFF\xff\xff\x00\x00WAVEfmt \x10\x00\x00\x00\x01\x00\x02\x00\x80\xbb\x00\x00",
    "random": np.random.default_rng(1).bytes(4096),
}


@pytest.mark.parametrize("content", NO_TEXT.values(), ids=NO_TEXT.keys())
def test_what_is_no_text_is_refused_as_such(tmp_path: Path, content: bytes) -> None:
    assert "UTF-8" in refusal(written(tmp_path, content))


def test_a_missing_file_is_refused(tmp_path: Path) -> None:
    assert "no such file" in refusal(tmp_path / "tide-mill.toml")


def test_a_folder_is_refused(tmp_path: Path) -> None:
    assert "directory" in refusal(tmp_path)


def test_a_path_through_a_file_is_refused(tmp_path: Path) -> None:
    assert "not a directory" in refusal(written(tmp_path, text()) / "x.toml")


def test_a_link_to_nowhere_is_refused(tmp_path: Path) -> None:
    (tmp_path / "a.toml").symlink_to(tmp_path / "b.toml")
    assert "no such file" in refusal(tmp_path / "a.toml")


def test_a_huge_file_is_refused(tmp_path: Path) -> None:
    """64 MB of holes, as a file of sound or a disk image would be."""
    path = written(tmp_path, "")
    with path.open("r+b") as file:
        file.truncate(64 << 20)
    refusal(path)


@pytest.mark.parametrize(
    "content",
    [
        text().replace("\n", "\r\n").encode(),
        b"\xef\xbb\xbf" + text().encode(),
        ("# " + "x" * 1_000_000 + "\n" + text()).encode(),
        text().rstrip("\n").encode(),
    ],
    ids=["CR LF", "byte order mark", "a megabyte of comment", "no last line end"],
)
def test_what_editors_do_to_a_file_does_no_harm(tmp_path: Path, content: bytes) -> None:
    assert load_rig(written(tmp_path, content)).choices[ONLY_CHOICE].loads["stage"].nominal == 8.0


# --- anything at all at any place -----------------------------------------------------------------

VALUES = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(),
    st.floats(),
    st.text(max_size=8),
    st.sampled_from(["-1 m", "nan ohm", "1e999 mm2", "0 AWG", "twin", "pond", "amplifier", ""]),
    st.lists(st.integers(), max_size=2),
    st.dictionaries(st.sampled_from(["a", "type", "cable", "construction"]), st.integers()),
)
PLACES = st.sampled_from(
    [
        ("title",),
        ("listen",),
        ("amplifier",),
        ("cables",),
        ("runs",),
        ("loads",),
        ("choices",),
        *(("amplifier", key) for key in ("resistance", "inductance", "damping_factor", "into")),
        *(("cables", "reel", key) for key in (*CABLE, "spacing", "fill", "strands", "material")),
        *(("cables", "reel", key) for key in ("lay_length", "permittivity", "capacitance", "x")),
        *(("runs", "pond", key) for key in (*RUN, "temperature", "from")),
        *(("loads", "stage", key) for key in (*LOAD, *DRIVER, "at", "box", "Vas", "Le")),
        *(("choices", "a", key) for key in ("label", "runs", "cables", "type", "spacing")),
        ("choices", "a", "runs", "pond"),
        ("choices", "a", "cables", "reel"),
    ]
)


@given(changes=st.lists(st.tuples(PLACES, VALUES), min_size=1, max_size=3))
@settings(derandomize=True, max_examples=300, deadline=None)
def test_any_value_at_any_place_is_read_or_refused(
    changes: list[tuple[tuple[str, ...], Any]],
) -> None:
    data: dict[str, Any] = {
        "amplifier": {"resistance": "0.05 ohm"},
        "cables": {"reel": {key: value.strip('"') for key, value in CABLE.items()}},
        "runs": {"pond": {key: value.strip('"') for key, value in RUN.items()}},
        "loads": {"stage": {key: value.strip('"') for key, value in LOAD.items()}},
    }
    for place, value in changes:
        inner: Any = data
        for key in place[:-1]:
            inner = inner.setdefault(key, {}) if isinstance(inner, dict) else {}
        if isinstance(inner, dict):
            inner[place[-1]] = value
    try:
        read_rig(data, Path("tide-mill.toml"))
    except RigError as error:
        assert str(error).startswith("tide-mill.toml: ")  # noqa: PT017


# --- choices: each says only what differs ---------------------------------------------------------


def choices_of(folder: Path, content: str) -> Mapping[str, Choice]:
    return read(folder, content).choices


def series_at_dc(choice: Choice, name: str = "pond") -> float:
    """Loop resistance in ohm/m."""
    return float(choice.network.runs[name].cable.series(np.zeros(1))[0].real)


def test_a_file_without_choices_has_one(tmp_path: Path) -> None:
    rig = read(tmp_path, text())
    assert list(rig.choices) == [ONLY_CHOICE]
    assert rig.choices[ONLY_CHOICE].label == ONLY_CHOICE
    assert rig.title == "tide-mill"


def test_choices_keep_their_order_and_are_labelled_by_name(tmp_path: Path) -> None:
    choices = choices_of(
        tmp_path, text(choices='[choices.b]\n[choices.a]\nlabel = "the Ω"\n[choices.c]')
    )
    assert list(choices) == ["b", "a", "c"]
    assert [choice.label for choice in choices.values()] == ["b", "the Ω", "c"]


def test_a_choice_changes_one_key_and_nothing_else(tmp_path: Path) -> None:
    choices = choices_of(
        tmp_path, text(choices='[choices.short]\nruns.pond.length = "200 ft"\n[choices.whole]')
    )
    assert choices["short"].network.runs["pond"].length == pytest.approx(60.96)  # 200 * 0.3048
    assert choices["whole"].network.runs["pond"].length == 62.0
    assert (
        choices["short"].network.runs["pond"].cable == choices["whole"].network.runs["pond"].cable
    )


def test_a_choice_warms_one_run(tmp_path: Path) -> None:
    choices = choices_of(
        tmp_path, text(choices='[choices.cold]\n[choices.warm]\nruns.pond.temperature = "70 degC"')
    )
    # Copper 0.00393 /K (IEC 60028): 50 K more are 19.65 % more.
    assert series_at_dc(choices["warm"]) / series_at_dc(choices["cold"]) == pytest.approx(1.1965)


def test_a_choice_replaces_a_cable_by_one_of_another_construction(tmp_path: Path) -> None:
    overlay = """
    [choices.twin]
    [choices.measured.cables.reel]
    construction = "measured"
    resistance = "10 ohm/km"
    inductance = "0.7 uH/m"
    """
    choices = choices_of(tmp_path, text(choices=overlay))
    measured = choices["measured"].network.runs["pond"].cable
    assert isinstance(measured, MeasuredCable)
    assert measured.resistance == pytest.approx(0.010)
    assert measured.inductance == pytest.approx(0.7e-6)
    assert isinstance(choices["twin"].network.runs["pond"].cable, PairCable)


def test_another_construction_starts_the_cable_afresh(tmp_path: Path) -> None:
    """A twisted pair that inherited the twin's wall, but not its conductor, would be half a cable."""
    overlay = '[choices.a.cables.reel]\nconstruction = "twisted pair"\nlay_length = "80 mm"'
    sentence = refusal(written(tmp_path, text(choices=overlay)))
    assert sentence.startswith("cables.reel.conductor (choice 'a'): ")


def test_the_same_construction_said_again_keeps_the_cable(tmp_path: Path) -> None:
    overlay = '[choices.a.cables.reel]\nconstruction = "twin"\nconductor = "5 mm2"\n[choices.b]'
    choices = choices_of(tmp_path, text(choices=overlay))
    # Twice the metal is half the resistance: rho / A.
    assert series_at_dc(choices["a"]) == pytest.approx(series_at_dc(choices["b"]) / 2.0)


def test_a_cable_of_a_choice_is_there_in_no_other(tmp_path: Path) -> None:
    overlay = '[choices.a]\nruns.pond.cable = "own"\n' + cable("x").replace(
        "cables.x", "choices.a.cables.own"
    )
    assert list(choices_of(tmp_path, text(choices=overlay))) == ["a"]
    sentence = refusal(
        written(tmp_path, text(choices=overlay + '[choices.b]\nruns.pond.cable = "own"'))
    )
    assert sentence.startswith("choices.b.runs.pond.cable: 'own' is not known")


ALTERNATIVES = {
    "damping factor for resistance": (
        text(choices='[choices.a]\namplifier.damping_factor = 200\namplifier.into = "4 ohm"'),
        lambda c: c.network.amplifier.resistance,
        4.0 / 200.0,
    ),
    "resistance for damping factor": (
        text(
            amplifier=amplifier(resistance=None, damping_factor="400", into='"8 ohm"'),
            choices='[choices.a]\namplifier.resistance = "0.3 ohm"',
        ),
        lambda c: c.network.amplifier.resistance,
        0.3,
    ),
    "damping factor alone, into as it was": (
        text(
            amplifier=amplifier(resistance=None, damping_factor="400", into='"8 ohm"'),
            choices="[choices.a]\namplifier.damping_factor = 20",
        ),
        lambda c: c.network.amplifier.resistance,
        8.0 / 20.0,
    ),
    "spacing for insulation": (
        text(choices='[choices.a]\ncables.reel.spacing = "10 cm"'),
        lambda c: c.network.runs["pond"].cable.spacing,
        0.1,
    ),
    "insulation for spacing": (
        text(
            cables=cable(spacing='"10 cm"', insulation=None),
            choices='[choices.a]\ncables.reel.insulation = "1 mm"',
        ),
        lambda c: c.network.runs["pond"].cable.spacing,
        # diameter of the circle round 2.5 mm2 at a fill of 0.75, and two walls
        2.0 * math.sqrt(2.5e-6 / 0.75 / math.pi) + 2e-3,
    ),
    "loss tangent for dielectric": (
        text(
            cables=cable(dielectric='"PVC"'),
            choices="[choices.a]\ncables.reel.loss_tangent = 0.01",
        ),
        lambda c: c.network.runs["pond"].cable.dielectric.loss_tangent,
        0.01,
    ),
    "dielectric for permittivity": (
        text(
            cables=cable(permittivity="9", loss_tangent="0.3"),
            choices='[choices.a]\ncables.reel.dielectric = "air"',
        ),
        lambda c: c.network.runs["pond"].cable.dielectric.loss_tangent,
        0.0,
    ),
}


@pytest.mark.parametrize(
    ("content", "got", "value"), ALTERNATIVES.values(), ids=ALTERNATIVES.keys()
)
def test_what_a_choice_gives_otherwise_drops_its_alternative(
    tmp_path: Path, content: str, got: Any, value: float
) -> None:
    assert got(the_choice(tmp_path, content)) == pytest.approx(value, rel=1e-12, abs=0.0)


def test_a_choice_that_gives_both_alternatives_is_refused(tmp_path: Path) -> None:
    overlay = '[choices.a.cables.reel]\nspacing = "4 mm"\ninsulation = "1 mm"'
    sentence = refusal(written(tmp_path, text(choices=overlay)))
    assert sentence.startswith("choices.a.cables.reel.insulation: ")


def test_a_load_of_another_type_stays_where_it_is(tmp_path: Path) -> None:
    """Where it stands is not part of what it is; to move it unasked would change every figure."""
    overlay = '[choices.a.loads.stage]\ntype = "driver"\nnominal = "8 ohm"\nRe = "5.6 ohm"\n'
    overlay += 'fs = "38 Hz"\nQms = 4.2\nQes = 0.42'
    choice = the_choice(tmp_path, text(loads=load(at='"amplifier"'), choices=overlay))
    assert choice.network.loads["stage"].at is None


def test_a_load_of_another_type_forgets_the_rest(tmp_path: Path) -> None:
    overlay = '[choices.a.loads.stage]\ntype = "resistor"\nresistance = "4 ohm"'
    assert the_choice(tmp_path, text(loads=driver(), choices=overlay)).loads["stage"].nominal == 4.0


@pytest.mark.parametrize("name", ["type", "construction", "spacing", "resistance"])
def test_a_name_that_is_also_a_key_is_only_a_name(tmp_path: Path, name: str) -> None:
    """[cables.type] is a cable called "type": to change it must not forget the other cables."""
    content = text(
        cables=cable() + cable(name) + cable("insulation"),
        runs=run() + run("spur", cable='"insulation"'),
        loads=load(at='"pond"') + load("lobby", at='"spur"'),
        top='listen = "stage"',
        choices=f'[choices.a.cables.{name}]\nconductor = "4 mm2"',
    )
    assert set(the_choice(tmp_path, content).network.runs) == {"pond", "spur"}


def test_a_choice_may_listen_elsewhere(tmp_path: Path) -> None:
    content = text(
        top='listen = "stage"',
        loads=load(at='"pond"') + load("lobby", at='"pond"', resistance='"4 ohm"'),
        choices='[choices.a]\n[choices.b]\nlisten = "lobby"',
    )
    assert [c.listen for c in choices_of(tmp_path, content).values()] == ["stage", "lobby"]


# --- runs that lead nowhere -----------------------------------------------------------------------


def test_a_run_that_leads_to_no_load_is_left_out(tmp_path: Path) -> None:
    content = text(
        runs=run("near") + run("far", feeder='"near"') + run("spur", feeder='"near"'),
        loads=load(at='"far"'),
        choices='[choices.there]\n[choices.here]\nloads.stage.at = "near"',
    )
    choices = choices_of(tmp_path, content)
    for name, runs in (("there", {"near", "far"}), ("here", {"near"})):
        assert set(choices[name].network.runs) == runs
        assert set(choices[name].runs) == runs


def test_a_load_at_the_amplifier_needs_no_run(tmp_path: Path) -> None:
    choice = the_choice(tmp_path, text(loads=load(at='"amplifier"')))
    assert not choice.network.runs
    assert not choice.runs


def test_the_only_run_is_taken_where_none_is_named(tmp_path: Path) -> None:
    assert the_choice(tmp_path, text()).network.loads["stage"].at == "pond"


def test_a_run_that_leads_to_no_load_is_checked_all_the_same(tmp_path: Path) -> None:
    content = text(runs=run() + run("spur", length='"0 m"'), loads=load(at='"pond"'))
    assert refusal(written(tmp_path, content)).startswith("runs.spur.length: ")


def test_an_unknown_choice_is_refused_with_those_that_are_there(tmp_path: Path) -> None:
    rig = read(tmp_path, text(choices="[choices.reel]\n[choices.bought]"))
    with pytest.raises(RigError, match=r"'rell'.*reel, bought"):
        rig.pick(["rell"])
    assert [choice.name for choice in rig.pick([])] == ["reel", "bought"]
    assert [choice.name for choice in rig.pick(["bought"])] == ["bought"]


def test_a_choice_named_twice_is_picked_once(tmp_path: Path) -> None:
    rig = read(tmp_path, text(choices="[choices.reel]\n[choices.bought]"))
    assert [choice.name for choice in rig.pick(["reel", "reel"])] == ["reel"]


# --- names that must do as names of files ---------------------------------------------------------

UNFIT = {
    "slash": '"a/b"',
    "backslash": '"a\\\\b"',
    "up and out": '"../../b"',
    "nothing": '""',
    "too long": '"' + "x" * 300 + '"',
    "line break": '"a\\nb"',
    "escape": '"\\u001b[2J"',
}


@pytest.mark.parametrize("name", UNFIT.values(), ids=UNFIT.keys())
def test_a_choice_whose_name_is_unfit_for_a_file_is_refused(tmp_path: Path, name: str) -> None:
    sentence = refusal(written(tmp_path, text(choices=f"[choices.{name}]")))
    assert sentence.startswith("choices")
    assert len(sentence) < 400


@pytest.mark.parametrize("name", ["Mühle→水", "a b", "2.5 mm2", "x" * 60])
def test_a_choice_may_have_any_name_that_a_file_can_have(tmp_path: Path, name: str) -> None:
    assert list(choices_of(tmp_path, text(choices=f'[choices."{name}"]'))) == [name]
