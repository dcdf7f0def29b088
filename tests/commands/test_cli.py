"""The installed command, run as a user runs it: what it prints and where."""

import csv
import io
import json
import math
import subprocess
import sys
from collections.abc import Callable, Mapping
from importlib.metadata import version
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile as sf

from auralize.commands.parser import COMMANDS
from auralize.trials.plan import Compared, Plan
from auralize.trials.session import Session
from support.command import (
    ARRIVES,
    AURALIZE,
    BAD_INPUT,
    FILTER,
    KEPT,
    OK,
    RATE,
    RIG,
    Array,
    Bench,
    Tell,
    decibels,
    orderly,
    output,
)

# --- figures --------------------------------------------------------------------------------------


def test_figures_as_a_table(bench: Bench) -> None:
    lines = output(bench.run("figures", bench.rig)).splitlines()
    assert lines[0] == "Saltmarsh Tide Mill: the path to the sluice"
    assert max(map(len, lines)) <= 100
    row = {line[:31].strip(): line[31:].split() for line in lines}
    assert row["DC loop resistance, ohm"] == ["1.000", "0.250"]
    assert row["loss at 1 kHz, dB"] == ["-1.02", "-0.27"]  # 20 log10 of 8/9 and of 8/8.25
    assert row["damping factor at the load (DC)"] == ["8.00", "32.0"]  # 8 ohm over 1 and over 0.25
    assert row["programme power lost in cable"] == ["11.1%", "3.0%"]  # 1/9 and 0.25/8.25
    assert sum(line.startswith("31.5 Hz") for line in lines) == 2


def test_figures_as_json_are_json_and_nothing_else(bench: Bench) -> None:
    whole = json.loads(output(bench.run("figures", bench.rig, "--json", "--at", "0,100 Hz")))
    thin, thick = whole["choices"]
    assert (thin["choice"], thick["choice"]) == ("thin", "thick")
    assert thin["dc_loop_ohm"] == pytest.approx(1.0, rel=1e-9)
    assert thick["damping_factor"] == pytest.approx(32.0, rel=1e-9)
    at_dc = thin["lines"][0]
    assert at_dc["frequency"] == 0.0
    assert at_dc["loss_db"] == pytest.approx(decibels(ARRIVES["thin"]), abs=1e-9)
    assert at_dc["drop_db"] == pytest.approx(decibels(KEPT["thin"]), abs=1e-9)
    assert at_dc["load_ohm"] == pytest.approx(8.0, rel=1e-9)
    assert at_dc["cable_uh"] == pytest.approx(0.1, rel=1e-6)  # 1 nH/m over 100 m


def test_figures_as_csv_are_csv_and_nothing_else(tell: Tell) -> None:
    text = output(tell("figures", "sluice.toml", "--csv", "--at", "50 Hz, 1k,16 kHz"))
    rows = list(csv.DictReader(io.StringIO(text)))
    frequencies = [50.0, 1000.0, 16_000.0]
    assert [float(row["frequency"]) for row in rows] == frequencies * 2
    assert [row["choice"] for row in rows] == ["thin"] * 3 + ["thick"] * 3
    # 0.1 uH beside 9 ohm at 16 kHz: below 1e-5 dB
    expected = [decibels(ARRIVES[row["choice"]]) for row in rows]
    assert [float(row["loss_db"]) for row in rows] == pytest.approx(expected, abs=1e-5)


@pytest.mark.parametrize(("where", "count"), [("octaves", 10), ("thirds", 31), ("0 Hz", 1)])
def test_figures_at_the_centres_of_the_bands(tell: Tell, where: str, count: int) -> None:
    """IEC 61260-1: 10 octaves from 31.5 Hz, 31 third octaves from 20 Hz (from memory)."""
    text = output(tell("figures", "sluice.toml", "--csv", "--choice", "thin", "--at", where))
    assert len(text.splitlines()) == 1 + count


def test_a_choice_named_twice_is_shown_once(tell: Tell) -> None:
    twice = ("--choice", "thin", "--choice", "thin")
    text = output(tell("figures", "sluice.toml", "--csv", "--at", "1 kHz", *twice))
    assert len(text.splitlines()) == 2


def test_the_program_also_runs_as_a_module(bench: Bench) -> None:
    command = [sys.executable, "-m", "auralize", "figures", str(bench.rig), "--csv", "--at", "1k"]
    result = subprocess.run(command, capture_output=True, text=True, check=False, cwd=bench.folder)
    assert len(output(result).splitlines()) == 3


