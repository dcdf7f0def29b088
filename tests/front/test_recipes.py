"""Rigs that people begin from: short, read at once, and right where they can be worked out by hand."""

from __future__ import annotations

from pathlib import Path

import pytest

from auralize.commands.main import main
from auralize.figures.numbers import Figures, figures
from auralize.rig.reading import load_rig

FOLDER = Path(__file__).parent / "recipes"
RECIPES = sorted(FOLDER.glob("*.toml"))
LONGEST = 40
"""Lines; more is no recipe."""
LINE = 1e-6
"""Relative: the DC figure is that of a line, whose insulation leaks a little."""


def found(name: str) -> dict[str, Figures]:
    rig = load_rig(FOLDER / name)
    return {choice: figures(rig[choice]) for choice in rig}


@pytest.mark.parametrize("path", RECIPES, ids=lambda path: path.stem)
def test_a_recipe_is_short_and_gives_figures(
    path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = path.read_text(encoding="utf-8")
    assert len(text.splitlines()) < LONGEST
    assert 'title = "Saltmarsh Tide Mill: ' in text
    assert main(["figures", str(path)]) == 0
    printed = capsys.readouterr().out
    assert all(f"\n{name}: " in printed for name in load_rig(path))


def test_leads_of_two_gauges_and_lengths_by_hand() -> None:
    """IEC 60228 class 5: 13.3 ohm/km; ASTM B258: 12 AWG is 5.211 ohm/km (values from memory)."""
    by_choice = found("coiled.toml")
    thin, thick = 2 * 25.0 * 13.3e-3, 2 * 150 * 0.3048 * 5.211e-3
    for name in ("thin", "thin-coiled"):
        assert by_choice[name].dc_loop_ohm == pytest.approx(thin, rel=LINE)
    for name in ("thick", "thick-coiled"):
        assert by_choice[name].dc_loop_ohm == pytest.approx(thick, rel=2e-4)  # of four digits
    runs = {name: f.lays for name, f in by_choice.items()}
    assert not runs["thin"]
    assert runs["thin-coiled"]


def test_four_cores_are_two_conductors_of_two_by_hand() -> None:
    """4 mm2, class 5: 4.95 ohm/km (IEC 60228, value from memory); half of it each way."""
    by_choice = found("subwoofers.toml")
    assert by_choice["four"].dc_loop_ohm == pytest.approx(45 * 4.95e-3, rel=LINE)
    assert by_choice["pair"].dc_loop_ohm == pytest.approx(2 * 45 * 4.95e-3, rel=LINE)
    assert by_choice["four"].band_hz == (30.0, 120.0)


def test_three_metres_by_hand() -> None:
    """6 m of 26 ohm/km or 4.95 ohm/km (IEC 60228 class 5, values from memory), behind 8/100 ohm."""
    by_choice = found("three-metres.toml")
    assert by_choice["thin"].dc_loop_ohm == pytest.approx(6 * 26e-3, rel=LINE)
    assert by_choice["thick"].dc_loop_ohm == pytest.approx(6 * 4.95e-3, rel=LINE)
    assert by_choice["thin"].damping_factor == pytest.approx(8 / (0.156 + 0.08), rel=LINE)
    assert all(abs(f.deviation_db) < 0.25 for f in by_choice.values())


def test_a_line_of_twenty_is_of_twenty() -> None:
    """60 m to the first, and 4 m from each to the next: 19 times."""
    choice = load_rig(FOLDER / "hundred-volts.toml")["thin"]
    assert len(choice.loads) == 20
    assert sum(run.run.length for run in choice.runs.values()) == pytest.approx(60 + 19 * 4)
