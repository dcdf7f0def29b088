"""A joint at the far end of a run: in the cable's ohms, in the loss, in the damping factor, by hand."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from auralize.figures.numbers import Figures, figures
from auralize.rig.reading import load_rig

AMPLIFIER, CABLE, LOAD = 0.05, 0.9, 8.0
"""ohm: output resistance, the loop of the run, the loudspeaker."""


def read(folder: Path, run: str = "", load: str = "") -> Figures:
    path = folder / "mill.toml"
    path.write_text(
        f'[amplifier]\nresistance = "{AMPLIFIER} ohm"\n'
        '[cables.reel]\nconstruction = "measured"\nresistance = "15 mohm/m"\ninductance = "1 nH/m"\n'
        f'[runs.pond]\ncable = "reel"\nlength = "60 m"\n{run}\n'
        f'[loads.stage]\ntype = "resistor"\nresistance = "{LOAD} ohm"\n{load}\n'
        '[programme]\nvoltage = "20 V"\nsignal = "sine"\nfrequency = "20 Hz"\n',
        encoding="utf-8",
    )
    (choice,) = load_rig(path).choices.values()
    return figures(choice, (0.0, 20.0))


JOINTS = [
    ('far = "60 mohm"', "", 0.12),  # in each conductor, and so twice
    ('far = { plus = "0.1 ohm" }', "", 0.1),
    ('far = { minus = "0.1 ohm" }', "", 0.1),
    ('near = "60 mohm"', "", 0.12),
    ('near = "60 mohm"\nfar = { plus = "0.1 ohm", minus = "0.3 ohm" }', "", 0.52),
    ('far = "60 mohm"', 'contact = "50 mohm"', 0.22),
]


@pytest.mark.parametrize(("run", "load", "ohm"), JOINTS)
def test_joints_stand_in_every_figure_of_the_run(
    tmp_path: Path, run: str, load: str, ohm: float
) -> None:
    found = read(tmp_path, run, load)
    at_dc, at_20 = found.lines
    whole = CABLE + ohm
    assert found.dc_loop_ohm == pytest.approx(whole, rel=1e-9)
    arrives = LOAD / (LOAD + whole)
    for line, close in ((at_dc, 1e-9), (at_20, 1e-6)):  # at 20 Hz 60 nH are 8e-6 ohm
        assert line.cable_ohm == pytest.approx(whole, rel=1e-9)
        assert line.loss_db == pytest.approx(20.0 * math.log10(arrives), rel=close)
        assert line.drop_db == pytest.approx(20.0 * math.log10(1.0 - arrives), rel=close)
        assert line.damping == pytest.approx(LOAD / (AMPLIFIER + whole), rel=close)
    assert found.damping_factor == pytest.approx(LOAD / (AMPLIFIER + whole), rel=1e-9)
    assert found.loss_db == pytest.approx(20.0 * math.log10(arrives), rel=1e-5)


def test_heat_of_the_far_joint(tmp_path: Path) -> None:
    """20 V at the amplifier's terminals over 0.9 + 0.12 + 8 ohm."""
    driven = read(tmp_path, 'far = "60 mohm"').driven
    assert driven is not None
    current = 20.0 / (CABLE + 0.12 + LOAD)
    assert driven.runs["pond"].joint_watts == pytest.approx(current**2 * 0.12, rel=1e-6)
    assert driven.runs["pond"].watts == pytest.approx(current**2 * CABLE, rel=1e-6)


def test_a_perfect_joint_changes_nothing(tmp_path: Path) -> None:
    assert read(tmp_path, 'far = "0 ohm"') == read(tmp_path)
