"""The bench on a live input: its name, how late it is, and what it cannot do."""

import sys
import threading
from types import SimpleNamespace

import numpy as np
import pytest
from auralize_tui.app import BenchApp
from auralize_tui.bench import BenchScreen

from auralize.commands.bench import programmes_of
from auralize.errors import AuralizeError
from auralize.live.engine import Engine
from auralize.live.input_feed import InputFeed
from auralize.live.input_status import InputStatus
from auralize.rig.editing import RigDraft
from support.bench_app import DEMO, drive, everything, text_of
from support.bench_engine import SilentEngine
from support.paced_device import NAME, PacedDevice

pytest.importorskip("tomlkit", reason="the bench edits with tomlkit (extra: bench)")
LIVE = InputStatus("desk", "sounding", 0.043, 0.005, None)
SMALLEST = (76, 21)


@pytest.fixture
def silent(tmp_path):
    """On an engine that makes no sound."""
    rig = tmp_path / "mill.toml"
    rig.write_bytes(DEMO.read_bytes())
    draft = RigDraft(rig)
    engine = SilentEngine(draft.rig.choices.values())
    feed = InputFeed("desk")
    engine.programmes = (feed,)
    engine.now(live_input=LIVE, latency=0.053, playing=True, certainty="predicted")
    return BenchApp(draft, feed, engine, tmp_path)


def test_the_title_names_the_input_and_the_meters_say_how_late_it_is(silent):
    async def steps(pilot):
        await pilot.pause(0.3)
        assert text_of(silent.screen, "#title").endswith(", live input desk")
        meters = text_of(silent.screen, "#meters").splitlines()
        assert meters[0] == "live 0:12.5, up to 101 ms late (in 43, ours 5, out 53)"
        assert meters[0] in everything(silent)

    drive(silent, steps, SMALLEST)


@pytest.mark.parametrize(
    ("live", "words"),
    [
        (InputStatus("desk", "waiting", 0.043, 0.005, None), "muted (space) 0:12.5, up to 101 ms"),
        (InputStatus("desk", "muted", 0.043, 0.005, None), "muted 0:12.5, up to 101 ms"),
        (InputStatus("desk", "lost", 0.043, 0.005, None), "input lost, silence 0:12.5"),
        (
            InputStatus("desk", "sounding", 0.043, 0.085, -23e-6),
            "live 0:12.5, up to 181 ms late (in 43, ours 85, out 53), clocks -23 ppm",
        ),
    ],
)
def test_what_it_does_fits_the_smallest_screen(silent, live, words):
    async def steps(pilot):
        silent.engine.now(live_input=live)
        await pilot.pause(0.3)
        assert words in everything(silent)

    drive(silent, steps, SMALLEST)


@pytest.mark.parametrize(
    ("key", "words"),
    [
        ("right", "Nothing to go to: a live input is heard as it comes"),
        ("l", "Nothing to loop: what came in from a live input is not kept"),
        ("b", "a live input is never the same twice"),
    ],
)
def test_what_cannot_be_done_is_said_and_nothing_is_done(silent, key, words):
    async def steps(pilot):
        before = list(silent.engine.calls)
        await pilot.press(key)
        await pilot.pause(0.2)
        assert words in " ".join(text_of(silent.screen, "#message").split())
        assert isinstance(silent.screen, BenchScreen)
        assert silent.engine.calls == before

    drive(silent, steps)


def test_an_input_stands_alone_on_the_command_line(tmp_path):
    (feed,) = programmes_of([], [], "desk")
    assert feed.name == "live input desk"
    for sounds, signals in (([tmp_path / "bells.wav"], []), ([], ["pink"])):
        with pytest.raises(AuralizeError, match="--input is heard instead"):
            programmes_of(sounds, signals, "desk")


class PacedDuplex(PacedDevice):
    """A device of both directions: what comes in is a steady tone."""

    def query_devices(self):
        return [{**found, "max_input_channels": 2} for found in super().query_devices()]

    def check_input_settings(self, index, channels, kind, samplerate):
        pass

    def InputStream(self, **wished):
        return _Intake(self, **wished)


class _Intake:
    def __init__(self, owner, *, samplerate, blocksize, callback, latency, **_):
        self.latency = latency
        self._owner, self._callback, self._pause = owner, callback, blocksize / samplerate
        tone = 0.2 * np.sin(2 * np.pi * 8 * np.arange(blocksize) / blocksize)
        self._in = np.stack([tone, tone], axis=1).astype(np.float32)
        self._ended = threading.Event()
        self._thread = threading.Thread(target=self._pull, daemon=True)

    def start(self):
        self._thread.start()

    def abort(self):
        self._ended.set()
        self._thread.join(5.0)

    def close(self):
        self._ended.set()

    def _pull(self):
        while not self._ended.wait(self._pause):
            self._callback(self._in, len(self._in), None, None)


def news(app):
    """What is told, but for where its lines break."""
    return text_of(app.screen, "#message").replace("\n", " ")


def test_the_engine_itself_asks_before_it_lets_an_input_sound(tmp_path, monkeypatch):
    device = PacedDuplex()
    device.default = SimpleNamespace(device=(0, 0))
    monkeypatch.setitem(sys.modules, "sounddevice", device)
    rig = tmp_path / "mill.toml"
    rig.write_bytes(DEMO.read_bytes())
    draft, feed = RigDraft(rig), InputFeed(NAME)
    engine = Engine(feed, list(draft.rig.choices.values()), volumes=tmp_path / "volumes.json")
    engine.start()
    app = BenchApp(draft, feed, engine, tmp_path / "trials")

    async def until(pilot, done):
        for _ in range(400):
            if done():
                await pilot.pause(0.25)
                return
            await pilot.pause(0.05)
        raise TimeoutError(f"{engine.status()}")

    async def steps(pilot):
        await until(pilot, lambda: engine.status().certainty == "predicted")
        assert device.peak == 0.0
        await pilot.press("space")
        await until(pilot, lambda: "Space again" in news(app))
        assert device.peak == 0.0
        await pilot.press("space")
        await until(pilot, lambda: device.peak > 0.0)
        assert text_of(app.screen, "#meters").startswith("live 0:")
        assert text_of(app.screen, "#title").endswith(f", live input {NAME}")
        await pilot.press("d")
        await until(pilot, lambda: engine.status().gains.makeup > 0.0)
        await pilot.press("space")
        await until(pilot, lambda: text_of(app.screen, "#meters").startswith("muted 0:"))

    try:
        drive(app, steps)
    finally:
        engine.stop()
