"""The command that renders: what it leaves, from what sound, and where results cannot go."""

import json
import math
import os
import shutil
import subprocess
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile as sf

from support.command import (
    ANEW,
    ARRIVES,
    AURALIZE,
    FILTER,
    KEPT,
    RATE,
    RENDER,
    RIG,
    Bench,
    Tell,
    decibels,
    facts,
    orderly,
    output,
    refusal,
    tone,
)

# --- render ---------------------------------------------------------------------------------------


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
    options = ["--match", "100 Hz", "--signals", "sending, drop,receiving"]
    options += ["--make-up", "6 dB", "--depth", "16", "--flac", "--tail", "0.25"]
    text = output(bench.render("--choice", "thick", *options))
    ratios = {"receiving": ARRIVES["thick"], "drop": KEPT["thick"], "sending": 1.0}
    tags = "matched-100Hz.make-up-6dB.16bit.tail-0.25s"
    names = {f"bells.thick.{signal}.{tags}" for signal in ratios}
    assert bench.left() == {n + ending for n in names for ending in (".flac", ".flac.json")}
    assert "matched at 100 Hz" in text
    assert max(map(len, text.splitlines())) <= 80

    source, _ = sf.read(bench.programme)
    padded = np.concatenate([source, np.zeros((RATE // 4, 2))])
    for kind, ratio in ratios.items():
        path = bench.results / f"bells.thick.{kind}.{tags}.flac"
        info = sf.info(path)
        assert (info.format, info.subtype, info.frames) == ("FLAC", "PCM_16", len(padded))
        told = facts(bench, f"bells.thick.{kind}.{tags}.flac.json")
        gains = told["gain_db"]
        assert gains["match"] == pytest.approx(-decibels(ARRIVES["thick"]), abs=1e-3)
        assert gains["makeup"] == (6.0 if kind == "drop" else 0.0)
        assert gains["headroom"] == 0.0
        assert told["drop_across"] == ("both" if kind == "drop" else None)
        assert (told["source"], told["choice"], told["signal"]) == ("bells.wav", "thick", kind)
        got, _ = sf.read(path)
        wanted = padded * ratio * 10.0 ** (gains["total"] / 20.0)
        # Triangular dither of one step and half a step of rounding; the inductance adds less.
        assert np.abs(got - wanted).max() < 2.0 / 32768.0
        assert f"choice thick; gain {gains['total']:+.2f} dB" in sf.SoundFile(path).comment


def test_render_matched_in_loudness(bench: Bench, tell: Tell) -> None:
    output(tell(*RENDER, "--match", "loudness", "--signals", "receiving", "--depth", "float"))
    source, _ = sf.read(bench.programme)
    for choice in ARRIVES:
        path = bench.results / f"bells.{choice}.receiving.matched-loudness.float.wav"
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


def test_drops_are_rendered_equally_loud(tell: Tell, bench: Bench) -> None:
    """Between resistances the two are the same signal, so equally loud they are the same samples."""
    output(tell(*RENDER, "--signals", "drop", "--make-up", "equal"))
    found = {c: f"bells.{c}.drop.equal-drops.wav" for c in KEPT}
    assert bench.left() == {name + end for name in found.values() for end in ("", ".json")}
    told = {c: facts(bench, f"{name}.json") for c, name in found.items()}
    assert {one["make_up"] for one in told.values()} == {"equally loud"}
    makeup = {c: one["gain_db"]["makeup"] for c, one in told.items()}
    apart = decibels(KEPT["thin"] / KEPT["thick"])
    assert makeup["thick"] - makeup["thin"] == pytest.approx(apart, abs=1e-3)
    thin, thick = (sf.read(bench.results / name)[0] for name in found.values())
    assert np.abs(thin).max() > 0.05
    assert thin == pytest.approx(thick, abs=1e-4)  # within the share of the inductance


def test_what_the_make_up_asked_for_costs_is_said(tell: Tell) -> None:
    """-10.5 dB is the peak of the tone, 1/9 of it the drop: 60 dB on that pass -1 dBTP by 31.5 dB."""
    text = output(tell(*RENDER, "--choice", "thin", "--make-up", "60 dB"))
    lines = text.splitlines()
    (at,) = (n for n, line in enumerate(lines) if "thin.receiving.make-up-60dB" in line)
    row = lines[at + 1].split()  # too long a name for its figures to stand beside it
    cost = decibels(0.3) + decibels(KEPT["thin"]) + 60.0 + 1.0
    assert float(row[3]) == pytest.approx(-cost, abs=0.05)  # the tone's peak, up to its window
    assert f"made all files {row[3][1:]} dB softer: no peak may pass -1 dBTP" in text
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
    again = output(tell(*RENDER, *one, "drop,sending", "--replace"))
    (line,) = (t for t in again.splitlines() if "replaced" in t)
    assert line == "Earlier files of these names were replaced: bells.thin.drop.wav."
    assert sf.info(bench.results / "bells.thin.drop.wav").frames == len(tone())


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
    bench: Bench, tell: Tell, name: str, make: Callable[[Path], Any], says: str
) -> None:
    sound = bench.folder / name
    make(sound)
    sentence = refusal(
        tell("render", bench.rig, sound, "--into", bench.results, "--choice", "thin")
    )
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
        samples, _ = sf.read(bench.results / f"hush.{choice}.drop.matched-loudness.24bit.wav")
        assert samples.shape == (frames, 2)
        assert not samples.any()
        assert (
            facts(bench, f"hush.{choice}.drop.matched-loudness.24bit.wav.json")["loudness_lufs"]
            is None
        )


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
        (*FILTER, "--into", "results", "--choice", "thin", "--rate", "8000"),
        (*FILTER, "--into", "results", "--choice", "thin", "--rate", "8000", "--as", "txt"),
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


def test_a_sound_with_a_name_as_long_as_names_may_be(bench: Bench, tell: Tell) -> None:
    sound = bench.folder / ("s" * 250 + ".wav")
    shutil.copy(bench.programme, sound)
    refusal(tell("render", bench.rig, sound, "--into", bench.results, "--choice", "thin"))
    assert bench.left() == set()


def test_a_sound_whose_name_is_no_text(bench: Bench) -> None:
    sound = bench.folder / os.fsdecode(b"bells\xff.wav")
    try:
        shutil.copy(bench.programme, sound)
    except OSError:
        pytest.skip("this file system has only names that are text")
    orderly(bench.render("--choice", "thin", sound=sound))
