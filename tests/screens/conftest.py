"""Fixtures of the tests in this folder."""

import numpy as np
import pytest
import soundfile as sf
from auralize_tui.app import BenchApp

from auralize.rig.editing import RigDraft
from support.bench_app import DEMO
from support.bench_engine import SilentEngine


@pytest.fixture
def opened(tmp_path):
    """Opens the bench on the text of a rig file; the programme is a second of 440 Hz."""

    def on(rig_text):
        rig, sound = tmp_path / "mill.toml", tmp_path / "bells.wav"
        rig.write_text(rig_text, encoding="utf-8")
        t = np.arange(48_000) / 48_000
        sf.write(sound, 0.3 * np.sin(2 * np.pi * 440 * t), 48_000, "PCM_24")
        draft = RigDraft(rig)
        return BenchApp(draft, sound, SilentEngine(draft.rig.choices.values()), tmp_path / "trials")

    return on


@pytest.fixture
def app(opened):
    """The bench on the demo."""
    return opened(DEMO.read_text(encoding="utf-8"))


@pytest.fixture
def again(app, tmp_path):
    """The application opened once more on the same rig and programme."""
    draft = RigDraft(tmp_path / "mill.toml")
    engine = SilentEngine(draft.rig.choices.values())
    return BenchApp(draft, app.source, engine, app.log_folder)


@pytest.fixture(autouse=True)
def _braille(monkeypatch):
    """Pictures in the finest dots, whatever terminal the tests run in."""
    monkeypatch.setenv("AURALIZE_DOTS", "braille")
