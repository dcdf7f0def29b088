"""Whole installations end to end: the path and lawn of the Tide Mill, by every command."""

from __future__ import annotations

import csv
import io
import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile as sf

from auralize.circuit.power import temperature_rise
from auralize.commands.main import main
from auralize.figures import text as show
from auralize.figures.fit import fit
from auralize.figures.numbers import Figures, figures
from auralize.rig.choice import Choice
from auralize.rig.reading import Rig, load_rig

PATH = Path(__file__).parents[2] / "audio_demo" / "path.toml"
LOADS = ("lawn", "bench", "gate")
RIG = load_rig(PATH)
RATE = 8_000


def flat(printed: str) -> str:
    """Without the line breaks that the width of the terminal asks for."""
    return " ".join(printed.split())


def written(folder: Path, content: str) -> Path:
    path = folder / "hut.toml"
    path.write_text(content, encoding="utf-8")
    return path


def run(*arguments: object) -> int:
    return main([str(argument) for argument in arguments])


@pytest.fixture
def gulls(tmp_path: Path) -> Path:
    path = tmp_path / "gulls.wav"
    wave = 0.1 * np.random.default_rng(7).standard_normal((RATE // 4, 1))
    sf.write(path, wave.clip(-0.9, 0.9), RATE, subtype="DOUBLE")
    return path


# ---- every loudspeaker, every command -------------------------------------------------------------


@pytest.mark.parametrize("load", LOADS)
def test_figures_of_every_loudspeaker(load: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("figures", PATH, "--load", load) == 0
    printed = capsys.readouterr().out
    assert max(map(len, printed.splitlines())) <= 80
    assert "nan" not in printed.lower()
    assert "inf" not in printed.lower()
    for name in RIG.choices:
        assert f"\n{name}: " in printed
    assert ("behind a transformer" in flat(printed)) == (load != "lawn")


@pytest.mark.parametrize("load", LOADS)
def test_json_and_csv_say_the_same(load: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("figures", PATH, "--load", load, "--json") == 0
    told = json.loads(capsys.readouterr().out)
    assert run("figures", PATH, "--load", load, "--csv") == 0
    rows = list(csv.DictReader(io.StringIO(capsys.readouterr().out)))
    lines = [(c["choice"], line) for c in told["choices"] for line in c["lines"]]
    assert len(rows) == len(lines) == 10 * len(RIG.choices)
    for row, (choice, line) in zip(rows, lines, strict=True):
        assert row.pop("choice") == choice
        assert row.pop("drop_across") == "both"
        assert {key: float(value) for key, value in row.items()} == line


@pytest.mark.parametrize("load", LOADS)
def test_what_is_rendered_adds_up(load: str, tmp_path: Path, gulls: Path) -> None:
    options = ("--load", load, "--signals", "receiving,drop,sending", "--make-up", "0 dB")
    assert run("render", PATH, gulls, "--into", tmp_path, "--depth", "float", *options) == 0
    at = "" if load == "lawn" else f".at-{load}"
    for choice in RIG.choices:
        heard = {
            signal: sf.read(tmp_path / f"gulls.{choice}{at}.{signal}.make-up-0dB.float.wav")[0]
            for signal in ("receiving", "drop", "sending")
        }
        assert np.abs(heard["receiving"]).max() > 0.01
        np.testing.assert_allclose(heard["receiving"] + heard["drop"], heard["sending"], atol=2e-7)


@pytest.mark.parametrize(
    ("load", "suffix"), [("lawn", ".json"), *((load, ".wav") for load in LOADS)]
)
def test_filters_of_every_loudspeaker(
    load: str, suffix: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    options = ("--load", load, "--choice", "sound", "--rate", RATE, "--as", suffix[1:])
    assert run("filter", PATH, *options, "--into", tmp_path) == 0
    assert "choice sound" in capsys.readouterr().out
    at = "" if load == "lawn" else f".at-{load}"
    (out,) = tmp_path.glob(f"path.sound{at}.receiving.*Hz{suffix}")
    assert out.stat().st_size > 0


def test_plots_of_every_loudspeaker(tmp_path: Path) -> None:
    for load in LOADS:
        assert run("plot", PATH, "--into", tmp_path, "--load", load) == 0
    assert len(list(tmp_path.iterdir())) == len(LOADS)


def test_one_plot_of_every_loudspeaker_names_each_and_shows_the_phase(tmp_path: Path) -> None:
    options = ("--as", "svg", "--into", tmp_path, "--choice", "sound", "--every-load")
    assert run("plot", PATH, *options) == 0
    picture = tmp_path / "path.sound.every-load.plot.svg"
    text = picture.read_text(encoding="utf-8")
    for words in (*(f"sound: {load}" for load in LOADS), "load, ohm", "load, degrees"):
        assert f">{words}</text>" in text


def test_a_loudspeaker_that_is_not_there_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    assert run("figures", PATH, "--load", "porch") == 2
    assert "right is one of lawn, bench, gate" in capsys.readouterr().err


def test_what_is_read_twice_is_equal() -> None:
    """The bench asks so, to see what an edit changed."""
    assert load_rig(PATH).choices == RIG.choices
    assert RIG.choices["sound"] != RIG.choices["hot"]


# ---- where the power goes -------------------------------------------------------------------------


def burnt(found: Figures) -> float:
    """W of all that is listed."""
    driven = found.driven
    assert driven is not None
    cables = sum(heated.watts + heated.joint_watts for heated in driven.runs.values())
    shares = (driven.loads, driven.contacts, driven.transformers)
    return cables + sum(sum(share.values()) for share in shares)


@pytest.mark.parametrize("name", RIG.choices)
def test_powers_of_the_path_add_up(name: str) -> None:
    found = figures(RIG.choices[name])
    assert found.driven is not None
    assert burnt(found) == pytest.approx(found.driven.drawn_watts, rel=1e-9)


RUN = """
[amplifier]
resistance = "0.05 ohm"
rating = "{rating}"
[programme]
{programme}
[cables.reel]
{cable}
[runs.hut]
cable = "reel"
length = "{length}"
{run}
[loads.hut]
type = "resistor"
resistance = "{resistance}"
{load}
"""
OHMIC = 'construction = "measured"\nresistance = "10 ohm/km"\ninductance = "1 nH/m"'


def one_run(folder: Path, cable: str = OHMIC, **parts: str) -> Rig:
    usual = {
        "rating": "500 W",
        "programme": 'voltage = "20 V"\nsignal = "sine"\nfrequency = "20 Hz"',
        "length": "100 m",
        "resistance": "8 ohm",
        "run": "",
        "load": "",
    }
    return load_rig(written(folder, RUN.format(cable=cable, **{**usual, **parts})))


def only(rig: Rig) -> Choice:
    (choice,) = rig.choices.values()
    return choice


def test_powers_of_a_loop_by_hand(tmp_path: Path) -> None:
    """20 V over 1 ohm of cable, 0.2 of joints, 0.3 of terminals, 8 of load."""
    parts = {"run": 'near = "50 mohm"\nfar = { plus = "0.1 ohm" }', "load": 'contact = "0.15 ohm"'}
    found = figures(only(one_run(tmp_path, **parts)))
    driven = found.driven
    assert driven is not None
    current = 20.0 / (1.0 + 0.2 + 0.3 + 8.0)
    hut = driven.runs["hut"]
    by_hand = [current**2 * ohm for ohm in (8.0, 0.3, 1.0, 0.2)]
    powers = [driven.loads["hut"], driven.contacts["hut"], hut.watts, hut.joint_watts]
    assert powers == pytest.approx(by_hand, rel=1e-6)
    assert hut.amperes == pytest.approx(current, rel=1e-6)
    assert burnt(found) == pytest.approx(driven.drawn_watts, rel=1e-9)
    printed = flat(show.as_table("", [found]))
    assert "At 20 V of a sine of 20 Hz (crest factor 1.4) the amplifier gives 42.1 W" in printed
    assert "load hut: 35.5 W, 1.33 W in its terminals" in printed
    assert "run hut: 2.11 A, 4.43 W lost in the cable, 886 mW in its joints" in printed
    assert "peak voltage that the amplifier must give: 28.3 V" in printed  # root 2 times 20 V


def test_the_peak_is_the_crest_factor_times_the_voltage(tmp_path: Path) -> None:
    printed = driven_text(tmp_path, OHMIC, "35 V")  # with a crest factor of 2
    assert "peak voltage that the amplifier must give: 70.0 V" in printed


def test_ten_percent_of_the_power_are_half_a_decibel(tmp_path: Path) -> None:
    """10 lg 0.9 = -0.458 dB of power, at the length that `fit --heat` finds."""
    rig = one_run(tmp_path)
    longest = fit(rig, only(rig), None, "heat", 0.10).longest
    found = figures(only(one_run(tmp_path, length=f"{longest!r} m")))
    assert found.driven is not None
    power = 10.0 * math.log10(found.driven.loads["hut"] / found.driven.drawn_watts)
    assert power == pytest.approx(-0.4575749, abs=2e-4)
    assert found.cable_share == pytest.approx(0.1, rel=1e-3)


# ---- cautions -------------------------------------------------------------------------------------

THIN = 'construction = "twin"\nconductor = "0.75 mm2"\ninsulation = "0.6 mm"'
LOUD = 'voltage = "{}"\ncrest_factor = 2'


def driven_text(folder: Path, cable: str, volts: str, **parts: str) -> str:
    rig = one_run(folder, cable, programme=LOUD.format(volts), resistance="2.1 ohm", **parts)
    return flat(show.as_table("", [figures(only(rig))]))


def test_an_overloaded_thin_cable_is_a_caution(tmp_path: Path) -> None:
    printed = driven_text(tmp_path, THIN, "35 V", length="5 m", rating="10 kW")
    assert "its metal settles some" in printed
    assert "Caution: too hot for most cables" in printed
    warm = driven_text(tmp_path, THIN, "25 V", length="5 m")
    assert "its metal settles some" in warm
    assert "Caution" not in warm
    assert "settles" not in driven_text(tmp_path, THIN, "9 V", length="5 m")


def test_a_cable_that_runs_away_is_said_to(tmp_path: Path) -> None:
    cable = THIN.replace("0.75", "0.5")
    assert "its metal does not settle at any heat over the air. Caution" in driven_text(
        tmp_path, cable, "300 V", length="5 m", rating="100 kW"
    )


@pytest.mark.parametrize("cable", [OHMIC, THIN.replace("0.75", "0.3"), THIN.replace("0.75", "25")])
def test_where_heat_is_not_estimated_this_is_said(cable: str, tmp_path: Path) -> None:
    assert "heating not estimated for such a cable" in driven_text(tmp_path, cable, "90 V")


@pytest.mark.parametrize(("rating", "overloaded"), [("200 W", False), ("150 W", True)])
def test_load_on_the_amplifier_is_held_against_its_rating(
    rating: str, overloaded: bool, tmp_path: Path
) -> None:
    """20 V over 2.1 ohm and hardly any cable: 190 W."""
    printed = driven_text(tmp_path, THIN, "20 V", length="1 cm", rating=rating)
    assert f"the amplifier is rated {rating}" in printed
    assert ("Caution: that overloads it" in printed) == overloaded


LINE = """
[amplifier]
resistance = "0.1 ohm"
rating = "{rating}"
[programme]
voltage = "100 V"
signal = "sine"
[cables.line]
construction = "twin"
conductor = "2.5 mm2"
insulation = "0.8 mm"
[runs.path]
cable = "line"
length = "100 m"
[transformers.hut]
from = "path"
line = "100 V"
tap = "{tap}"
secondary = "8 ohm"
[transformers.porch]
from = "path"
line = "100 V"
tap = "20 W"
secondary = "8 ohm"
[loads.hut]
type = "resistor"
resistance = "8 ohm"
at = "hut"
[loads.porch]
type = "resistor"
resistance = "8 ohm"
at = "porch"
"""


def line(folder: Path, tap: str, rating: str = "60 W") -> Figures:
    path = written(folder, 'listen = "hut"\n' + LINE.format(tap=tap, rating=rating))
    return figures(only(load_rig(path)))


def test_twice_the_tap_is_about_twice_the_power(tmp_path: Path) -> None:
    """10 and 20 W at 100 V, less 1 dB of insertion loss and what 100 m keep (2 % of current more)."""
    ten, twenty = (line(tmp_path, tap).driven for tap in ("10 W", "20 W"))
    assert ten is not None
    assert twenty is not None
    assert twenty.loads["hut"] / ten.loads["hut"] == pytest.approx(2.0, rel=0.01)
    assert 20.0 * 10.0**-0.1 * 0.97 < twenty.loads["hut"] < 20.0 * 10.0**-0.1
    assert twenty.loads["hut"] == pytest.approx(twenty.loads["porch"], rel=1e-9)


@pytest.mark.parametrize(("tap", "overloaded"), [("20 W", False), ("40 W", False), ("60 W", True)])
def test_taps_are_added_up_against_the_rating(tap: str, overloaded: bool, tmp_path: Path) -> None:
    found = line(tmp_path, tap)
    printed = flat(show.as_table("", [found]))
    assert f"the taps add up to {float(tap[:-2]) + 20:.1f} W" in printed
    assert ("Caution: that overloads it" in printed) == overloaded
    assert burnt(found) == pytest.approx(found.driven.drawn_watts, rel=1e-9)  # type: ignore[union-attr]


# ---- in parallel ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("place", "told"),
    [
        ("path", "at the end of run path"),
        ("porch", "on transformer porch"),
        ("amplifier", "at the amplifier"),
    ],
)
def test_loudspeakers_in_one_place_are_said_to_be_in_parallel(
    place: str, told: str, tmp_path: Path
) -> None:
    apart = 'listen = "hut"\n' + LINE.format(tap="20 W", rating="60 W")
    assert "in parallel" not in as_printed(tmp_path, apart)
    together = apart.replace('at = "hut"', f'at = "{place}"').replace(
        'at = "porch"', f'at = "{place}"'
    )
    assert (
        as_printed(tmp_path, together).count(f" Loads hut and porch are in parallel {told}. ") == 1
    )
    third = f'[loads.quay]\ntype = "resistor"\nresistance = "8 ohm"\nat = "{place}"\n'
    printed = as_printed(tmp_path, together + third)
    assert printed.count(f" Loads hut, porch and quay are in parallel {told}. ") == 1


def as_printed(folder: Path, content: str) -> str:
    return flat(show.as_table("", [figures(only(load_rig(written(folder, content))))]))


# ---- four cores, coiled ---------------------------------------------------------------------------

FOUR = """construction = "four-core"
conductor = "2.5 mm2"
strands = "class 5"
insulation = "0.8 mm"
lay_length = "90 mm"
"""


def test_four_cores_heat_as_two_of_twice_the_metal(tmp_path: Path) -> None:
    """IEC 60228 class 5, 2.5 mm2: 7.98 ohm/km for one core; two in parallel there and two back."""
    rig = one_run(tmp_path, FOUR, programme=LOUD.format("80 V"), resistance="4 ohm", length="20 m")
    driven = figures(only(rig)).driven
    assert driven is not None
    hut = driven.runs["hut"]
    expected = temperature_rise(hut.amperes, 7.98e-3 / 2.0, 2 * 2.5e-6)
    assert hut.rise_kelvin == pytest.approx(expected, rel=1e-9)
    assert expected > 5.0


def test_a_coaxial_cable_heats_by_core_and_shield(tmp_path: Path) -> None:
    cable = (
        'construction = "coaxial"\nconductor = "2.5 mm2"\nstrands = "class 5"\ninsulation = "1 mm"\n'
        'shield = "0.3 mm"\nshield_resistance = "4.02 ohm/km"'
    )
    rig = one_run(tmp_path, cable, programme=LOUD.format("80 V"), resistance="4 ohm", length="20 m")
    driven = figures(only(rig)).driven
    assert driven is not None
    hut = driven.runs["hut"]
    expected = temperature_rise(hut.amperes, (7.98e-3 + 4.02e-3) / 2.0, 2.5e-6)
    assert hut.rise_kelvin == pytest.approx(expected, rel=1e-9)


def test_four_cores_may_be_coiled_and_then_only_heat(tmp_path: Path) -> None:
    parts: dict[str, Any] = {
        "programme": LOUD.format("80 V"),
        "resistance": "4 ohm",
        "length": "60 m",
    }
    straight = figures(only(one_run(tmp_path, FOUR, **parts)))
    lay = '[runs.hut.lay]\nshape = "coiled"\nmean_diameter = "40 cm"'
    coiled = figures(only(one_run(tmp_path, FOUR, run=lay, **parts)))
    assert coiled.lines == straight.lines
    assert coiled.driven is not None
    assert straight.driven is not None
    # Four layers on a drum bear 0.35 of the current: BS 7671:2008, table 4F1A, note 2, as the
    # estimate has it; heat goes with its square and more, as hot copper resists more.
    ratio = coiled.driven.runs["hut"].rise_kelvin / straight.driven.runs["hut"].rise_kelvin  # type: ignore[operator]
    assert ratio > 0.35**-2
    printed = flat(show.as_table("", [coiled]))
    assert "a coiled cable cannot shed its heat" in printed
    assert "its metal settles some" in printed


# ---- closed loop ----------------------------------------------------------------------------------


def test_impedance_told_by_figures_is_the_loudspeaker_when_read_again(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """24 a row an octave, from the command's CSV into a text table, into a rig: 0.005 dB."""
    where = ",".join(f"{10.0 * 2.0 ** (n / 24.0):.6g} Hz" for n in range(11 * 24 + 1))
    assert run("figures", PATH, "--choice", "sound", "--csv", "--at", where) == 0
    rows = list(csv.DictReader(io.StringIO(capsys.readouterr().out)))
    keys = ("frequency", "load_ohm", "load_degrees")
    table = "\n".join("\t".join(row[key] for key in keys) for row in rows)
    (tmp_path / "lawn.txt").write_text(f"Hz\tohm\tdegrees\n{table}\n", encoding="utf-8")
    content = PATH.read_text(encoding="utf-8")
    content += """
[choices.again]
loads.lawn = { type = "measured", file = "lawn.txt", nominal = "6 ohm" } # 4.9 ohm at its lowest
"""
    rig = load_rig(written(tmp_path, content))
    frequencies = tuple(np.geomspace(20.0, 20e3, 97))
    before, after = (figures(rig.choices[name], frequencies) for name in ("sound", "again"))
    assert after.notes == ()
    for one, other in zip(before.lines, after.lines, strict=True):
        assert other.loss_db == pytest.approx(one.loss_db, abs=0.005)
        assert other.loss_degrees == pytest.approx(one.loss_degrees, abs=0.1)
        assert other.drop_db == pytest.approx(one.drop_db, abs=0.05)
    assert after.driven is not None
    assert before.driven is not None
    assert after.driven.loads["lawn"] == pytest.approx(before.driven.loads["lawn"], rel=1e-3)
