"""The input side of the keeper, on a stand-in for PortAudio and by the clock of the test."""

from types import SimpleNamespace

import numpy as np
import pytest

from auralize.live import device, input_side, keeper
from auralize.live.engine import Engine
from auralize.live.guard import QUESTION
from auralize.live.incoming import NO_TRIAL
from auralize.live.input_feed import InputFeed
from auralize.live.played import Played
from auralize.live.remembered import Volumes
from support.live_device import FakeSounddevice, PortAudioError
from support.pumped import BLOCK, RATE, noise


class InputBench:
    """A keeper of a live input that looks when the test says so."""

    def __init__(self, monkeypatch, tmp_path, choices, wanted):
        self.sounddevice = FakeSounddevice("mill", "pond")
        self.sounddevice.hearing = ("mill",)
        monkeypatch.setitem(device.sys.modules, device.SOUNDDEVICE, self.sounddevice)
        self.now = 100.0
        clock = SimpleNamespace(monotonic=lambda: self.now, sleep=lambda _: None)
        monkeypatch.setattr(keeper, "time", clock)
        monkeypatch.setattr(input_side, "time", clock)
        self.events = []
        volumes = Volumes(tmp_path / "volumes.json")
        feeds = [InputFeed(wanted)]
        self.played = Played(feeds, [choices["reel"]], volumes, self.events.append, False)
        self.keeper = keeper.Keeper(self.played, self.events.append, keeper.BUFFER)

    @property
    def told(self):
        return [event.text for event in self.events]

    @property
    def status(self):
        return self.keeper.input.status(RATE)

    def later(self, seconds):
        self.now += seconds
        self.keeper._watch()
        self.keeper._watch_input()

    def let_through(self):
        self.played.set_volume(0.0)
        self.played.listening.transport.play()
        self.played.listening.transport.play()


@pytest.fixture
def opened(monkeypatch, tmp_path, saltmarsh):
    made = []

    def opened(wanted):
        bench = InputBench(monkeypatch, tmp_path, saltmarsh, wanted)
        made.append(bench)
        bench.keeper._open(None)
        return bench

    yield opened
    for bench in made:
        bench.keeper._release()
        bench.played.close(5.0)


def test_one_device_for_both_is_one_clock_and_nothing_is_resampled(opened):
    bench = opened("mill")
    output, came = bench.sounddevice.streams
    assert (bench.status.name, bench.status.state, bench.status.drift) == ("mill", "waiting", None)
    bench.let_through()
    samples, out = noise(500 * BLOCK).astype(np.float32), []
    for at in range(0, len(samples), BLOCK):
        came.come(samples[at : at + BLOCK])
        out.append(output.ask())
    heard = np.concatenate(out)[-40 * BLOCK :]
    late = 256 + 4 * BLOCK  # of the filters, and of the ring: target rounded up to whole blocks
    places = [
        place
        for place in range(256, late)
        if np.abs(heard[:BLOCK] - samples[-40 * BLOCK - place :][:BLOCK]).max() < 1e-7
    ]
    assert len(places) == 1
    assert np.abs(heard - samples[-40 * BLOCK - places[0] : -places[0]]).max() < 1e-7


def test_two_devices_are_two_streams_and_the_clocks_are_followed(opened):
    bench = opened("ear")
    _, came = bench.sounddevice.streams
    assert came.form["device"] == 2
    assert came.form["channels"] == 1
    assert bench.status.drift == 0.0
    assert bench.status.ours > 256 / RATE + 2 * BLOCK / RATE


def test_an_input_that_ends_is_told_and_opened_again_while_the_output_goes_on(opened):
    bench = opened("ear")
    output, came = bench.sounddevice.streams
    came.end()
    bench.sounddevice.deaf = PortAudioError("no such device")
    bench.later(0.1)
    assert "the input ear is gone; silence is played until it is back" in bench.told
    assert bench.status.state == "lost"
    assert came.closed
    assert not output.closed
    for _ in range(30):
        output.ask()
        bench.later(0.1)
    assert len([text for text in bench.told if "ear" in text]) == 1  # told once
    bench.sounddevice.deaf = None
    output.ask()
    bench.later(1.0)
    assert "the input ear is back" in bench.told
    assert bench.status.state == "waiting"
    assert len(bench.sounddevice.streams) == 3
    assert not output.closed


def test_an_input_that_is_back_comes_up_slowly(opened):
    """Somebody may have plugged in something else."""
    bench = opened("mill")
    output, came = bench.sounddevice.streams
    bench.let_through()
    steady = np.full((BLOCK, 2), 0.5, np.float32)
    for _ in range(500):
        came.come(steady)
        heard = output.ask()
    assert heard == pytest.approx(0.5)
    came.end()
    bench.later(0.1)
    while output.ask().any():
        pass
    bench.later(1.1)
    came = bench.sounddevice.streams[-1]
    levels = []
    for _ in range(60):
        came.come(steady)
        levels.append(float(output.ask().max()))
    assert 0.0 < max(levels) < 0.2


def test_an_input_that_gives_nothing_is_told(opened):
    bench = opened("ear")
    output, came = bench.sounddevice.streams
    came.come(np.zeros((BLOCK, 1), np.float32))
    bench.later(0.1)
    output.ask()
    bench.later(1.0)
    assert "the input ear gives no sound; silence is played until it does" in bench.told
    came.come(np.zeros((BLOCK, 1), np.float32))
    output.ask()
    bench.later(0.1)
    assert "the input ear is back" in bench.told


def test_an_input_that_is_not_there_is_told_with_those_that_are(opened):
    bench = opened("loft")
    bench.later(0.1)
    told = next(text for text in bench.told if "loft" in text)
    assert told == (
        "input device 'loft' is not there; right is one of 0 mill, 2 ear; silence is played until it "
        "is back"
    )
    assert bench.keeper.state == "running"


def test_another_output_asks_again(opened):
    bench = opened("ear")
    bench.let_through()
    assert bench.told.count(QUESTION) == 1
    bench.keeper._open("pond")
    assert bench.status.state == "waiting"
    bench.let_through()
    assert bench.told.count(QUESTION) == 2


def test_a_large_drift_is_told(opened):
    bench = opened("ear")
    output, came = bench.sounddevice.streams
    came.come(np.zeros((BLOCK, 1), np.float32))
    bench.played.listening.transport._loop.drift = 180e-6
    came.come(np.zeros((BLOCK, 1), np.float32))
    output.ask()
    bench.later(121.0)
    assert any(
        text == "the clocks of input and output differ by 180 parts in a million, which is a lot; "
        "it is followed"
        for text in bench.told
    )


def test_a_gap_of_the_input_is_told_once_in_five_seconds(opened):
    bench = opened("ear")
    output, came = bench.sounddevice.streams
    for _ in range(8):
        came.come(np.zeros((BLOCK, 1), np.float32))
    for seconds in (0.1, 0.1, 0.1):
        came.come(np.zeros((BLOCK, 1), np.float32))
        output.ask()
        bench.played.listening.transport.starved += 1
        bench.later(seconds)
    gap = "the input ear came too late, so the sound had a gap"
    assert bench.told.count(gap) == 1


def test_a_blind_trial_is_refused(tmp_path, saltmarsh):
    engine = Engine(InputFeed("ear"), [saltmarsh["reel"]], volumes=tmp_path / "v.json")
    with pytest.raises(ValueError, match="never the same twice") as refused:
        engine.load_slots([])
    assert str(refused.value) == NO_TRIAL
    engine.stop()
