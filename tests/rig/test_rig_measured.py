"""Measured loads and cables in a rig file: read beside it, warmed, replaced, and written again."""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pytest

from auralize.circuit.cable import Dielectric, MeasuredCable, make_pair
from auralize.circuit.conductor import MATERIALS, make_conductor
from auralize.circuit.loudspeaker import Driver
from auralize.circuit.network import Amplifier, Connected, Network, Run
from auralize.circuit.solution import solve
from auralize.errors import RigError
from auralize.figures import data
from auralize.figures.numbers import figures
from auralize.rig.choice import Choice
from auralize.rig.measured import write_impedance
from auralize.rig.reading import load_rig
from auralize.rig.touchstone import write_touchstone
from support.rig_loads import DRIVER, MEASURED, F, flat, table, text, the, written

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
    assert len(choice.notes) == 3
    printed = table(choice)
    assert "load landing is measured from 20 Hz to 160 Hz only: above, " in flat(printed)
    assert "load landing is measured coarsely (an octave or more between points " in flat(printed)
    assert "cable reel is measured from 100 Hz to 9 kHz only: below, " in flat(printed)
    assert json.loads(data.as_json("", [figures(choice)]))["choices"][0]["notes"] == list(
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


# ---- there and back ------------------------------------------------------------------------------


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


@pytest.mark.parametrize("middle", ["0.0948", "0.0025"])
def test_a_table_that_jumps_is_refused_where_nothing_can_be_told_between_its_rows(
    landing: Path, middle: str
) -> None:
    rows = f"20 0.0148 6.5e-7 6e-11\n200 0.0148 6.5e-7 6e-11\n2000 {middle} 6.5e-7 6e-11\n"
    rows += "2004 0.0148 6.5e-7 6e-11\n200000 0.0148 6.5e-7 6e-11\n"
    (landing / "pair.txt").write_text(rows)
    lines = 'construction = "measured"\nfile = "pair.txt"'
    with pytest.raises(RigError, match=r"pair.txt: the resistance jumps near .* kHz, so "):
        the(landing, text(cable=lines))
