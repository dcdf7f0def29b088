"""Several sounds on the bench: n goes to the next, and the screen says which one sounds."""

import sys

import numpy as np
import pytest
import soundfile as sf
from auralize_tui.app import BenchApp
from auralize_tui.words import shortened

from auralize.audio.stimulus import ABOUT_TWEETERS, Noise, Sine
from auralize.live.engine import Engine
from auralize.live.sources import FileFeed, SignalFeed
from auralize.rig.editing import RigDraft
from support.bench_app import DEMO, begin_trial, drive, everything, text_of
from support.paced_device import PacedDevice

pytest.importorskip("tomlkit", reason="the bench edits with tomlkit (extra: bench)")
HIGH = SignalFeed(Sine(8000.0, -30.0))
PINK = SignalFeed(Noise("pink"))


async def shown(pilot, words, place):
    """Wait until the screen has looked at the engine and says this."""
    for _ in range(100):
        if words in text_of(pilot.app.screen, place):
            return
        await pilot.pause(0.05)
    raise TimeoutError(text_of(pilot.app.screen, place))


def test_n_goes_round_and_the_screen_says_what_sounds_and_what_to_mind(app):
    app.engine.programmes = (FileFeed(app.source), HIGH)

    async def steps(pilot):
        await shown(pilot, "bells.wav (1 of 2; n: next)", "#programme")
        await pilot.press("n")
        await shown(pilot, "sine 8 kHz, -30 dBFS rms", "#programme")
        assert app.engine.calls[-1] == ("programme", 1)
        told = text_of(app.screen, "#message")
        assert "Now playing sine 8 kHz, -30 dBFS rms" in told
        assert ABOUT_TWEETERS in told.replace("\n", " ")
        assert app.screen.source is HIGH  # what a blind trial would be held on
        await pilot.press("n")
        await shown(pilot, "Now playing bells.wav", "#message")
        assert app.engine.calls[-1] == ("programme", 0)

    drive(app, steps)


def test_with_one_sound_n_says_how_there_could_be_more(app):
    app.engine.programmes = (FileFeed(app.source),)

    async def steps(pilot):
        await pilot.press("n")
        assert "There is no other sound" in text_of(app.screen, "#message")
        assert ("programme", 0) not in app.engine.calls

    drive(app, steps)


def test_n_says_at_once_what_it_opens(app):
    """A long file takes a while to open, and goes on sounding as it was until then."""
    app.engine.programmes = (FileFeed(app.source), PINK)
    app.engine.change_programme = lambda number: None  # not yet

    async def steps(pilot):
        await pilot.press("n")
        await shown(pilot, "Opening pink noise, -20 dBFS rms", "#message")
        app.engine.now(programme=1)
        await shown(pilot, "Now playing pink noise, -20 dBFS rms", "#message")
        assert "Opening" not in text_of(app.screen, "#message")

    drive(app, steps)


def test_what_has_no_end_has_no_length_on_the_screen(app):
    app.engine.programmes = (PINK,)
    app.engine.now(length=float("inf"))

    async def steps(pilot):
        await shown(pilot, "paused 0:12.5", "#meters")
        assert " of " not in text_of(app.screen, "#meters").splitlines()[0]

    drive(app, steps)


@pytest.mark.parametrize("width", [76, 80, 200])
def test_the_name_never_pushes_the_position_off_the_line(app, width):
    app.engine.programmes = (FileFeed(app.source),)
    app.engine.now(loop=(1.0, 2.0), editing=True)

    async def steps(pilot):
        await shown(pilot, "loop 0:01.0 to 0:02.0, designing", "#meters")
        lines = text_of(app.screen, "#meters").splitlines()
        assert len(lines) == 2
        assert all(len(line) <= width - 2 for line in lines)
        assert "loop 0:01.0 to 0:02.0, designing" in everything(app)

    drive(app, steps, size=(width, 24))


def test_names_are_cut_with_dots():
    assert shortened("bells.wav", 9) == "bells.wav"
    assert shortened("bells at dusk.wav", 9) == "bells..."
    assert shortened("steps of third octaves, 20 Hz", 26) == "steps of third octaves..."


@pytest.fixture
def real(tmp_path, monkeypatch):
    """On the engine itself, on a device that takes sound: bells, and pink noise."""
    monkeypatch.setitem(sys.modules, "sounddevice", PacedDevice())
    rig, sound = tmp_path / "mill.toml", tmp_path / "bells.wav"
    rig.write_bytes(DEMO.read_bytes())
    sf.write(sound, 0.2 * np.sin(np.arange(20 * 48_000) / 40.0), 48_000, "PCM_24")
    draft = RigDraft(rig)
    choices = list(draft.rig.choices.values())
    engine = Engine(sound, choices, others=[PINK], volumes=tmp_path / "volumes.json")
    engine.start()
    yield BenchApp(draft, sound, engine, tmp_path / "trials")
    engine.stop()


def test_the_real_engine_goes_over_and_a_blind_trial_is_held_on_what_sounds(real):
    async def until(pilot, done):
        for _ in range(300):
            if done():
                await pilot.pause(0.3)
                return
            await pilot.pause(0.05)
        raise TimeoutError(f"{real.engine.status()}")

    async def steps(pilot):
        await until(pilot, lambda: real.engine.status().state == "running")
        await pilot.press("space", "n")
        await until(pilot, lambda: real.engine.status().programme == 1)
        await until(pilot, lambda: real.engine.status().certainty == "measured")
        await until(pilot, lambda: real.engine.status().playing)
        assert "Now playing pink noise" in text_of(real.screen, "#message")
        assert text_of(real.screen, "#meters").startswith("playing 0:0")
        await begin_trial(pilot, real)
        await pilot.press("n", "q", "q")  # not a key of a trial
        assert real.engine.status().programme == 1

    drive(real, steps)
    (log,) = real.log_folder.glob("*.jsonl")
    said = log.read_text()
    assert "pink noise, -20 dBFS rms" in said
    assert PINK.fingerprint() in said
