"""The drawing of an installation: nothing too wide, nothing left out, taken where it is said to be."""

from pathlib import Path

import pytest
from auralize_tui.big import large
from auralize_tui.drawing import LEAST, ROWS, drawing, tree

from auralize.circuit.signals import voltage
from auralize.circuit.solution import solve
from auralize.rig.reading import load_rig
from support.bench_app import DEMO

FOLDER = Path(DEMO).parent
CHOICES = [
    choice
    for name in ("saltmarsh", "lay", "path", "lobby", "boathouse")
    for choice in load_rig(FOLDER / f"{name}.toml").choices.values()
]


def _drawn(name, choice, signal="drop", across="both", width=74, plain=False):
    rig = load_rig(FOLDER / f"{name}.toml")
    return drawing(rig[choice], signal, across, width, plain=plain)


@pytest.mark.parametrize("width", [LEAST, 57, 74, 113, 190])
@pytest.mark.parametrize("plain", [False, True])
def test_it_fits_and_is_plain_where_asked(width, plain):
    for choice in CHOICES:
        for signal in ("drop", "receiving", None):
            lines = drawing(choice, signal, "both", width, plain=plain)
            assert len(lines) == ROWS
            assert max(map(len, lines)) <= width
            assert "".join(lines).isascii() or not plain
            assert lines[1][1:4] == "amp"
    assert drawing(CHOICES[0], "drop", "both", LEAST - 1, plain=plain) == []


def test_the_drop_is_measured_between_amplifier_and_loudspeaker():
    lines = _drawn("saltmarsh", "reel", plain=True)
    first, last = lines[1].index("+"), lines[1].rindex("+|")
    assert lines[4].index("|") == first
    assert lines[4].rindex("|") == last


@pytest.mark.parametrize(("across", "heavy"), [("both", (1, 2)), ("plus", (1,)), ("minus", (2,))])
def test_the_conductors_that_the_drop_is_over_are_heavy(across, heavy):
    lines = _drawn("saltmarsh", "reel", across=across, plain=True)
    assert [row for row in (1, 2) if "===" in lines[row]] == list(heavy)


def test_swapped_polarity_is_drawn_as_it_is_rendered():
    """Against the solution: the voltage at the loudspeaker is upside down in that choice alone."""
    for name in ("sound", "swapped"):
        choice = load_rig(FOLDER / "path.toml")[name]
        lines = drawing(choice, "receiving", "both", 74, plain=True)
        solution = solve(choice.network, [100.0])
        sign = solution.polarity(choice.listen) * voltage(solution, choice.listen, "receiving")[0]
        assert (sign.real < 0.0) == ("-|lawn" in lines[1])


def test_joints_coils_transformers_and_what_goes_off_are_drawn():
    path = _drawn("path", "corroded")
    assert "x" in path[1]
    assert "to step-up" in path[3]
    coiled = [_drawn("lay", name) for name in ("laid-out", "on-reel")]
    assert ["@@@" in lines[1] for lines in coiled] == [False, True]
    ceiling = _drawn("boathouse", "thick", width=113)
    assert ")(" in ceiling[1]
    assert "more" in ceiling[0]


def test_the_tree_names_every_part_once():
    for choice in CHOICES:
        lines = tree(choice)
        network = choice.network
        parts = 1 + len(network.runs) + len(network.transformers) + len(network.loads)
        assert len(lines) == parts
        assert sum("heard here" in line for line in lines) == 1


def test_large_letters_fit_or_are_not_there():
    assert large("drop", 15) == ["█▀▄ █▀▄ ▄▀▄ █▀▄", "█ █ █▀▄ █ █ █▀ ", "▀▀  ▀ ▀  ▀  ▀  "]
    assert large("drop", 14) == []
    assert large("drøp", 99) == []
    assert len(large("drop", 99, 2)) == 5