def at_the_amplifier(bench: Bench) -> Path:
    """A rig whose only loudspeaker stands beside the amplifier: no cable, no drop."""
    path = bench.folder / "wheelhouse.toml"
    path.write_text(
        RIG.split("[choices")[0]
        .replace('length = "100 m"', 'length = "100 m"\ncable = "thin"')
        .replace('type = "resistor"', 'type = "resistor"\nat = "amplifier"')
    )
    return path


def test_figures_without_any_cable_are_still_json(bench: Bench, tell: Tell) -> None:
    """No drop is minus infinity dB, for which JSON (RFC 8259, section 6) has no number."""

    def refuse(word: str) -> None:
        raise AssertionError(f"{word} is no JSON")

    text = output(tell("figures", at_the_amplifier(bench), "--json", "--at", "1k"))
    (choice,) = json.loads(text, parse_constant=refuse)["choices"]
    assert choice["dc_loop_ohm"] == 0.0
    assert choice["lines"][0]["drop_db"] is None


def test_figures_without_any_cable_have_no_warning(bench: Bench, tell: Tell) -> None:
    output(tell("figures", at_the_amplifier(bench)))


def test_render_without_any_cable_comes_to_an_orderly_end(bench: Bench, tell: Tell) -> None:
    orderly(tell("render", at_the_amplifier(bench), "bells.wav", "--into", "results"))


# --- filter ---------------------------------------------------------------------------------------


def test_filters_in_all_three_forms(bench: Bench, tell: Tell) -> None:
    taps: dict[str, Array] = {}
    name = "sluice.thin.receiving.44.1kHz"
    for ending in ("wav", "txt", "json"):
        path = bench.results / f"{name}.{ending}"
        options = ("--choice", "thin", "--rate", "44100", "--as", ending, "--into", bench.results)
        said = output(tell("filter", bench.rig, *options))
        assert "choice thin" in said
        assert "44100 Hz" in said
        assert said.count("\n") == 1
        if ending == "txt":
            head, *rows, mark = path.read_text(encoding="utf-8").splitlines()
            assert said.strip() == f"{path}: {head.removeprefix('# ')}"
            assert mark.startswith("# auralize ")
            taps[ending] = np.array([float(row) for row in rows])
    assert bench.left() == {f"{name}.{e}" for e in ("wav", "wav.json", "txt", "json")}

    with sf.SoundFile(bench.results / f"{name}.wav") as file:
        assert (file.samplerate, file.channels, file.subtype) == (44_100, 1, "DOUBLE")
        assert file.comment.startswith("FIR, complex response of the receiving signal")
        taps["wav"] = file.read()
    np.testing.assert_array_equal(taps["wav"], taps["txt"])
    # At 0 Hz the gain of an FIR is the sum of its taps, that of sections the product of theirs.
    assert taps["wav"].sum() == pytest.approx(8.0 / 9.0, rel=1e-6)
    assert np.argmax(np.abs(taps["wav"])) == 512  # the delay that is stated for 44.1 kHz

    told = json.loads((bench.results / f"{name}.json").read_text(encoding="utf-8"))
    assert (told["sample_rate_hz"], told["delay_samples"], told["gain_db"]) == (44_100, 0, 0.0)
    gain = math.prod(
        (s["b0"] + s["b1"] + s["b2"]) / (s["a0"] + s["a1"] + s["a2"]) for s in told["sections"]
    )
    assert decibels(gain) == pytest.approx(decibels(8.0 / 9.0), abs=0.02)
    for section in told["sections"]:
        assert np.all(np.abs(np.roots([section["a0"], section["a1"], section["a2"]])) < 1.0)


def test_a_minimum_phase_filter_of_the_drop(bench: Bench, tell: Tell) -> None:
    options = ("--choice", "thick", "--signal", "drop", "--rate", RATE, "--minimum-phase")
    assert "delay 0 samples" in output(tell(*FILTER, "--into", "results", *options))
    taps, _ = sf.read(bench.results / "sluice.thick.drop.8kHz.minimum-phase.wav")
    assert decibels(abs(taps.sum())) == pytest.approx(decibels(KEPT["thick"]), abs=0.01)


