"""The analyser on the engine itself, at the pace of a device: what the screen shows is what sounds."""

import sys

import numpy as np
import pytest
import soundfile as sf
from auralize_tui.analyser import AnalyserPanel
from auralize_tui.app import BenchApp

from auralize.gains import SOURCE
from auralize.live.engine import Engine
from auralize.rig.editing import RigDraft
from support.bench_app import DEMO, drive
from support.paced_device import PacedDevice

pytest.importorskip("tomlkit", reason="the bench edits with tomlkit (extra: bench)")
VOLUME = -20.0


@pytest.fixture
def app(tmp_path, monkeypatch):
    """A tone of -17 dBFS at 1 kHz, over and over."""
    monkeypatch.setitem(sys.modules, "sounddevice", PacedDevice())
    rig, sound = tmp_path / "mill.toml", tmp_path / "tone.wav"
    rig.write_bytes(DEMO.read_bytes())
    tone = 0.2 * np.sin(2 * np.pi * 1000 * np.arange(4 * 48_000) / 48_000)
    sf.write(sound, tone, 48_000, "PCM_24")
    draft = RigDraft(rig)
    engine = Engine(sound, list(draft.rig.choices.values()), volumes=tmp_path / "volumes.json")
    engine.start()
    engine.loop((0.0, 4.0))
    yield BenchApp(draft, sound, engine, tmp_path / "trials")
    engine.stop()


def test_a_tone_is_shown_at_its_level_and_the_drop_beside_it(app):
    async def steps(pilot):
        panel, engine = app.screen.query_one(AnalyserPanel), app.engine
        engine.hear(SOURCE)
        app.screen.signal = None
        engine.play()
        await pilot.press("a")

        def steady():
            now = panel._now
            return now is not None and len(now.lines) == 2 and abs(now.bars[17] - level()) < 0.1

        def level():
            status = engine.status()
            return 20 * np.log10(0.2 / np.sqrt(2)) + status.volume + status.gains.total

        for _ in range(400):
            if steady():
                break
            await pilot.pause(0.05)
        assert panel._now.bars[17] == pytest.approx(level(), abs=0.1)
        assert int(np.argmax(panel._now.bars)) == 17
        await pilot.press("f", "f")  # fast, relative to the source
        await pilot.pause(0.5)
        response = app.draft.rig.choices[app.screen.chosen].response([1000.0], signal="drop")
        expected = 20 * np.log10(abs(response[0]))
        assert panel._now.lines["D"][1][17] == pytest.approx(expected, abs=0.1)

    drive(app, steps)
