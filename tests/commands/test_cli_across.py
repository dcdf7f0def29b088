"""The drop over both conductors, over plus, over minus, through every command that has it."""

import csv
import io
import json
import math
from pathlib import Path

import numpy as np
import pytest
import soundfile as sf

from support.command import RATE, Bench, Tell, decibels, facts, output, refusal

PATH = Path(__file__).parents[2] / "audio_demo" / "path.toml"
CORRODED = (PATH, "--choice", "corroded")
"""A plug of 1.2 ohm in plus and 8 mohm in minus, at the end of the run to the lawn."""
PLUG = {"both": 1.208, "plus": 1.2, "minus": 0.008}
ACROSS = tuple(PLUG)
WORDS = {"both": "", "plus": " over plus", "minus": " over minus"}


@pytest.mark.parametrize("across", ACROSS)
def test_figures_are_those_of_the_conductor(tell: Tell, across: str) -> None:
    """Ohm's law at 0 Hz: half of the cable and what is in the plug, before all of the loop and the load."""
    asked = ("figures", *CORRODED, "--at", "0", "--across", across)
    (choice,) = json.loads(output(tell(*asked, "--json")))["choices"]
    (line,) = choice["lines"]
    loop = choice["dc_loop_ohm"]
    cable = loop - PLUG["both"]
    kept = PLUG[across] + (cable if across == "both" else cable / 2.0)
    assert choice["drop_across"] == across
    assert line["drop_db"] == pytest.approx(decibels(kept / (loop + line["load_ohm"])), rel=1e-9)
    (row,) = csv.DictReader(io.StringIO(output(tell(*asked, "--csv"))))
    assert row["drop_across"] == across
    assert float(row["drop_db"]) == pytest.approx(line["drop_db"], rel=1e-12)
    table = output(tell(*asked))
    assert ("The drop is over " in table) == (across != "both")
    assert (f"The drop is{WORDS[across]}." in table) == (across != "both")
    assert f"{line['drop_db']:.2f}" in table


@pytest.mark.parametrize("across", ACROSS)
def test_a_plot_says_which_conductor(bench: Bench, tell: Tell, across: str) -> None:
    pytest.importorskip("matplotlib")
    options = ("--as", "svg", "--into", bench.results, "--across", across)
    said = output(tell("plot", *CORRODED, *options))
    drop = "" if across == "both" else f"drop-{across}."
    path = bench.results / f"path.corroded.{drop}plot.svg"
    assert f"loss, drop{WORDS[across]} and load from 20 Hz" in said
    assert f">drop{WORDS[across]}, dB re sending end</text>" in path.read_text(encoding="utf-8")


def test_filters_over_plus_and_over_minus_add_up_to_that_over_both(
    bench: Bench, tell: Tell
) -> None:
    taps = {}
    for across in ACROSS:
        kind = "drop" if across == "both" else f"drop-{across}"
        path = bench.results / f"path.corroded.{kind}.8kHz.txt"
        options = ("--signal", "drop", "--rate", RATE, "--across", across, "--as", "txt")
        said = output(tell("filter", *CORRODED, *options, "--into", bench.results))
        assert f"of the drop signal{WORDS[across]}, choice corroded" in said
        taps[across] = np.array(
            [float(row) for row in path.read_text().splitlines() if row[0] != "#"]
        )
    np.testing.assert_allclose(taps["plus"] + taps["minus"], taps["both"], rtol=0, atol=1e-15)
    assert np.abs(taps["plus"]).max() > 1.2 * np.abs(taps["minus"]).max()


@pytest.mark.parametrize("options", [("wav", "--minimum-phase"), ("json",)])
def test_filters_without_delay_are_of_the_conductor_too(
    bench: Bench, tell: Tell, options: tuple[str, ...]
) -> None:
    """Their gain at 1 kHz differs between the two as the figures say."""
    gains, levels = {}, {}
    for across in ("plus", "minus"):
        more = ("--signal", "drop", "--rate", "48000", "--across", across, "--as", *options)
        output(tell("filter", *CORRODED, *more, "--into", bench.results))
        (path,) = bench.results.glob(f"path.corroded.drop-{across}.48kHz*.{options[0]}")
        turn = np.exp(-2j * np.pi * 1000.0 / 48_000.0)
        gains[across] = decibels(abs(_at(path, turn)))
        asked = ("figures", *CORRODED, "--at", "1 kHz", "--json", "--across", across)
        (choice,) = json.loads(output(tell(*asked)))["choices"]
        levels[across] = choice["lines"][0]["drop_db"]
    # Sections fit the magnitude within 0.05 dB or so, as they say.
    wanted = levels["plus"] - levels["minus"]
    assert gains["plus"] - gains["minus"] == pytest.approx(wanted, abs=0.2)
    assert wanted > 3.0


def _at(path: Path, turn: complex) -> complex:
    """Response where one sample's delay is ``turn``."""
    if path.suffix == ".json":
        sections = json.loads(path.read_text(encoding="utf-8"))["sections"]
        parts = [
            sum(s[f"b{n}"] * turn**n for n in range(3))
            / sum(s[f"a{n}"] * turn**n for n in range(3))
            for s in sections
        ]
        return complex(math.prod(parts))
    taps, _ = sf.read(path)
    return complex(taps @ turn ** np.arange(len(taps)))


def test_render_writes_the_conductor_that_was_asked_for(bench: Bench, tell: Tell) -> None:
    heard = {}
    for across, kind in (("both", "drop"), ("plus", "drop-plus"), ("minus", "drop-minus")):
        options = ("--signals", "drop", "--make-up", "6 dB", "--depth", "24", "--across", across)
        files = (bench.programme, "--into", bench.results)
        said = output(tell("render", *CORRODED, *files, *options))
        name = f"bells.corroded.{kind}.make-up-6dB.wav"
        assert name in said
        assert facts(bench, f"{name}.json")["drop_across"] == across
        heard[across], _ = sf.read(bench.results / name)
        comment = sf.SoundFile(bench.results / name).comment
        assert comment.startswith(f"drop{WORDS[across]}, choice corroded; gain +6.00 dB")
    assert np.abs(heard["plus"] + heard["minus"] - heard["both"]).max() <= 2 * 2.0**-23


@pytest.mark.parametrize(
    "command",
    [
        ("figures", PATH),
        ("plot", PATH, "--into", "new"),
        ("plot", PATH, "--every-load"),
        ("filter", PATH, "--choice", "sound", "--signal", "drop"),
        ("render", PATH, "bells.wav", "--into", "new"),
    ],
    ids=["figures", "plot", "plot of every load", "filter", "render"],
)
def test_what_a_transformer_parts_is_refused(bench: Bench, tell: Tell, command: tuple) -> None:
    pytest.importorskip("matplotlib")
    at = () if "--every-load" in command else ("--load", "gate")
    before = sorted(bench.folder.rglob("*"))
    said = refusal(tell(*command, *at, "--across", "plus"))
    assert said.startswith("choice 'sound': there is a transformer on the way to ")
    assert sorted(bench.folder.rglob("*")) == before
