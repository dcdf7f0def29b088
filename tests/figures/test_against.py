"""Choices compared in words: numbers against own loops over the circuit, words against the numbers."""

import copy
import csv
import io
import json
import math
from pathlib import Path

import numpy as np
import pytest
import soundfile as sf

import auralize as au
from auralize.audio.spectrum import WINDOW
from auralize.circuit.solution import solve
from auralize.commands.main import main
from auralize.figures import data
from auralize.figures.against import REGIONS, SMALLEST_DB, differences, region, spectrum_of
from auralize.figures.against_text import as_comparison
from auralize.rig.reading import load_rig, read_rig

DEMO = Path(__file__).parents[2] / "audio_demo"
DRIVER = {
    "type": "driver", "nominal": "8 ohm", "Re": "5.6 ohm", "Le": "0.35 mH", "fs": "38 Hz", "Qms": 4.2,
    "Qes": 0.42,
}  # fmt: skip
CORES = {"construction": "twin", "insulation": "0.7 mm"}
PARLOUR = {
    "amplifier": {"damping_factor": 200, "into": "8 ohm"},
    "cables": {
        "thin": {**CORES, "conductor": "0.75 mm2"},
        "thick": {**CORES, "conductor": "4 mm2"},
    },
    "runs": {"parlour": {"length": "3 m"}},
    "loads": {"parlour": DRIVER},
    "choices": {
        "thin": {"runs": {"parlour": {"cable": "thin"}}},
        "thick": {"runs": {"parlour": {"cable": "thick"}}},
    },
}


def compared(rig, **more):
    choices = list(read_rig(rig).choices.values())
    return differences(choices, choices[0], **more)


def flat(text):
    return " ".join(text.split())


@pytest.mark.parametrize(("signal", "across"), [("receiving", "both"), ("drop", "plus")])
def test_the_numbers_are_those_of_a_loop_over_the_circuit(signal, across):
    """At 2001 points where the product has 601; a mean over ln f for pink noise."""
    rig = load_rig(DEMO / "lay.toml")
    first, other = rig["laid-out"], rig["apart-steel"]
    found = differences([first, other], first, across="plus")
    (found,) = (one for one in found if one.signal == signal)
    f = np.geomspace(20.0, 20_000.0, 2001)
    levels = []
    for choice in (first, other):
        solution = solve(choice.network, f)
        voltage = (
            solution.receiving[choice.listen]
            if signal == "receiving"
            else solution.drop(choice.listen, across)
        )
        levels.append(20 * np.log10(np.abs(voltage)))
    powers = [np.trapezoid(10 ** (level / 10), np.log(f)) for level in levels]
    louder = 10 * np.log10(powers[1] / powers[0])
    shape = levels[1] - levels[0] - louder
    worst = np.argmax(np.abs(shape))
    assert found.level_db == pytest.approx(louder, abs=1e-3)
    assert found.largest_db == pytest.approx(shape[worst], abs=2e-3)
    assert found.largest_hz == pytest.approx(f[worst], rel=0.02)
    brighter = shape[f >= 2000.0].mean() - shape[f <= 1000.0].mean()
    assert found.brighter_db == pytest.approx(brighter, abs=0.01)
    assert found.verdict == "over"


def divider(ohm, **choice):
    """An 8 ohm resistor behind a measured cable that is next to nothing but resistance."""
    cable = {"construction": "measured", "resistance": f"{ohm} ohm/m", "inductance": "1 nH/m"}
    return {
        "amplifier": {"resistance": "0 ohm"},
        "cables": {"reel": cable},
        "runs": {"yard": {"cable": "reel", "length": "1 m"}},
        "loads": {"hut": {"type": "resistor", "resistance": "8 ohm"}},
        "choices": {"short": {}, "long": choice or {"runs": {"yard": {"length": "2 m"}}}},
    }