def test_a_convolver_is_told_what_it_needs(bench: Bench, tell: Tell) -> None:
    """In the file, beside it, and on the screen."""
    said = output(tell(*FILTER, "--into", "results", "--choice", "thin", "--rate", "44100"))
    path = bench.results / "sluice.thin.receiving.44.1kHz.wav"
    words = (
        "delay 512 samples (11.610 ms)",
        "in a convolver: 44100 Hz, gain 0 dB, normalising off, what stays dry delayed by 512 samples",
    )
    with sf.SoundFile(path) as file:
        for word in words:
            assert word in said
            assert word in file.comment
        frames = file.frames
    told = json.loads(path.with_name(path.name + ".json").read_text(encoding="utf-8"))
    assert (told["sample_rate_hz"], told["taps"]) == (44_100, frames)
    assert (told["gain_db"], told["normalise"]) == (0.0, False)
    assert told["delay_ms"] == pytest.approx(1000 * 512 / 44_100)


def test_a_plugin_of_all_choices_or_some(bench: Bench, tell: Tell) -> None:
    """Gains follow by hand: 8/9 and 8/8.25 arrive, so 1/9 is kept at most, and matched with what arrives."""
    plugin = (*FILTER, "--into", "results", "--as", "dsp", "--rate", "48 kHz")
    said = output(tell(*plugin))
    assert said.startswith("results/sluice_48000Hz.dsp: Faust text of thin, thick: source, ")
    assert "thin +1.02 dB, thick +0.27 dB" in said
    assert "make-up for drops starts at 18 dB" in said  # 9/8 of 1/9 is -18.06 dB
    assert "Caution" not in said
    text = (bench.results / "sluice_48000Hz.dsp").read_text(encoding="utf-8")
    assert "1 thin: what is there" in text
    assert "{'1 thin':1;'2 thick':2}" in text
    assert "'drop over plus'" not in text
    output(tell(*plugin, "--choice", "thick"))
    assert bench.left() == {"sluice_48000Hz.dsp", "sluice_thick_48000Hz.dsp"}


# --- trials ---------------------------------------------------------------------------------------


def listen(folder: Path, name: str, match: str = "programme loudness") -> Path:
    """The log of a session of three trials, all answered."""
    path = folder / name
    choices = (
        Compared("thin", 0.0, "62 m of 2.5 mm2", "0" * 64),
        Compared("thick", -0.4, "62 m of 4 mm2", "0" * 64),
    )
    plan = Plan("triangle", 3, choices, match, "bells.wav", "0" * 64, "listener 1")
    session = Session.start(plan, path)
    for answer in range(3):
        session.answer(answer)
    return path


def test_one_session_is_told_once(bench: Bench, tell: Tell) -> None:
    alone = output(tell("trials", listen(bench.folder, "a"))).splitlines()
    assert len(set(alone)) == len(alone)
    assert max(map(len, alone)) <= 80
    assert sum("Right answers:" in line for line in alone) == 1
    others = [listen(bench.folder, "b"), listen(bench.folder, "c", "as installed")]
    text = output(tell("trials", bench.folder / "a", *others))
    assert text.count("Right answers:") == 4  # each, and the first two together
    assert text.count("Taken together, 2 sessions by 1 listener (listener 1)") == 1
    assert text.count("Taken together") == 1


NO_LOGS: Mapping[str, Callable[[Path], Any]] = {
    "sound": lambda path: sf.write(
        path, np.random.default_rng(3).uniform(-1, 1, 9000), RATE, format="WAV"
    ),
    "huge line": lambda path: path.write_text("x" * 100_000 + "\n"),
    "huge line without end": lambda path: path.write_text("x" * 100_000),
    "many lines": lambda path: path.write_text("bells\n" * 1000),
    "other JSON": lambda path: path.write_text('{"bells": [1, 2]}\n' * 1000),
}


@pytest.mark.parametrize("make", NO_LOGS.values(), ids=NO_LOGS.keys())
def test_a_file_that_is_no_log_is_told_in_one_sentence(
    bench: Bench, tell: Tell, make: Callable[[Path], Any]
) -> None:
    make(bench.folder / "x")
    told = tell("trials", "x")
    assert told.returncode == BAD_INPUT
    first, *rest = told.stdout.splitlines()
    assert first == "x: refused, it does not count: this is no log of a listening session."
    assert "line" not in " ".join(rest)


def test_a_log_with_a_damaged_or_missing_beginning_is_still_told_apart(
    bench: Bench, tell: Tell
) -> None:
    content = listen(bench.folder, "a").read_bytes()
    for damaged in (b"X" + content[1:], content.partition(b"\n")[2]):
        (bench.folder / "x").write_bytes(damaged)
        said = tell("trials", "x").stdout
        assert "line 1: " in said
        assert "this is no log" not in said


