"""Joints, faults and transformers of a rig file, through every command."""

from __future__ import annotations

import csv
import io
import json
import math
from pathlib import Path

import numpy as np
import pytest
import soundfile as sf

from auralize.circuit.solution import Across, solve
from auralize.commands.main import main
from auralize.errors import RequestError
from auralize.figures import data
from auralize.figures import text as show
from auralize.figures.numbers import figures
from auralize.figures.plot import save_plot
from auralize.filters.export import export_filter
from auralize.gains import Match
from auralize.renderer.files import render
from auralize.renderer.options import RenderOptions
from auralize.rig.choice import Choice
from auralize.rig.reading import load_rig
from support.rig_loads import DRIVER, RESISTOR, TAP, TWIN, beside, flat, table, text, the, written

# ---- joints ---------------------------------------------------------------------------------------

OHMIC = 'construction = "measured"\nresistance = "10 ohm/km"\ninductance = "1 nH/m"'  # 0.62 ohm


def test_a_joint_in_one_leg_is_in_the_loop_once(tmp_path: Path) -> None:
    one = the(tmp_path, text(cable=OHMIC, run='far = { plus = "1 ohm" }'))
    both = the(tmp_path, text(cable=OHMIC, run='far = "0.5 ohm"'))
    at_dc = [solve(c.network, [0.0]).receiving["landing"][0] for c in (one, both)]
    by_hand = 8.0 / (8.0 + 1.0 + 0.62 + 0.05)
    assert at_dc == pytest.approx([by_hand, by_hand], rel=1e-12)


def test_a_joint_in_one_leg_keeps_its_drop_in_that_leg(tmp_path: Path) -> None:
    choice = the(tmp_path, text(run='near = { minus = "1 ohm" }'))
    found = solve(choice.network, [0.0])
    (run,) = choice.network.runs.values()
    half = 0.5 * run.series(np.zeros(1))[0].real
    current = 1.0 / (8.0 + 1.0 + 2.0 * half + 0.05)
    assert found.drop("landing", "plus")[0] == pytest.approx(current * half, rel=1e-9)
    assert found.drop("landing", "minus")[0] == pytest.approx(current * (half + 1.0), rel=1e-9)


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
    told = json.loads(data.as_json("landing", [found]))  # refuses NaN and infinity by itself
    assert (told["choices"][0]["driven"] is None) == (fault == "short" and at == "amplifier")
    for row in csv.DictReader(io.StringIO(data.as_csv([found]))):
        values = [float(v) for k, v in row.items() if v and k not in ("choice", "drop_across")]
        assert np.isfinite(values).all()
    save_plot("landing", [choice], tmp_path / "plot.svg")
    wishes = RenderOptions(signals=("receiving", "drop", "sending"), makeup=0.0, depth="FLOAT")
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
    assert short.loss_db == -math.inf
    assert short.deviation_db == 0.0
    assert "silent" in show.as_table("", [short])
    opened = branches(tmp_path, "open", "boathouse", "boathouse")
    beside = branches(tmp_path, "open", "boathouse", "landing")
    # No current in the spur but that into its 2 nF: what stands at its end is what stands at its start.
    assert figures(opened).loss_db == pytest.approx(figures(beside).loss_db, abs=1e-3)
    assert "what is shown and rendered is the voltage at its terminals" in flat(table(opened))


@pytest.mark.parametrize("fault", ["open", "short"])
@pytest.mark.parametrize("kind", ["wav", "txt", "json"])
def test_silence_has_no_filter(
    fault: str, kind: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    at = {"open": "amplifier", "short": "boathouse"}[fault]
    signal = {"open": "drop", "short": "receiving"}[fault]
    path = written(
        tmp_path,
        BRANCHES.format(fault=fault, at=at, listen="boathouse", cable=TWIN, driver=DRIVER),
    )
    out = tmp_path / "out"
    options = ["--as", kind, "--into", str(out), "--rate", "8000", "--signal", signal]
    assert main(["filter", str(path), *options]) == 2
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
    wishes = RenderOptions(signals=("receiving", "drop", "sending"), makeup=0.0, depth="FLOAT")
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
        export_filter(choice, "receiving", 8000, minimum_phase, out, replaces=True)
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
    done = render(noise(tmp_path), [choice], tmp_path, RenderOptions(match=Match.at(1000.0)))
    assert {o.gains.match for o in done.outputs} == {0.0}


@pytest.mark.parametrize("across", ["plus", "minus"])
def test_drop_over_one_conductor_needs_one_that_runs_all_along(
    across: Across, tmp_path: Path
) -> None:
    line = f'at = "tap"\n[transformers.tap]\nfrom = "quay"\n{TAP}'
    choice, out = the(tmp_path, text(DRIVER + line)), tmp_path / "out"
    with pytest.raises(RequestError, match="there is a transformer on the way to 'landing'"):
        render(noise(tmp_path), [choice], out, RenderOptions(across=across))
    assert not out.exists()
    arrives = RenderOptions(across=across, signals=("receiving",))
    assert len(render(noise(tmp_path), [choice], out, arrives).outputs) == 1


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
    """Behind a step-up of 1 to 4 it is what leaves the amplifier, whatever the file; 12.04 dB are told."""
    up = 'input = "25 V"\noutput = "100 V"\npower = "100 W"\n'
    choice = the(
        tmp_path,
        text(
            'type="resistor"\nresistance="100 ohm"\nat="up"',
            more=f'[transformers.up]\nfrom = "quay"\n{up}',
        ),
    )
    path = tmp_path / f"sending{suffix}"
    told = export_filter(choice, "sending", 8000, False, path)
    assert "the transformers' turns make +12.04 dB, which is left out" in told
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
    assert 20.0 * math.log10(gain / sent) == pytest.approx(0.0, abs=0.02)