@pytest.mark.parametrize(
    ("ohm", "verdict", "said"),
    [
        (0.002, "none", "no difference that two decimals would show"),
        (0.2, "under", "dB softer, and nothing else: nobody is likely to hear this on programme"),
        (0.5, "level", "dB softer, and nothing else: the level may be noticed"),
    ],
)
def test_a_resistor_behind_a_resistance_is_softer_and_nothing_else(ohm, verdict, said):
    """Ohm's law; 1 nH changes 20 kHz by under 1e-5 dB."""
    (found,) = compared(divider(ohm))
    assert found.level_db == pytest.approx(20 * math.log10((8 + ohm) / (8 + 2 * ohm)), abs=1e-4)
    assert found.verdict == verdict
    assert said in flat(as_comparison([found]))


def test_three_metres_of_thin_against_thick_are_one_honest_sentence():
    (found,) = compared(PARLOUR)
    assert 0.0 < found.level_db < 0.15
    assert found.verdict == "under"
    head, line, *_ = as_comparison([found]).split("\n  ")
    assert head == "What arrives, against thin, weighted by pink noise:"
    told = flat(f"{line} {_[0]}" if _ else line).split(" Likely or not")[0]
    assert told.startswith(
        "thick: 0.09 dB louder; levels matched, at most 0.08 dB more (middle, 502"
    )
    assert (
        flat(as_comparison([found])).count("nobody is likely to hear this on programme; a blind")
        == 1
    )


def test_no_sentence_says_that_something_is_or_is_not_heard():
    rig = load_rig(DEMO / "lay.toml")
    printed = flat(as_comparison(differences(rig.pick([]), rig["laid-out"], across="minus")))
    for word in ("inaudible", "audible", "is heard", "cannot be heard", "will hear"):
        assert word not in printed
    assert printed.count("a blind trial would tell") == 2 * (len(rig) - 1)
    assert "Miller 1947, value from memory" in printed


def test_a_programme_of_one_tone_weighs_that_tone_alone(tmp_path):
    """A sine of 125 Hz in a file: the level is that of 125 Hz, and only its third octave counts."""
    rate = 48_000
    tone = 0.5 * np.sin(2 * np.pi * 125.0 * np.arange(10 * WINDOW) / rate)
    sf.write(tmp_path / "tone.wav", tone, rate)
    rig = load_rig(DEMO / "saltmarsh.toml")
    sound = spectrum_of(tmp_path / "tone.wav")
    assert sound.frequency[int(np.argmax(sound.share))] == 125.0
    (found,) = differences([rig["beams"]], rig["reel"], sound)
    at = [abs(rig[name].response([125.0])[0]) for name in ("reel", "beams")]
    # Of the window's skirts less than 2 % of the power lie in other third octaves.
    assert found.level_db == pytest.approx(20 * math.log10(at[1] / at[0]), abs=0.02)
    assert 88.0 < found.largest_hz < 180.0
    assert found.programme == "tone.wav"
    (pink,) = differences([rig["beams"]], rig["reel"])
    assert pink.largest_hz > 10_000.0


def test_what_a_lay_leaves_open_is_said_where_it_is_more():
    rig = load_rig(DEMO / "lay.toml")
    found = {
        one.choice: one
        for one in differences(rig.pick([]), rig["laid-out"], across="plus")
        if one.signal == "drop"
    }
    reel, apart = found["on-reel"], found["apart"]
    assert reel.open_db > max(abs(reel.level_db), abs(reel.largest_db))
    assert "lay or loudspeaker, 1.65 dB, is more than this" in flat(as_comparison([reel]))
    assert "What is not known" not in as_comparison([apart])
    # The range is that of the figures, which change the lay too, at one frequency.
    (lay,) = au.read_rig(rig.data).choices["on-reel"].runs.values()
    assert lay.lay is not None
    figures = next(
        f
        for f in json.loads(_printed_json(DEMO / "lay.toml"))["choices"]
        if f["choice"] == "on-reel"
    )
    spread = figures["lays"][0]["conductors"]["plus"]["drop_db_10khz"]
    widest = max(spread["high"] - spread["rendered"], spread["rendered"] - spread["low"])
    assert reel.open_db >= widest * 0.999


