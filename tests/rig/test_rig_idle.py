"""Runs that carry nothing are refused where a choice names them; choices that are the same are told."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
import soundfile

from auralize.commands.main import main
from auralize.errors import RigError
from auralize.rig.reading import load_rig

RIG = """
[amplifier]
damping_factor = 100
into = "8 ohm"
[cables.reel]
construction = "twin"
conductor = "2.5 mm2"
insulation = "0.8 mm"
[cables.drum]
construction = "twin"
conductor = "2.5 mm2"
insulation = "0.8 mm"
[cables.bought]
construction = "measured"
file = "bought.txt"
[runs.weir]
cable = "reel"
length = "40 m"
[loads.hatch]
type = "driver"
at = "weir"
nominal = "8 ohm"
Re = "6 ohm"
fs = "50 Hz"
Qms = 4
Qes = 0.4
"""
CROSSOVER = """
[loads.hatch]
type = "crossover"
at = "weir"
nominal = "8 ohm"
ways.all = ["series 0.1 mH", "to cone"]
drivers.cone.resistance = "6 ohm"
"""


def written(folder: Path, choices: str) -> Path:
    table = "\n".join(f"{hertz} 0.01 7e-7 5e-11" for hertz in (20, 100, 500, 1e3, 2e3, 5e3, 2e4))
    (folder / "bought.txt").write_text(table, encoding="utf-8")
    path = folder / "weir.toml"
    path.write_text(RIG + choices, encoding="utf-8")
    return path


IDLE = '[choices.spare]\nruns.rr = { cable = "reel", length = "9 m", from = "weir" }\n'


def test_a_run_that_carries_nothing_is_refused_where_a_choice_names_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = written(tmp_path, IDLE)
    assert main(["figures", str(path)]) == 2
    told = capsys.readouterr().err
    assert f"{path}: choices.spare.runs.rr: run rr carries no load in this choice" in told
    assert told.count("\n") == 1


def test_a_run_of_the_common_part_may_be_idle_in_a_choice(tmp_path: Path) -> None:
    """But not one that the choice changes all the same."""
    near = '[choices.near]\nloads.hatch.at = "amplifier"\n'
    assert load_rig(written(tmp_path, near))["near"].network.runs == {}
    with pytest.raises(RigError, match=r"choices\.near\.runs\.weir: run weir carries no load"):
        load_rig(written(tmp_path, near + 'runs.weir.length = "20 m"\n'))


@pytest.mark.parametrize(
    ("one", "other", "same"),
    [
        ('label = "so"', 'label = "or so"', True),
        ('runs.weir.length = "20 m"', 'runs.weir.length = "20.0 m"', True),
        ('runs.weir.length = "20 m"', 'runs.weir.length = "21 m"', False),
        ('runs.weir.cable = "reel"', 'runs.weir.cable = "drum"', True),
        ('runs.weir.cable = "bought"', 'runs.weir.cable = "bought"', True),
        ('runs.weir.cable = "bought"', 'runs.weir.cable = "reel"', False),
        ("loads.hatch.reversed = true", "", False),
        ("amplifier.damping_factor = 90", "", False),
        ('runs.weir.far = { plus = "1 ohm" }', 'runs.weir.far = { minus = "1 ohm" }', False),
        ('programme.voltage = "20 V"', 'programme.voltage = "21 V"', False),
        (
            'runs.weir.lay = { shape = "coiled", mean_diameter = "40 cm" }',
            'runs.weir.lay = { shape = "coiled", mean_diameter = "400 mm" }',
            True,
        ),
    ],
)
def test_choices_that_are_the_same_are_told(
    one: str, other: str, same: bool, tmp_path: Path
) -> None:
    rig = load_rig(written(tmp_path, f"[choices.a]\n{one}\n[choices.b]\n{other}\n"))
    assert not any("is the same as" in note for note in rig["a"].notes)
    assert any("choice b is the same as choice a" in n for n in rig["b"].notes) == same


def test_loudspeakers_with_crossovers_compare_too(tmp_path: Path) -> None:
    path = written(
        tmp_path, '[choices.a]\n[choices.b]\n[choices.c]\nloads.hatch.nominal = "6 ohm"\n'
    )
    head, _, choices = path.read_text(encoding="utf-8").partition("[loads.hatch]")
    choices = choices[choices.index("[choices") :]
    path.write_text(head + CROSSOVER + choices, encoding="utf-8")
    rig = load_rig(path)
    assert [any("is the same as" in n for n in rig[name].notes) for name in "abc"] == [
        False, True, False,
    ]  # fmt: skip


def test_it_is_told_in_figures_and_where_sound_is_rendered(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = written(tmp_path, "[choices.a]\n[choices.b]\n")
    note = "hoice b is the same as choice a: nothing differs but what it is called."
    assert main(["figures", str(path)]) == 0
    assert capsys.readouterr().out.count("is the same as") == 1
    assert main(["figures", str(path), "--json"]) == 0
    first, second = json.loads(capsys.readouterr().out)["choices"]
    assert (first["notes"], [n + "." for n in second["notes"]]) == ([], ["c" + note])
    sound = tmp_path / "gate.wav"
    soundfile.write(sound, np.random.default_rng(1).normal(0.0, 0.1, 4800), 48_000)
    assert main(["render", str(path), str(sound), "--into", str(tmp_path)]) == 0
    assert capsys.readouterr().out.replace("\n", " ").count("C" + note) == 1


def test_the_demonstrations_choices_all_differ() -> None:
    demo = Path(__file__).parents[2] / "audio_demo"
    for path in demo.glob("*.toml"):
        for choice in load_rig(path).choices.values():
            assert not any("is the same as" in note for note in choice.notes)
