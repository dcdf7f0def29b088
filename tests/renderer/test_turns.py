"""Behind transformers: figures, files and filters mean one thing by 0 dB, and say what the turns make."""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pytest
import soundfile

from auralize.commands.main import main
from auralize.figures.numbers import figures
from auralize.filters.fir import design_run
from auralize.rig.choice import Choice
from auralize.rig.reading import load_rig

PATH = Path(__file__).parents[2] / "audio_demo" / "path.toml"
RATE = 48_000
HERTZ = 1000.0
# Step-up 28.3 V to 100 V; a tap of 10 W into 8 ohm has sqrt(80) V, one of 20 W sqrt(160) V.
BY_HAND = {
    "gate": 20.0 * math.log10(math.sqrt(80.0) / 28.3),
    "bench": 20.0 * math.log10(math.sqrt(160.0) / 28.3),
}


def level(path: Path) -> float:
    """dB of a file's second half, which a tone has settled in."""
    samples, _ = soundfile.read(path)
    return float(20.0 * np.log10(np.sqrt(np.mean(samples[RATE:] ** 2))))


@pytest.fixture
def tone(tmp_path: Path) -> Path:
    path = tmp_path / "tone.wav"
    cycles = np.sin(2.0 * np.pi * HERTZ / RATE * np.arange(2 * RATE))
    soundfile.write(path, 0.1 * cycles, RATE, subtype="FLOAT")
    return path


@pytest.mark.parametrize("load", ["gate", "bench", "lawn"])
def test_the_rendered_loss_is_that_of_the_figures(
    load: str, tone: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    told = ["--load", load, "--choice", "sound", "--into", str(tmp_path)]
    at = "" if load == "lawn" else f".at-{load}"
    assert main(["render", str(PATH), str(tone), *told, "--signals", "receiving,sending"]) == 0
    receiving, sending = (tmp_path / f"tone.sound{at}.{s}.wav" for s in ("receiving", "sending"))
    found = figures(load_rig(PATH)["sound"].at(load), (HERTZ,))
    assert level(receiving) - level(sending) == pytest.approx(found.lines[0].loss_db, abs=0.002)
    # Beside the source it is the amplifier's 40 mohm before some 6 ohm as well: 0.06 dB.
    assert level(receiving) - level(tone) == pytest.approx(found.lines[0].loss_db, abs=0.07)
    printed = capsys.readouterr().out
    facts = json.loads(Path(f"{receiving}.json").read_text(encoding="utf-8"))
    with soundfile.SoundFile(receiving) as file:
        comment = file.comment
    if load == "lawn":
        assert facts["transformer_turns_db"] is None
        assert "turns" not in printed + comment
        return
    assert facts["transformer_turns_db"] == pytest.approx(BY_HAND[load], abs=1e-4)
    sentence = f"the transformers' turns make {BY_HAND[load]:+.2f} dB, which is left out"
    assert f"sound: {sentence}." in printed
    assert f"; {sentence}; " in comment


@pytest.mark.parametrize("ending", ["txt", "wav", "json"])
def test_an_exported_filter_is_relative_to_the_turns(
    ending: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / f"path.sound.at-gate.receiving.48kHz.{ending}"
    asked = ["--choice", "sound", "--load", "gate", "--as", ending, "--into", str(tmp_path)]
    assert main(["filter", str(PATH), *asked]) == 0
    assert f"the transformers' turns make {BY_HAND['gate']:+.2f} dB" in capsys.readouterr().out
    if ending == "txt":
        taps = np.loadtxt(path)
        response = np.exp(-2j * np.pi * HERTZ / RATE * np.arange(len(taps))) @ taps
        loss = figures(load_rig(PATH)["sound"].at("gate"), (HERTZ,)).lines[0].loss_db
        assert 20.0 * np.log10(abs(response)) == pytest.approx(loss, abs=0.07)


def gate() -> Choice:
    return load_rig(PATH)["sound"].at("gate")


def test_drop_and_receiving_end_are_the_sending_end_tap_by_tap() -> None:
    choice = gate()
    firs = design_run(choice.network, choice.listen, RATE)
    assert np.array_equal(firs.sending.taps - firs.drop.taps, firs.receiving.taps)
    frequency = np.geomspace(20.0, 20e3, 50)
    sent, kept, got = (choice.response(frequency, s) for s in ("sending", "drop", "receiving"))
    assert np.allclose(kept + got, sent, rtol=1e-14, atol=0.0)


def test_as_installed_the_sending_end_is_the_source_but_for_the_amplifier() -> None:
    """0.04 ohm before 2.98 ohm and more is 0.12 dB at most."""
    sent = np.abs(gate().response(np.geomspace(20.0, 20e3, 200), "sending"))
    assert 0.985 < sent.min() <= sent.max() < 1.001
