"""Twenty loudspeakers on one line, in a rig file that is soon written: from the file to the answers."""

import re
from pathlib import Path

import numpy as np
import pytest

from auralize.circuit.solution import solve
from auralize.commands.main import main
from auralize.rig.reading import load_rig

BOATHOUSE = Path(__file__).parents[2] / "audio_demo" / "boathouse.toml"


def test_it_is_written_in_under_40_lines():
    lines = BOATHOUSE.read_text("utf-8").splitlines()
    assert len([line for line in lines if line and not line.startswith("#")]) < 40


def test_the_figures_tell_all_twenty_and_compare_the_choices(capsys):
    assert main(["figures", str(BOATHOUSE), "--at", "1 kHz"]) == 0
    printed = capsys.readouterr().out
    assert len(re.findall(r"^lamp \d+ .* mW$", printed, re.MULTILINE)) == 40
    assert "runs ceiling 2 to ceiling 20, each: 4 m" in printed
    assert "thick: " in printed
    assert max(map(len, printed.splitlines())) <= 80


def test_the_size_that_is_found_does_for_every_loudspeaker_and_the_next_thinner_does_not(capsys):
    """What the cable takes alone: the loss less that of the same line with next to no cable in it."""
    assert main(["fit", str(BOATHOUSE), "--cable", "line", "--loss", "0.5 dB"]) == 0
    printed = capsys.readouterr().out
    (sizes,) = re.findall(r"thinnest metric size +(.*?) mm2 +(.*?) mm2", printed)
    assert sizes[0] == sizes[1]
    rig = load_rig(BOATHOUSE)
    f = np.geomspace(20.0, 20_000.0, 601)

    def worst(size):
        lossy, free = (
            solve(rig.changed(rig["quoted"], changes).network, f)
            for changes in (
                {("cables", "line", "conductor"): size},
                {
                    ("cables", "line", "conductor"): "16 mm2",
                    ("runs", "ceiling", "length"): "1 cm",
                    ("loads", "lamp", "spacing"): "1 cm",
                },
            )
        )
        return max(
            np.max(20 * np.log10(np.abs(free.receiving[name] / lossy.receiving[name])))
            for name in lossy.receiving
        )

    thinner = {"0.75": "0.5", "1": "0.75", "1.5": "1"}[sizes[0]]
    assert worst(f"{sizes[0]} mm2") < 0.5 < worst(f"{thinner} mm2")


@pytest.mark.parametrize("name", ["quoted", "thick"])
def test_the_taps_add_up_to_120_w(name):
    choice = load_rig(BOATHOUSE)[name]
    assert sum(t.tap for t in choice.transformers.values() if t.tap) == pytest.approx(120.0)
    assert len(choice.loads) == 20
    assert choice.listen == "lamp 20"
