"""Rig files that are spoilt somewhere, and what their refusals must say; cables in bad_cables.py."""

from typing import NamedTuple

from support.rig_text import amplifier, cable, driver, load, run, text


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

BAD_RIGS = {
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
