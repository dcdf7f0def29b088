"""Chunks of a sweep, put together: as all cases solved at once."""

from __future__ import annotations

from pathlib import Path

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


def test_the_picture_has_medians_and_bands(some: Chunks, monkeypatch: pytest.MonkeyPatch) -> None:
    """Read back from the page; the closed form of a divider is least and most at the ends of the length."""
    figure = pytest.importorskip("matplotlib.figure")
    pages = []
    save = figure.Figure.savefig
    monkeypatch.setattr(
        figure.Figure, "savefig", lambda self, *a, **k: (pages.append(self), save(self, *a, **k))[1]
    )
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
