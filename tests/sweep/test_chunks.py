"""Chunks of a sweep, put together: as all cases solved at once."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

import auralize as au
from auralize.rig.stepped import SteppedValue
from auralize.sweep import chunks as chunks_module
from auralize.sweep.cases import Cases
from auralize.sweep.chunks import Chunks
from auralize.sweep.percentiles import percentiles
from auralize.sweep.plot import percentile_plot
from auralize.sweep.solving import solve_cases
from auralize.sweep.uncertain import UncertainValue
from support.letters import clashes

RIG = au.read_rig(
    {
        "amplifier": {"resistance": "0 ohm"},
        "cables": {
            "reel": {"construction": "measured", "resistance": "10 mohm/m", "inductance": "1 uH/m"}
        },
        "runs": {"pond": {"cable": "reel", "length": "100 m"}},
        "loads": {"stage": {"type": "resistor", "resistance": "4 ohm"}},
        "choices": {
            "near": {"label": "at 8 ohm", "loads": {"stage": {"resistance": "8 ohm"}}},
            "far": {},
        },
    }
)
CHOICES = RIG.pick([])
CASES = Cases(
    (SteppedValue.of("amplifier.resistance = 0 ohm, 1 ohm"),),
    (UncertainValue.of("runs.pond.length = 60 m +- 20 m", lambda place: None),),
    11,
)
HERTZ = np.geomspace(20.0, 20e3, 7)


@pytest.fixture
def some(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Chunks:
    """22 cases in chunks of 4, of which two frequencies have room at a time."""
    monkeypatch.setattr(chunks_module, "CHUNK", 4)
    monkeypatch.setattr(chunks_module, "_ROOM", 44)
    return Chunks.beside(tmp_path / "pond.csv", "call", RIG, CHOICES, CASES, "both", HERTZ)


def test_figures_and_percentiles_are_those_of_all_cases_at_once(some: Chunks) -> None:
    shares: list[float] = []
    found = some.figures(shares.append)
    np.testing.assert_allclose(shares, np.arange(1, 7) / 6)
    for at, whole in enumerate(solve_cases(RIG, CHOICES, CASES, 0, 22, HERTZ)):
        one = found[at]
        assert (one.choice, one.label, one.load) == (whole.choice, whole.label, whole.load)
        for name in ("loss_db", "drop_db", "deviation_db", "damping_factor", "cable_share"):
            np.testing.assert_array_equal(getattr(one, name), getattr(whole, name))
        for curve in ("loss_curve_db", "drop_curve_db"):
            wanted = percentiles(getattr(whole, curve))
            np.testing.assert_array_equal(some.curve_percentiles(at, curve), wanted)


def test_what_is_kept_is_not_solved_again(some: Chunks, monkeypatch: pytest.MonkeyPatch) -> None:
    found = some.figures(lambda share: None)
    monkeypatch.setattr(chunks_module, "solve_cases", None)
    again = Chunks.beside(some.kept.result, "call", RIG, CHOICES, CASES, "both", HERTZ)
    assert again.cases_kept == 22
    shares: list[float] = []
    np.testing.assert_array_equal(again.figures(shares.append)[1].loss_db, found[1].loss_db)
    assert shares == []


@pytest.fixture
def pages(monkeypatch: pytest.MonkeyPatch) -> list[Any]:
    """Those that are drawn, to be read back."""
    figure = pytest.importorskip("matplotlib.figure")
    drawn: list[Any] = []
    save = figure.Figure.savefig
    monkeypatch.setattr(
        figure.Figure, "savefig", lambda self, *a, **k: (drawn.append(self), save(self, *a, **k))[1]
    )
    return drawn


def test_the_picture_has_medians_and_bands(some: Chunks, pages: list[Any]) -> None:
    """The closed form of a divider is least and most at the ends of the length."""
    image = percentile_plot(some, Path("pond.svg"), "0" * 16)
    assert b"Of 22 cases" in image
    assert clashes(pages[0]) == []
    loss, drop = pages[0].axes
    assert [place.get_title(loc="left") for place in (loss, drop)] == [
        "loss, dB",
        "drop, dB re sending end",
    ]
    lengths = np.sort(np.array(CASES.numbers(0, 22)[CASES.tolerances[0].place]))
    for ohm, line in zip((8.0, 4.0), loss.lines, strict=True):
        np.testing.assert_allclose(line.get_xdata(), HERTZ)
        series = lengths[10] * (0.010 + 2j * np.pi * HERTZ * 1e-6)  # the 11th of 22
        wanted = -20.0 * np.log10(np.abs(1.0 + series / ohm))
        np.testing.assert_allclose(line.get_ydata(), wanted, rtol=1e-6, atol=0.05)
    assert len(loss.collections) == 4, "two bands a choice"
    for inner, outer in (loss.collections[:2], loss.collections[2:]):
        for at in (HERTZ[0], HERTZ[-1]):
            ends = []
            for band in (inner, outer):
                corners = band.get_paths()[0].vertices
                ends.append(np.sort(corners[np.isclose(corners[:, 0], at)][:, 1])[[0, -1]])
            assert ends[1][0] <= ends[0][0] < ends[0][1] <= ends[1][1]


def test_of_steps_alone_the_picture_has_a_band_from_least_to_most(
    tmp_path: Path, pages: list[Any]
) -> None:
    steps = Cases((SteppedValue.of("runs.pond.length = 10 m to 70 m in 3"),))
    some = Chunks.beside(tmp_path / "pond.csv", "call", RIG, CHOICES[1:], steps, "both", HERTZ)
    image = percentile_plot(some, Path("pond.svg"), "0" * 16)
    assert b"the median, and a band from least to most." in image
    loss, _ = pages[0].axes
    least, median, most = (
        -20.0 * np.log10(np.abs(1.0 + metres * (0.010 + 2j * np.pi * HERTZ * 1e-6) / 4.0))
        for metres in (70.0, 40.0, 10.0)
    )
    np.testing.assert_allclose(loss.lines[0].get_ydata(), median, rtol=1e-9)
    (band,) = loss.collections
    corners = band.get_paths()[0].vertices
    for at, hertz in enumerate(HERTZ):
        ends = corners[np.isclose(corners[:, 0], hertz)][:, 1]
        np.testing.assert_allclose([ends.min(), ends.max()], [least[at], most[at]], rtol=1e-9)
