"""The installed command, run as a user runs it: what it prints where, what it leaves, how it ends."""

import csv
import io
import json
import math
import os
import pty
import shutil
import signal
import subprocess
import sys
import time
import tomllib
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pytest
import soundfile as sf
from numpy.typing import NDArray

from auralize import trial, trialplan
from auralize.cli import main

Array = NDArray[np.float64]

AURALIZE = Path(sys.executable).parent / "auralize"
"""The console command of the environment that runs the tests."""

OK, BAD_INPUT, INTERRUPTED = 0, 2, 130

RATE = 8_000
"""Hz; the lowest there is, so that filters are short and quickly made."""

# 100 m of cable measured at 10 ohm/km is 1 ohm in the loop, before 8 ohm: everything at low
# frequency follows by hand, 8/9 and 1/9. At 2.5 ohm/km it is 8/8.25 and 0.25/8.25.
RIG = """
title = "Saltmarsh Tide Mill: the path to the sluice"

[amplifier]
resistance = "0 ohm"

[cables.thin]
construction = "measured"
resistance = "10 ohm/km"
inductance = "1 nH/m"

[cables.thick]
construction = "measured"
resistance = "2.5 ohm/km"
inductance = "1 nH/m"

[runs.path]
length = "100 m"

[loads.sluice]
type = "resistor"
resistance = "8 ohm"

[choices.thin]
label = "what is there"
runs.path.cable = "thin"

[choices.thick]
label = "what could be bought"
runs.path.cable = "thick"
"""
ARRIVES = {"thin": 8.0 / 9.0, "thick": 8.0 / 8.25}
KEPT = {"thin": 1.0 / 9.0, "thick": 0.25 / 8.25}


def decibels(ratio: float) -> float:
    return 20.0 * math.log10(ratio)


class Bench(NamedTuple):
    """A folder with a rig file, a programme, and an empty folder for results."""

    folder: Path

    @property
    def rig(self) -> Path:
        return self.folder / "sluice.toml"

    @property
    def programme(self) -> Path:
        return self.folder / "bells.wav"

    @property
    def results(self) -> Path:
        return self.folder / "results"

    def run(self, *arguments: object, **environment: str) -> subprocess.CompletedProcess[str]:
        """The command in this folder, standard output and error apart and no terminal near."""
        return subprocess.run(
            [AURALIZE, *map(str, arguments)],
            cwd=self.folder,
            env={**os.environ, **environment},
            stdin=subprocess.DEVNULL,
            capture_output=True,
            encoding="utf-8",
            errors="surrogateescape",
            timeout=60,
            check=False,
        )

    def render(self, *options: object, rig: object = None, sound: object = None) -> Any:
        """`render` into the folder for results, with these options."""
        files = (rig or self.rig, sound or self.programme)
        return self.run("render", *files, "--into", self.results, *options)

    def left(self) -> set[str]:
        """Names of all that is in the folder for results, hidden files too."""
        return set(os.listdir(self.results))


def tone(seconds: float = 0.5, channels: int = 2, rate: int = RATE) -> Array:
    """100 Hz at -10 dBFS under a Hann window: the cable's inductance is under 1e-5 ohm there."""
    n = np.arange(round(seconds * rate))
    wave = 0.3 * np.sin(2.0 * np.pi * 100.0 * n / rate) * np.hanning(len(n))
    return np.stack([wave * (1.0 - 0.5 * c) for c in range(channels)], axis=1)


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    made = Bench(tmp_path)
    made.rig.write_text(RIG, encoding="utf-8")
    made.results.mkdir()
    sf.write(made.programme, tone(), RATE, subtype="PCM_24")
    return made


def refusal(result: Any) -> str:
    """The one sentence of a run that was refused; nothing else may have been said."""
    assert result.returncode == BAD_INPUT, result.stderr
    assert result.stdout == ""
    assert result.stderr.startswith("auralize: ")
    assert result.stderr.endswith("\n")
    sentence: str = result.stderr[:-1].removeprefix("auralize: ")
    assert "\n" not in sentence, sentence
    assert "Traceback" not in sentence
    return sentence


def output(result: Any) -> str:
    """Standard output of a run that went well, and said nothing on standard error."""
    assert result.stderr == ""
    assert result.returncode == OK
    text: str = result.stdout
    return text


def orderly(result: Any) -> None:
    """Either it went well and quietly, or it was refused in one sentence: never a traceback."""
    if result.returncode == OK:
        assert result.stderr == ""
    else:
        refusal(result)


# `main` is the entry point of the console command; called in this process it takes a tenth of the time.


class Told(NamedTuple):
    """The same fields as a finished process has."""

    returncode: int
    stdout: str
    stderr: str


Tell = Callable[..., Told]