def test_a_huge_field_does_not_fill_the_screen(bench: Bench, tell: Tell) -> None:
    content = listen(bench.folder, "a").read_bytes()
    (bench.folder / "x").write_bytes(content.replace(b"auralize listening", b"x" * 100_000))
    said = tell("trials", "x").stdout
    assert "the format" in said
    assert len(said) < 1500


# --- where the words go ---------------------------------------------------------------------------


def test_words_beyond_the_terminal_s_alphabet_are_no_reason_to_fail(bench: Bench) -> None:
    bench.rig.write_text(RIG.replace("what is there", "2.5 mm² → 8 Ω"), encoding="utf-8")
    text = output(bench.run("figures", bench.rig, PYTHONIOENCODING="ascii"))
    assert "1.000" in text


def test_the_plainest_locale_will_do(bench: Bench) -> None:
    bench.rig.write_text(RIG.replace("what is there", "2.5 mm²"), encoding="utf-8")
    text = output(bench.run("figures", bench.rig, LC_ALL="C", LANG="C", LANGUAGE=""))
    assert "thin: 2.5 mm²" in text


def test_a_reader_that_leaves_early_is_no_error(bench: Bench) -> None:
    """As in `auralize figures rig.toml | head -1`."""
    command = [str(AURALIZE), "figures", str(bench.rig), "--at", "thirds"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        process.stdout.close()
        assert process.stderr.read() == b""
    assert process.returncode == OK


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no /dev/full on this system")
def test_a_full_disk_under_the_output_is_told_in_one_sentence(bench: Bench) -> None:
    command = [str(AURALIZE), "figures", str(bench.rig)]
    with open("/dev/full", "wb") as full:
        result = subprocess.run(
            command, stdout=full, stderr=subprocess.PIPE, text=True, check=False
        )
    assert result.returncode == BAD_INPUT
    assert result.stderr.startswith("auralize: ")
    assert result.stderr.count("\n") == 1


def test_the_version_is_that_of_what_is_installed(bench: Bench) -> None:
    assert output(bench.run("--version")) == f"auralize {version('auralize')}\n"


@pytest.mark.parametrize(
    ("command", "several"),
    [("figures", True), ("render", True), ("fit", True), ("plot", True), ("filter", False)],
)
def test_help_says_how_many_choices_a_command_takes(
    tell: Tell, command: str, several: bool
) -> None:
    """A filter of two choices is refused above; all others take them."""
    words = " ".join(output(tell(command, "--help")).split())
    assert ("may be given several times (default: all)" in words) == several
    assert ("the choice to take; needed where the rig has several" in words) == (not several)


@pytest.mark.parametrize("command", COMMANDS)
def test_help_is_no_wider_than_a_terminal(
    tell: Tell, monkeypatch: pytest.MonkeyPatch, command: str
) -> None:
    """What argparse says of the usage aside: it breaks no group of options."""
    monkeypatch.setenv("COLUMNS", "80")
    _, told = output(tell(command, "--help")).split("\n\n", 1)
    assert max(map(len, told.splitlines())) <= 80


def test_a_plot_says_what_was_written(bench: Bench, tell: Tell) -> None:
    told = output(tell("plot", "sluice.toml", "--as", "svg", "--into", "results"))
    assert (
        told == "results/sluice.plot.svg: loss, drop and load from 20 Hz to 20 kHz, thin; thick\n"
    )
    assert bench.left() == {"sluice.plot.svg"}


def test_help_needs_nothing_heavy() -> None:
    """Which modules the installed command loads, by the interpreter's own account."""
    for command in ([], ["figures"], ["render"], ["filter"], ["demo"]):
        result = subprocess.run(
            [sys.executable, "-X", "importtime", AURALIZE, *command, "--help"],
            capture_output=True,
            text=True,
            check=False,
        )
        assert result.returncode == OK
        assert result.stdout.startswith("usage: auralize")
        loaded = {line.rpartition("|")[2].strip() for line in result.stderr.splitlines()}
        assert "argparse" in loaded  # the account was understood
        roots = {name.partition(".")[0] for name in loaded}
        heavy = {"numpy", "scipy", "soundfile", "sounddevice", "textual"}
        assert not roots & heavy, command