def _printed_json(path):
    from contextlib import redirect_stdout

    text = io.StringIO()
    with redirect_stdout(text):
        assert main(["figures", str(path), "--json", "--at", "10 kHz"]) == 0
    return text.getvalue()


def test_silence_another_loudspeaker_and_swapped_conductors_have_their_words():
    short = compared(divider(0.2, loads={"hut": {"type": "short"}}))
    assert short[0].verdict == "silent"
    assert "one of the two is silent" in as_comparison(short)
    swapped = compared(divider(0.2, loads={"hut": {"reversed": True}}))
    assert swapped[0].verdict == "none"
    assert "Plus and minus are swapped in one of the two" in flat(as_comparison(swapped))
    hot = compared(divider(0.2, loads={"hut": {"resistance": "9 ohm"}}))
    assert "The loudspeaker itself differs" in flat(as_comparison(hot))
    two = divider(0.2, listen="barn")
    two["loads"]["barn"] = {"type": "resistor", "resistance": "8 ohm"}
    two["listen"] = "hut"
    assert "heard at another loudspeaker" in as_comparison(compared(two))
    json.loads(data.as_json("", [], [*short, *swapped, *compared(two)]), parse_constant=pytest.fail)


def test_another_tap_is_left_out_and_said():
    rig = copy.deepcopy(PARLOUR)
    rig["transformers"] = {
        "tap": {"line": "100 V", "tap": "20 W", "secondary": "8 ohm", "from": "parlour"}
    }
    rig["loads"]["parlour"] = {**DRIVER, "at": "tap"}
    rig["choices"]["thin"]["transformers"] = {"tap": {"tap": "10 W"}}
    (found,) = compared(rig)
    assert abs(found.level_db) < 0.5
    assert "What the transformers' turns make of the level, +3.01 dB, is left out" in found.notes


def test_octaves_have_words():
    assert [region(f) for f in (20, 63, 100, 1000, 4100, 20_000)] == [
        "deep bass", "bass", "upper bass", "middle", "presence", "top",
    ]  # fmt: skip
    assert len(REGIONS) == 10
    assert SMALLEST_DB < 0.5


def test_the_command_compares_with_the_first_or_with_a_name(capsys):
    path = str(DEMO / "saltmarsh.toml")
    assert main(["figures", path, "--at", "1 kHz"]) == 0
    assert "What arrives, against reel, weighted by pink noise:" in capsys.readouterr().out
    assert main(["figures", path, "--at", "1 kHz", "--choice", "reel", "--against", "beams"]) == 0
    printed = capsys.readouterr().out
    assert "against beams" in printed
    assert "  reel: 0.30 dB louder" in printed
    assert main(["figures", path, "--csv", "--by", "choice"]) == 0
    rows = list(csv.DictReader(io.StringIO(capsys.readouterr().out)))
    assert [row["choice"] for row in rows] == ["bought", "beams"]
    assert main(["figures", path, "--choice", "reel", "--at", "1 kHz"]) == 0
    assert "What arrives" not in capsys.readouterr().out


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--against", "rel"], "choice 'rel' is not in it (did you mean 'reel'?)"),
        (["--programme", "nothing.wav"], "nothing.wav"),
        (["--programme", "quiet.wav"], "quiet.wav: it is silent; right is a programme to weigh by"),
        (["--programme", str(DEMO / "saltmarsh.toml")], "saltmarsh.toml"),
    ],
)
def test_what_cannot_be_compared_is_refused(options, said, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    sf.write(tmp_path / "quiet.wav", np.zeros(48_000), 48_000)
    assert main(["figures", str(DEMO / "saltmarsh.toml"), *options]) == 2
    told = capsys.readouterr()
    assert said in told.err
    assert told.out == ""