@pytest.fixture
def tell(bench: Bench, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Tell:
    """Runs `main` in the bench's folder."""

    def call(*arguments: object) -> Told:
        monkeypatch.chdir(bench.folder)
        try:
            code = main([str(argument) for argument in arguments])
        except SystemExit as stop:
            code = int(stop.code or 0)
        return Told(code, *capsys.readouterr())

    return call


RENDER = ("render", "sluice.toml", "bells.wav", "--into", "results")
ANEW = ("render", "sluice.toml", "bells.wav", "--into", "new/folder")
FIGURES = ("figures", "sluice.toml")
FILTER = ("filter", "sluice.toml")


# --- figures --------------------------------------------------------------------------------------


def test_figures_as_a_table(bench: Bench) -> None:
    lines = output(bench.run("figures", bench.rig)).splitlines()
    assert lines[0] == "Saltmarsh Tide Mill: the path to the sluice"
    assert max(map(len, lines)) <= 100
    row = {line[:31].strip(): line[31:].split() for line in lines}
    assert row["DC loop resistance, ohm"] == ["1.000", "0.250"]
    assert row["loss at 1 kHz, dB"] == ["-1.02", "-0.27"]  # 20 log10 of 8/9 and of 8/8.25
    assert row["damping factor at the load (DC)"] == ["8", "32"]  # 8 ohm over 1 and over 0.25
    assert row["power at 1 kHz that heats cable"] == ["11.1%", "3.0%"]  # 1/9 and 0.25/8.25
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


def test_figures_as_csv_are_csv_and_nothing_else(bench: Bench) -> None:
    text = output(bench.run("figures", bench.rig, "--csv", "--at", "50 Hz, 1k,16 kHz"))
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


def test_figures_without_any_cable_are_still_json(bench: Bench) -> None:
    """No drop is minus infinity dB, for which JSON (RFC 8259, section 6) has no number."""

    def refuse(word: str) -> None:
        raise AssertionError(f"{word} is no JSON")

    text = output(bench.run("figures", at_the_amplifier(bench), "--json", "--at", "1k"))
    (choice,) = json.loads(text, parse_constant=refuse)["choices"]
    assert choice["dc_loop_ohm"] == 0.0
    assert choice["lines"][0]["drop_db"] is None


def test_figures_without_any_cable_have_no_warning(bench: Bench) -> None:
    output(bench.run("figures", at_the_amplifier(bench)))


def test_render_without_any_cable_comes_to_an_orderly_end(bench: Bench) -> None:
    orderly(bench.render(rig=at_the_amplifier(bench)))


# --- render ---------------------------------------------------------------------------------------


def facts(bench: Bench, name: str) -> Any:
    return json.loads((bench.results / name).read_text(encoding="utf-8"))


def test_render_as_it_comes(bench: Bench) -> None:
    text = output(bench.render())
    names = {f"bells.{c}.{s}" for c in ("thin", "thick") for s in ("receiving", "drop")}
    assert bench.left() == {n + ending for n in names for ending in (".wav", ".wav.json")}
    assert all(f"{name}.wav" in text for name in names)
    source, _ = sf.read(bench.programme)
    for choice in ARRIVES:
        arrived, rate = sf.read(bench.results / f"bells.{choice}.receiving.wav")
        assert rate == RATE
        # aligned (one sample late would differ by 0.08 of the peak), within the inductance's share
        assert arrived == pytest.approx(source * ARRIVES[choice], abs=0.3e-4)
    assert facts(bench, "bells.thin.receiving.wav.json")["gain_db"]["total"] == 0.0


def test_render_with_every_option(bench: Bench) -> None:
    options = ["--match", "100 Hz", "--signals", "sending, drop,receiving", "--conductors", "1"]
    options += ["--make-up", "6 dB", "--depth", "16", "--flac", "--tail", "0.25"]
    text = output(bench.render("--choice", "thick", *options))
    ratios = {"receiving": ARRIVES["thick"], "drop": KEPT["thick"] / 2.0, "sending": 1.0}
    names = {f"bells.thick.{signal}" for signal in ratios}
    assert bench.left() == {n + ending for n in names for ending in (".flac", ".flac.json")}
    assert "matched to the source at 100 Hz" in text

    source, _ = sf.read(bench.programme)
    padded = np.concatenate([source, np.zeros((RATE // 4, 2))])
    for kind, ratio in ratios.items():
        path = bench.results / f"bells.thick.{kind}.flac"
        info = sf.info(path)
        assert (info.format, info.subtype, info.frames) == ("FLAC", "PCM_16", len(padded))
        told = facts(bench, f"bells.thick.{kind}.flac.json")
        gains = told["gain_db"]
        assert gains["match"] == pytest.approx(-decibels(ARRIVES["thick"]), abs=1e-3)
        assert gains["makeup"] == (6.0 if kind == "drop" else 0.0)
        assert gains["headroom"] == 0.0
        assert told["drop_over_conductors"] == (1 if kind == "drop" else None)
        assert (told["source"], told["choice"], told["signal"]) == ("bells.wav", "thick", kind)
        got, _ = sf.read(path)
        wanted = padded * ratio * 10.0 ** (gains["total"] / 20.0)
        # Triangular dither of one step and half a step of rounding; the inductance adds less.
        assert np.abs(got - wanted).max() < 2.0 / 32768.0
        assert f"choice thick; gain {gains['total']:+.2f} dB" in sf.SoundFile(path).comment


def test_render_matched_in_loudness(bench: Bench) -> None:
    output(bench.render("--match", "loudness", "--signals", "receiving", "--depth", "float"))
    source, _ = sf.read(bench.programme)
    for choice in ARRIVES:
        path = bench.results / f"bells.{choice}.receiving.wav"
        assert sf.info(path).subtype == "FLOAT"
        assert sf.read(path)[0] == pytest.approx(source, abs=0.3e-4)


def test_results_go_where_the_user_is_unless_told_otherwise(bench: Bench, tell: Tell) -> None:
    output(tell("render", "sluice.toml", "bells.wav", "--choice", "thin"))
    assert (bench.folder / "bells.thin.drop.wav").is_file()
    assert bench.left() == set()


def test_a_folder_for_results_is_made_with_its_parents(bench: Bench, tell: Tell) -> None:
    output(tell(*ANEW, "--choice", "thin", "--signals", "drop"))
    names = {"bells.thin.drop.wav", "bells.thin.drop.wav.json"}
    assert set(os.listdir(bench.folder / "new" / "folder")) == names


def test_a_folder_made_for_damaged_sound_goes_again(bench: Bench, tell: Tell) -> None:
    """What is wrong with the last sample is found when all has been read."""
    with_sample(math.nan)(bench.programme)
    assert "NaN" in refusal(tell(*ANEW))
    assert not (bench.folder / "new").exists()
    (bench.folder / "new").mkdir()
    refusal(tell(*ANEW))
    assert os.listdir(bench.folder / "new") == []


def test_what_the_make_up_asked_for_costs_is_said(tell: Tell) -> None:
    """-10.5 dB is the peak of the tone, 1/9 of it the drop: 60 dB on that pass -1 dBTP by 31.5 dB."""
    text = output(tell(*RENDER, "--choice", "thin", "--make-up", "60 dB"))
    (row,) = (line.split() for line in text.splitlines() if "thin.receiving" in line)
    cost = decibels(0.3) + decibels(KEPT["thin"]) + 60.0 + 1.0
    assert float(row[4]) == pytest.approx(-cost, abs=0.05)  # the tone's peak, up to its window
    assert f"made all files {row[4][1:]} dB softer: no peak may pass -1 dBTP" in text
    assert "softer" not in output(tell(*RENDER, "--choice", "thin", "--make-up", "6 dB"))


def test_a_gain_of_nothing_has_no_sign(tell: Tell) -> None:
    text = output(tell(*RENDER, "--choice", "thin", "--signals", "receiving"))
    (row,) = (line.split() for line in text.splitlines() if "thin.receiving" in line)
    assert row[1:5] == ["0.00"] * 4


def test_a_choice_named_twice_is_rendered_once(tell: Tell) -> None:
    twice = ("--choice", "thin", "--choice", "thin")
    text = output(tell(*RENDER, *twice, "--signals", "drop"))
    assert text.count("bells.thin.drop.wav") == 1


def test_what_was_replaced_is_said(bench: Bench, tell: Tell) -> None:
    """The sound files by name; what stands beside each goes with it."""
    one = ("--choice", "thin", "--signals")
    assert "replaced" not in output(tell(*RENDER, *one, "drop"))
    (bench.results / "bells.thin.drop.wav").write_text("not even sound")
    (line,) = (
        t for t in output(tell(*RENDER, *one, "drop,sending")).splitlines() if "replaced" in t
    )
    assert line == "Earlier files of these names were replaced: bells.thin.drop.wav."
    assert sf.info(bench.results / "bells.thin.drop.wav").frames == len(tone())


# --- filter ---------------------------------------------------------------------------------------


def test_filters_in_all_three_forms(bench: Bench) -> None:
    taps: dict[str, Array] = {}
    for ending in ("wav", "txt", "json"):
        path = bench.results / f"thin.{ending}"
        said = output(bench.run("filter", bench.rig, path, "--choice", "thin", "--rate", "44100"))
        assert "choice thin" in said
        assert "44100 Hz" in said
        assert said.count("\n") == 1
        if ending == "txt":
            head, *rows = path.read_text(encoding="utf-8").splitlines()
            assert head == f"# {said.strip()}"
            taps[ending] = np.array([float(row) for row in rows])
    assert bench.left() == {"thin.wav", "thin.txt", "thin.json"}

    with sf.SoundFile(bench.results / "thin.wav") as file:
        assert (file.samplerate, file.channels, file.subtype) == (44_100, 1, "DOUBLE")
        assert file.comment.startswith("FIR, complex response of the receiving signal")
        taps["wav"] = file.read()
    np.testing.assert_array_equal(taps["wav"], taps["txt"])
    # At 0 Hz the gain of an FIR is the sum of its taps, that of sections the product of theirs.
    assert taps["wav"].sum() == pytest.approx(8.0 / 9.0, rel=1e-6)
    assert np.argmax(np.abs(taps["wav"])) == 512  # the delay that is stated for 44.1 kHz

    told = json.loads((bench.results / "thin.json").read_text(encoding="utf-8"))
    assert (told["sample_rate_hz"], told["delay_samples"], told["gain_db"]) == (44_100, 0, 0.0)
    gain = math.prod(
        (s["b0"] + s["b1"] + s["b2"]) / (s["a0"] + s["a1"] + s["a2"]) for s in told["sections"]
    )
    assert decibels(gain) == pytest.approx(decibels(8.0 / 9.0), abs=0.02)
    for section in told["sections"]:
        assert np.all(np.abs(np.roots([section["a0"], section["a1"], section["a2"]])) < 1.0)


def test_a_minimum_phase_filter_of_the_drop(bench: Bench, tell: Tell) -> None:
    options = ("--choice", "thick", "--signal", "drop", "--rate", RATE, "--minimum-phase")
    assert "delay 0 samples" in output(tell(*FILTER, "results/drop.wav", *options))
    taps, _ = sf.read(bench.results / "drop.wav")
    assert decibels(abs(taps.sum())) == pytest.approx(decibels(KEPT["thick"]), abs=0.01)


# --- trials ---------------------------------------------------------------------------------------


def listen(folder: Path, name: str, match: str = "programme loudness") -> Path:
    """The log of a session of three trials, all answered."""
    path = folder / name
    choices = (
        trialplan.Choice("thin", 0.0, "62 m of 2.5 mm2", "0" * 64),
        trialplan.Choice("thick", -0.4, "62 m of 4 mm2", "0" * 64),
    )
    plan = trialplan.Plan("triangle", 3, choices, match, "bells.wav", "0" * 64, "listener 1")
    session = trial.Session.start(plan, path)
    for answer in range(3):
        session.answer(answer)
    return path


def test_one_session_is_told_once(bench: Bench, tell: Tell) -> None:
    alone = output(tell("trials", listen(bench.folder, "a"))).splitlines()
    assert len(set(alone)) == len(alone)
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


# --- what is refused ------------------------------------------------------------------------------


NONSENSE: Mapping[str, tuple[Sequence[str], str]] = {
    "no command": ((), "COMMAND"),
    "unknown command": (("redner",), "redner"),
    "no rig": (("figures",), "RIG"),
    "no sound": (("render", "sluice.toml"), "SOUND"),
    "one file too many": ((*FIGURES, "bells.wav"), "bells.wav"),
    "unknown option": ((*FIGURES, "--loud"), "--loud"),
    "two forms at once": ((*FIGURES, "--json", "--csv"), "--json"),
    "missing rig": (("figures", "sluce.toml"), "sluce.toml: "),
    "sound for a rig": (("figures", "bells.wav"), "bells.wav: "),
    "rig and sound swapped": (("render", "bells.wav", "sluice.toml"), "bells.wav: "),
    "rig for a sound": (("render", "sluice.toml", "sluice.toml"), "not a sound file"),
    "folder for a rig": (("figures", "results"), "results: "),
    "unknown choice": ((*FIGURES, "--choice", "thinn"), "thin, thick"),
    "choices with a comma": ((*FIGURES, "--choice", "thin,thick"), "'thin,thick'"),
    "empty choice": ((*FIGURES, "--choice", ""), "''"),
    "at a word": ((*FIGURES, "--at", "treble"), "--at: 'treble'"),
    "at nothing": ((*FIGURES, "--at", ""), "--at: ''"),
    "at nan": ((*FIGURES, "--at", "nan"), "--at: 'nan'"),
    "at infinity": ((*FIGURES, "--at", "inf"), "--at: 'inf'"),
    "at below zero": ((*FIGURES, "--at", "-5"), "--at: '-5'"),
    "at a trailing comma": ((*FIGURES, "--at", "1 kHz,"), "--at: '"),
    "at a resistance": ((*FIGURES, "--at", "100 ohm"), "--at: '100 ohm'"),
    "at light": ((*FIGURES, "--at", "1e14"), "1 MHz"),
    "match zero": ((*RENDER, "--match", "0"), "--match: '0'"),
    "match below zero": ((*RENDER, "--match", "-1"), "--match: '-1'"),
    "match nan": ((*RENDER, "--match", "nan"), "--match: 'nan'"),
    "match a word": ((*RENDER, "--match", "level"), "--match: 'level'"),
    "match nothing": ((*RENDER, "--match", ""), "--match: ''"),
    "match above half the sample rate": ((*RENDER, "--match", "5 kHz"), "rate"),
    "make-up below zero": ((*RENDER, "--make-up", "-5"), "--make-up: '-5'"),
    "make-up nan": ((*RENDER, "--make-up", "nan"), "--make-up: 'nan'"),
    "make-up infinite": ((*RENDER, "--make-up", "inf"), "--make-up: 'inf'"),
    "make-up of a rocket": ((*RENDER, "--make-up", "200 dB"), "--make-up: '200 dB'"),
    "make-up in ohm": ((*RENDER, "--make-up", "20 ohm"), "--make-up: '20 ohm'"),
    "make-up of nothing": ((*RENDER, "--make-up", ""), "--make-up: ''"),
    "make-up with a decimal comma": ((*RENDER, "--make-up", "2,5"), "comma"),
    "make-up without a drop": ((*RENDER, "--signals", "receiving", "--make-up", "6"), "--make-up"),
    "conductors without a drop": (
        (*RENDER, "--signals", "receiving", "--conductors", "1"),
        "--conductors",
    ),
    "no signals": ((*RENDER, "--signals", ""), "--signals: ''"),
    "unknown signal": ((*RENDER, "--signals", "drop,hum"), "--signals: 'hum'"),
    "three conductors": ((*RENDER, "--conductors", "3"), "--conductors"),
    "odd depth": ((*RENDER, "--depth", "20"), "--depth"),
    "floats in FLAC": (
        (*RENDER, "--depth", "float", "--flac"),
        "32-bit float; FLAC takes 16 bit or",
    ),
    "tail nan": ((*RENDER, "--tail", "nan"), "--tail: 'nan'"),
    "tail below zero": ((*RENDER, "--tail", "-1"), "--tail: '-1'"),
    "tail of an hour": ((*RENDER, "--tail", "3600"), "--tail: '3600'"),
    "tail of no number": ((*RENDER, "--tail", "long"), "from 0 s to 60 s"),
    "tail of two minutes": ((*RENDER, "--tail", "2 min"), "--tail: '2 min'"),
    "tail in metres": ((*RENDER, "--tail", "2 m"), "--tail: '2 m'"),
    "missing sound": (("render", "sluice.toml", "knells.wav"), "knells.wav"),
    "folder of a file": (
        ("render", "sluice.toml", "bells.wav", "--into", "bells.wav/x"),
        "not a directory",
    ),
    "new folder of too long a name": ((*ANEW[:-1], "new/" + "x" * 300), "too long"),
    "new folder for a missing sound": (
        ("render", "sluice.toml", "x.wav", "--into", "new"),
        "x.wav",
    ),
    "new folder for floats in FLAC": ((*ANEW, "--depth", "float", "--flac"), "FLAC"),
    "new folder for a match out of reach": ((*ANEW, "--match", "5 kHz"), "rate"),
    "new folder for a choice that is none": ((*ANEW, "--choice", "thinn"), "thin, thick"),
    "file for a folder": (
        ("render", "sluice.toml", "bells.wav", "--into", "bells.wav"),
        "bells.wav",
    ),
    "filter of two choices": ((*FILTER, "results/x.wav"), "thin, thick"),
    "filter of no known ending": ((*FILTER, "results/x.mp3", "--choice", "thin"), ".wav"),
    "filter over the rig file": ((*FILTER, "sluice.toml", "--choice", "thin"), ".json"),
    "filter into no folder": ((*FILTER, "nowhere/x.txt", "--choice", "thin"), "nowhere"),
    "sections of minimum phase": (
        (*FILTER, "results/x.json", "--choice", "thin", "--minimum-phase"),
        "--minimum-phase",
    ),
    "filter at no rate": ((*FILTER, "results/x.wav", "--choice", "thin", "--rate", "0"), "8000"),
    "filter at a rate below zero": (
        (*FILTER, "results/x.wav", "--choice", "thin", "--rate", "-48000"),
        "192000",
    ),
    "filter at a rate of no number": (
        (*FILTER, "results/x.wav", "--choice", "thin", "--rate", "fast"),
        "Hz",
    ),
    "filter at half a hertz": (
        (*FILTER, "results/x.wav", "--choice", "thin", "--rate", "48000.5"),
        "whole number of Hz",
    ),
    "filter at a rate in seconds": (
        (*FILTER, "results/x.wav", "--choice", "thin", "--rate", "48 s"),
        "--rate: '48 s'",
    ),
    "filter of an unknown signal": (
        (*FILTER, "results/x.wav", "--choice", "thin", "--signal", "hum"),
        "hum",
    ),
    "demo into a file": (("demo", "bells.wav"), "bells.wav"),
    "demo into a folder of a file": (("demo", "bells.wav/x"), "bells.wav"),
}


@pytest.mark.parametrize(("arguments", "says"), NONSENSE.values(), ids=NONSENSE.keys())
def test_nonsense_is_refused_in_one_sentence(
    bench: Bench, tell: Tell, arguments: Sequence[str], says: str
) -> None:
    before = sorted(bench.folder.rglob("*"))
    assert says in refusal(tell(*arguments))
    assert sorted(bench.folder.rglob("*")) == before


@pytest.mark.parametrize("where", ["1 MHz", "0.5 MHz,1 kHz"])
def test_the_units_of_an_error_message_can_be_typed(tell: Tell, where: str) -> None:
    """Refusing 1e14 Hz, the command says "from 0 Hz to 1 MHz"."""
    output(tell(*FIGURES, "--csv", "--at", where))


@pytest.mark.parametrize(
    "options", [("--at", "1khz"), ("--at", "1 KHZ"), ("--at", "1K")], ids=["khz", "KHZ", "K"]
)
def test_a_frequency_is_understood_in_any_case(tell: Tell, options: Sequence[str]) -> None:
    """The command looks for "hz" in any case, so it must also read what it found."""
    assert ",1000.0," in output(tell(*FIGURES, "--csv", *options))


@pytest.mark.parametrize("level", ["6", "6dB", "6 dB", "6 db"])
def test_a_level_is_understood_in_any_case(bench: Bench, tell: Tell, level: str) -> None:
    output(tell(*RENDER, "--signals", "drop", "--choice", "thin", "--make-up", level))
    assert facts(bench, "bells.thin.drop.wav.json")["gain_db"]["makeup"] == 6.0


@pytest.mark.parametrize("tail", ["0.25", "0.25 s", "250 ms", "0.25 Seconds"])
def test_a_time_has_seconds_or_its_own_unit(bench: Bench, tell: Tell, tail: str) -> None:
    output(tell(*RENDER, "--signals", "drop", "--choice", "thin", "--tail", tail))
    assert sf.info(bench.results / "bells.thin.drop.wav").frames == len(tone()) + RATE // 4


@pytest.mark.parametrize("rate", ["44100", "44100 Hz", "44.1 kHz", "44.1k"])
def test_a_sample_rate_has_hertz_or_its_own_unit(tell: Tell, rate: str) -> None:
    options = ("--choice", "thin", "--rate", rate)
    assert " at 44100 Hz, " in output(tell(*FILTER, "results/thin.txt", *options))


# --- damaged sound --------------------------------------------------------------------------------


def damaged_truncated(path: Path) -> None:
    sf.write(path, tone(), RATE)
    path.write_bytes(path.read_bytes()[:-1000])


def damaged_flac(path: Path) -> None:
    sf.write(path, 0.1 * np.random.default_rng(1).standard_normal(40_000), RATE, format="FLAC")
    content = bytearray(path.read_bytes())
    middle = len(content) // 2
    content[middle : middle + 2000] = bytes(2000)
    path.write_bytes(content)


def with_sample(value: float) -> Callable[[Path], None]:
    def make(path: Path) -> None:
        samples = tone()
        samples[-2, 1] = value
        sf.write(path, samples, RATE, subtype="FLOAT")

    return make


def silent(frames: int, channels: int, rate: int) -> Callable[[Path], None]:
    return lambda path: sf.write(path, np.zeros((frames, channels)), rate, format="WAV")


DAMAGED: Mapping[str, tuple[str, Callable[[Path], Any], str]] = {
    "empty": ("x.wav", lambda path: path.write_bytes(b""), "empty"),
    "text": ("x.wav", lambda path: path.write_text("bells, bells"), "not a sound file"),
    "no frames": ("x.wav", silent(0, 1, RATE), "0 frames"),
    "cut short": ("x.wav", damaged_truncated, "cut short"),
    "hole in the middle": ("x.flac", damaged_flac, "damaged"),
    "not a number at the end": ("x.wav", with_sample(math.nan), "NaN"),
    "infinity at the end": ("x.wav", with_sample(math.inf), "infinite"),
    "nine channels": ("x.wav", silent(100, 9, RATE), "9 channels"),
    "rate too low": ("x.wav", silent(100, 1, 4000), "4000 Hz"),
    "folder": ("x.wav", lambda path: path.mkdir(), "folder"),
    "pipe": ("x.wav", lambda path: os.mkfifo(path), "pipe"),
}


@pytest.mark.parametrize(("name", "make", "says"), DAMAGED.values(), ids=DAMAGED.keys())
def test_damaged_sound_is_refused_and_leaves_nothing(
    bench: Bench, name: str, make: Callable[[Path], Any], says: str
) -> None:
    sound = bench.folder / name
    make(sound)
    sentence = refusal(bench.render("--choice", "thin", sound=sound))
    assert sentence.startswith(str(sound))
    assert says in sentence
    assert bench.left() == set()


@pytest.mark.parametrize(("channels", "rate"), [(1, 8_000), (3, 11_025), (8, 48_001), (1, 192_000)])
def test_odd_channels_and_rates_are_rendered(
    bench: Bench, tell: Tell, channels: int, rate: int
) -> None:
    sf.write(bench.folder / "odd.wav", tone(0.05, channels, rate), rate)
    options = ("--into", "results", "--choice", "thin", "--signals", "receiving")
    output(tell("render", "sluice.toml", "odd.wav", *options))
    info = sf.info(bench.results / "odd.thin.receiving.wav")
    assert (info.channels, info.samplerate) == (channels, rate)
    assert info.frames == round(0.05 * rate)


@pytest.mark.parametrize("frames", [1, 400])
def test_silence_is_rendered_as_silence(bench: Bench, tell: Tell, frames: int) -> None:
    silent(frames, 2, RATE)(bench.folder / "hush.wav")
    options = ("--into", "results", "--match", "loudness", "--depth", "24")
    output(tell("render", "sluice.toml", "hush.wav", *options))
    for choice in ARRIVES:
        samples, _ = sf.read(bench.results / f"hush.{choice}.drop.wav")
        assert samples.shape == (frames, 2)
        assert not samples.any()
        assert facts(bench, f"hush.{choice}.drop.wav.json")["loudness_lufs"] is None


# --- where results cannot go ----------------------------------------------------------------------


def test_the_source_is_never_written_over(bench: Bench, tell: Tell) -> None:
    (bench.results / "bells.thin.drop.wav").symlink_to(bench.programme)
    before = bench.programme.read_bytes()
    assert "another name" in refusal(tell(*RENDER, "--choice", "thin"))
    assert bench.programme.read_bytes() == before
    assert bench.left() == {"bells.thin.drop.wav"}


def test_a_blocked_sidecar_leaves_no_sound_behind(bench: Bench, tell: Tell) -> None:
    """The facts of a file are part of the result: without them its level means nothing."""
    (bench.results / "bells.thin.drop.wav.json").mkdir()
    assert "bells.thin.drop.wav.json" in refusal(tell(*RENDER, "--choice", "thin"))
    assert bench.left() == {"bells.thin.drop.wav.json"}


def test_earlier_results_outlive_a_failure(bench: Bench, tell: Tell) -> None:
    output(tell(*RENDER, "--choice", "thin"))
    before = {name: (bench.results / name).read_bytes() for name in bench.left()}
    with_sample(math.nan)(bench.programme)
    refusal(tell(*RENDER, "--choice", "thin"))
    assert {name: (bench.results / name).read_bytes() for name in bench.left()} == before


def unprivileged() -> list[str]:
    """What to put before a command so that root, too, needs a right to write."""
    if os.geteuid() != 0:
        return []
    setpriv = shutil.which("setpriv")
    if setpriv is None:
        pytest.skip("run as root, and setpriv (util-linux) is not there to give rights up")
    return [setpriv, "--bounding-set=-all", "--inh-caps=-all", "--"]


@pytest.mark.parametrize(
    "arguments",
    [
        ("render", "sluice.toml", "bells.wav", "--into", "results"),
        ("filter", "sluice.toml", "results/x.wav", "--choice", "thin", "--rate", "8000"),
        ("filter", "sluice.toml", "results/x.txt", "--choice", "thin", "--rate", "8000"),
        ("demo", "results/tide-mill"),
    ],
    ids=["render", "filter wav", "filter txt", "demo"],
)
def test_a_folder_that_is_not_ours_is_refused(bench: Bench, arguments: Sequence[str]) -> None:
    bench.results.chmod(0o500)
    command = [*unprivileged(), str(AURALIZE), *arguments]
    result = subprocess.run(
        command, cwd=bench.folder, capture_output=True, text=True, timeout=60, check=False
    )
    bench.results.chmod(0o700)
    assert "results" in refusal(result)
    assert bench.left() == set()


@pytest.mark.parametrize(
    "name",
    ["a/b", "..", "", "x" * 300, "../../up", "a\nb"],
    ids=["slash", "dots", "nothing", "too long", "up and out", "line break"],
)
def test_no_name_of_a_choice_leads_out_of_the_folder(bench: Bench, tell: Tell, name: str) -> None:
    bench.rig.write_text(RIG.replace("choices.thin", f"choices.{json.dumps(name)}"))
    before = {path for path in bench.folder.rglob("*") if path.parent != bench.results}
    sentence = refusal(tell(*RENDER, "--choice", name))
    assert "choice" in sentence
    assert {path for path in bench.folder.rglob("*") if path.parent != bench.results} == before
    assert bench.left() == set()


def test_a_choice_may_be_named_in_any_script(bench: Bench) -> None:
    bench.rig.write_text(RIG.replace("choices.thin", 'choices."Mühle→水"'), encoding="utf-8")
    text = output(bench.render("--choice", "Mühle→水", "--signals", "drop", "--flac"))
    assert "bells.Mühle→水.drop.flac" in text
    assert bench.left() == {"bells.Mühle→水.drop.flac", "bells.Mühle→水.drop.flac.json"}
    assert "choice Mühle→水" in sf.SoundFile(bench.results / "bells.Mühle→水.drop.flac").comment


def test_a_sound_with_a_name_as_long_as_names_may_be(bench: Bench) -> None:
    sound = bench.folder / ("s" * 250 + ".wav")
    shutil.copy(bench.programme, sound)
    refusal(bench.render("--choice", "thin", sound=sound))
    assert bench.left() == set()


def test_a_sound_whose_name_is_no_text(bench: Bench) -> None:
    sound = bench.folder / os.fsdecode(b"bells\xff.wav")
    try:
        shutil.copy(bench.programme, sound)
    except OSError:
        pytest.skip("this file system has only names that are text")
    orderly(bench.render("--choice", "thin", sound=sound))


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


def test_the_version_is_that_of_the_project(bench: Bench) -> None:
    project = tomllib.loads((Path(__file__).parents[2] / "pyproject.toml").read_text("utf-8"))
    assert output(bench.run("--version")) == f"auralize {project['project']['version']}\n"


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


def test_a_plot_says_what_was_written(bench: Bench, tell: Tell) -> None:
    told = output(tell("plot", "sluice.toml", "results/loss.svg"))
    assert told == "results/loss.svg: loss, drop and load from 20 Hz to 20 kHz, thin; thick\n"
    assert bench.left() == {"loss.svg"}


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


# --- Ctrl-C ---------------------------------------------------------------------------------------

STOPPED = "auralize: stopped; nothing partial is left behind\n"


@pytest.fixture(scope="module")
def minutes(tmp_path_factory: pytest.TempPathFactory) -> Callable[[float], Path]:
    """Makes a file of noise that many minutes long."""
    folder = tmp_path_factory.mktemp("minutes")

    def make(length: float) -> Path:
        path = folder / f"{length:g}.wav"
        second = np.random.default_rng(1).integers(-8000, 8000, RATE).astype(np.int16)
        if not path.exists():
            sf.write(path, np.tile(second, round(60 * length)), RATE)
        return path

    return make


Making = Callable[[float], Path]


@pytest.fixture
def long_render(bench: Bench) -> Iterator[Callable[..., subprocess.Popen[str]]]:
    """Starts renders in the background, and ends what is left of them."""
    started: list[subprocess.Popen[str]] = []

    def start(sound: Path, stderr: int = subprocess.PIPE) -> subprocess.Popen[str]:
        options = ["--choice", "thin", "--signals", "receiving"]
        command = [str(AURALIZE), "render", str(bench.rig), str(sound), "--into", "results"]
        process = subprocess.Popen(
            command + options, cwd=bench.folder, stdout=subprocess.PIPE, stderr=stderr, text=True
        )
        started.append(process)
        return process

    yield start
    for process in started:
        if process.poll() is None:
            process.kill()
        process.communicate()


def test_ctrl_c_while_measuring_says_so_and_nothing_else(
    bench: Bench, minutes: Making, long_render: Callable[..., subprocess.Popen[str]]
) -> None:
    """After more than the two seconds from which on a terminal, and only a terminal, sees progress."""
    process = long_render(minutes(60))
    time.sleep(2.5)
    assert process.poll() is None, "the programme was too short for this test"
    process.send_signal(signal.SIGINT)
    out, err = process.communicate(timeout=30)
    assert (process.returncode, out, err) == (INTERRUPTED, "", STOPPED)
    assert bench.left() == set()


def test_ctrl_c_while_writing_leaves_nothing(
    bench: Bench, minutes: Making, long_render: Callable[..., subprocess.Popen[str]]
) -> None:
    process = long_render(minutes(3))
    deadline = time.monotonic() + 30.0
    while not bench.left() and process.poll() is None and time.monotonic() < deadline:
        time.sleep(0.002)
    assert process.poll() is None, "nothing was being written when the programme ended"
    assert all(name.startswith(".") for name in bench.left())
    process.send_signal(signal.SIGINT)
    out, err = process.communicate(timeout=30)
    assert (process.returncode, out, err) == (INTERRUPTED, "", STOPPED)
    assert bench.left() == set()


def test_a_terminal_sees_progress_and_it_is_wiped(
    bench: Bench, minutes: Making, long_render: Callable[..., subprocess.Popen[str]]
) -> None:
    ours, theirs = pty.openpty()
    process = long_render(minutes(60), stderr=theirs)
    os.close(theirs)
    seen = ""
    while "s left" not in seen:
        seen += os.read(ours, 1024).decode()
    process.send_signal(signal.SIGINT)
    process.communicate(timeout=30)
    with suppress(OSError):  # Linux reports EIO where the other side has closed
        while more := os.read(ours, 1024):
            seen += more.decode()
    os.close(ours)
    assert process.returncode == INTERRUPTED
    assert "% done" in seen
    wiped, _, last = seen.rpartition("\r\033[K")
    assert "% done" in wiped
    assert last == STOPPED.replace("\n", "\r\n")  # the terminal's own line end
    assert bench.left() == set()
