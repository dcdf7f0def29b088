"""A filter that misses its goal is told of in plain words, and one that is no use is refused."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile as sf

import auralize as au
from auralize.errors import DesignError
from auralize.filters import export, quality
from auralize.filters.fir import DROP_GOAL, EXACT_GOAL, RunFilters, design_run
from auralize.live import designer
from auralize.renderer import arrays, files
from auralize.renderer.text import as_gains
from support.rig_loads import text, the

RATE = 48_000


def with_errors(found: RunFilters, error: float) -> RunFilters:
    """The same filters, each with this error as if it had been measured."""
    ends = (replace(fir, error=error) for fir in (found.sending, found.receiving))
    drops = {across: replace(fir, error=error) for across, fir in found.drops.items()}
    return RunFilters(*ends, drops)


@pytest.fixture
def spoilt(monkeypatch: pytest.MonkeyPatch):
    """Makes all designs report some error in dB."""

    def spoil(error: float) -> None:
        def design(*what):
            return with_errors(design_run(*what), error)

        for module in (arrays, files, export, designer):
            monkeypatch.setattr(module, "design_run", design)

    return spoil


@pytest.fixture
def programme(tmp_path: Path) -> Path:
    path = tmp_path / "tide.wav"
    sf.write(path, 0.1 * np.sin(2.0 * np.pi * 440.0 * np.arange(4800) / RATE), RATE)
    return path


def test_a_caution_begins_twenty_decibels_short_of_the_goal() -> None:
    for signal, goal in (("drop", DROP_GOAL), ("receiving", EXACT_GOAL), ("sending", EXACT_GOAL)):
        assert quality.goal_of(signal) == goal
        assert quality.caution("it", goal + 20.0, goal) is None
        assert "Caution" in (quality.caution("it", goal + 20.1, goal) or "")
    assert quality.caution("it", -math.inf, EXACT_GOAL) is None
    assert "1 % somewhere" in (quality.caution("it", -40.0, EXACT_GOAL) or "")


@pytest.mark.parametrize("error", [0.0, 3.0, math.inf, math.nan])
def test_a_filter_as_wrong_as_silence_is_refused(error: float) -> None:
    with pytest.raises(DesignError, match="no filter comes near"):
        quality.check("it", error)


def test_an_error_of_magnitude_is_one_of_the_response() -> None:
    """6.02 dB too much is twice the response: off by all of it, 0 dB. Closed form: 20 lg(10^(m/20) - 1)."""
    assert quality.of_magnitude(20.0 * math.log10(2.0)) == pytest.approx(0.0, abs=1e-12)
    assert quality.of_magnitude(20.0 * math.log10(1.001)) == pytest.approx(-60.0, abs=1e-9)
    assert quality.of_magnitude(0.0) == -math.inf


def test_a_rendered_file_says_so_in_text_and_sidecar(
    spoilt, programme: Path, tmp_path: Path
) -> None:
    choice = the(tmp_path, text())
    done = au.render_file(programme, choice, tmp_path / "out")
    assert "Caution" not in as_gains(done)
    assert "filter errors lie below -" in as_gains(done)
    spoilt(-50.0)
    done = au.render_file(programme, choice, tmp_path / "out")
    printed = " ".join(as_gains(done).split())
    for output in done.outputs:
        assert f"Caution: {output.path.name} is off by up to 0.32 %" in printed
        said = json.loads(output.path.with_name(output.path.name + ".json").read_text())
        assert said["filter_caution"].startswith("Caution: ")
        assert said["filter_error_db"] == -50.0


def test_silence_has_no_error_of_which_to_tell(programme: Path, tmp_path: Path) -> None:
    choice = the(tmp_path, text('type = "short"\nnominal = "8 ohm"'))
    done = au.render_file(programme, choice, tmp_path / "out", signals=("receiving",))
    assert "inf" not in as_gains(done)


@pytest.mark.parametrize("suffix", [".wav", ".txt"])
def test_the_filter_command_says_so(spoilt, suffix: str, tmp_path: Path) -> None:
    choice, path = the(tmp_path, text()), tmp_path / f"pond{suffix}"
    assert "Caution" not in export.export_filter(choice, "drop", RATE, False, path)
    spoilt(-50.0)
    assert "Caution" in export.export_filter(choice, "drop", RATE, False, path)


def test_above_forty_decibels_it_says_what_to_measure() -> None:
    remedy = (
        "If a load in it was measured: measure 12 points or more an octave, from 10 Hz to 20 kHz"
    )
    assert remedy in (quality.caution("it", -39.9, EXACT_GOAL) or "")
    assert remedy not in (quality.caution("it", -40.0, EXACT_GOAL) or "")


def test_what_is_no_use_is_refused_everywhere(spoilt, programme: Path, tmp_path: Path) -> None:
    choice = the(tmp_path, text())
    spoilt(0.0)
    with pytest.raises(DesignError, match="receiving signal: no filter comes near"):
        au.render_file(programme, choice, tmp_path / "out")
    assert not (tmp_path / "out").exists()
    with pytest.raises(DesignError, match="drop signal"):
        au.design_filter(choice, RATE, "drop")
    with pytest.raises(DesignError, match="no filter comes near"):
        export.export_filter(choice, "drop", RATE, False, tmp_path / "pond.wav")
    with pytest.raises(DesignError, match="no filter comes near"):
        designer.designed(choice, RATE)


def test_the_bench_is_told_of_the_worst_signal(tmp_path: Path) -> None:
    found = design_run((choice := the(tmp_path, text())).network, choice.listen, RATE)
    assert quality.run_caution("reel", found) is None
    told = quality.run_caution("reel", with_errors(found, -60.0))
    assert told is not None
    assert "signal of reel" in told
