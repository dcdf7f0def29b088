"""The keeper of the device, on a stand-in for PortAudio and by the clock of the test; without its thread."""

import atexit
import threading
from types import SimpleNamespace

import numpy as np
import pytest

from auralize.live import device, keeper, opening
from auralize.live.keeper import Keeper
from support.live_device import FakeSounddevice, PortAudioError
from support.pumped import BLOCK, RATE, until


class Played:
    """Something to be played: ones, and what was asked of it."""

    file_rate = RATE
    feed = None

    def __init__(self, channels=2):
        self.began, self.hushed, self.error, self.level = [], 0, None, 1.0
        self.listening = SimpleNamespace(
            channels=channels,
            player=SimpleNamespace(block=BLOCK),
            render=self.render,
            hush=self.hush,
        )

    def begin(self, name, rate):
        self.began.append((name, rate))
        return self.listening

    def look(self):
        pass

    def hush(self):
        self.hushed += 1

    def render(self, out):
        if self.error is not None:
            raise self.error
        out.fill(self.level)


class Bench:
    """A keeper that looks when the test says so."""

    def __init__(self, monkeypatch, played=None, **form):
        self.sounddevice = FakeSounddevice("mill", "pond", **form)
        monkeypatch.setitem(device.sys.modules, device.SOUNDDEVICE, self.sounddevice)
        self.now, self.slept, self.events = 100.0, [], []
        clock = SimpleNamespace(monotonic=lambda: self.now, sleep=self.slept.append)
        monkeypatch.setattr(keeper, "time", clock)
        self.played = played or Played()
        self.keeper = Keeper(self.played, self.events.append, keeper.BUFFER)

    def open(self, wanted=None):
        self.keeper._open(wanted)
        return self.sounddevice.stream if self.sounddevice.streams else None

    def later(self, seconds, blocks=0, underflow=False):
        """After some time in which the device asked for blocks, look; ``underflow``: amid sound."""
        self.now += seconds
        if underflow:
            self.sounddevice.stream.ask()
        if blocks:
            self.sounddevice.stream.ask(blocks, underflow)
        self.keeper._watch()

    @property
    def told(self):
        return [(event.kind, event.text) for event in self.events]


@pytest.fixture
def bench(monkeypatch):
    return Bench(monkeypatch)


def test_the_default_device_is_opened_with_float32_and_the_first_buffer(bench):
    stream = bench.open()
    asked = {k: v for k, v in stream.form.items() if "callback" not in k}
    assert asked == {
        "samplerate": RATE,
        "blocksize": BLOCK,
        "device": 0,
        "channels": 2,
        "dtype": "float32",
        "latency": 0.045,
    }
    assert stream.started
    assert bench.keeper.state == "running"
    assert bench.keeper.latency == pytest.approx(0.055)
    assert [d.name for d in bench.keeper.devices] == ["mill", "pond"]  # and not the microphone
    assert bench.told == [("device", "playing on mill at 48000 Hz")]
    assert np.all(stream.ask() == 1.0)


def test_devices_are_looked_for_anew_whenever_one_is_opened(bench):
    bench.open()
    assert bench.sounddevice.calls == ["terminate", "initialize"]
    bench.sounddevice.names.append("loft")
    bench.open("loft")
    assert bench.sounddevice.calls == 2 * ["terminate", "initialize"]
    assert bench.keeper.device.name == "loft"


def test_a_device_is_left_with_a_fade(bench):
    first = bench.open()
    assert bench.played.hushed == 0
    bench.open("pond")
    assert bench.played.hushed == 1
    assert bench.slept == [pytest.approx(first.latency + 3 * BLOCK / RATE)]
    assert first.aborted
    assert first.closed
    assert not first.ask().any()  # whatever becomes of it
    assert bench.played.began == [("mill", RATE), ("pond", RATE)]
    assert bench.keeper.state == "running"


def test_the_next_device_comes_round(bench):
    bench.open()
    for name in ("pond", "mill", "pond"):
        bench.keeper._open_next()
        assert bench.keeper.device.name == name
    bench.sounddevice.names[:] = ["loft"]
    bench.keeper._open_next()
    assert bench.keeper.state == "lost"
    bench.keeper._open_next()
    assert bench.keeper.device.name == "loft"


def test_a_device_that_stops_asking_is_told_once_and_so_is_its_return(bench):
    bench.open()
    bench.later(0.1, blocks=1)
    bench.later(0.69)
    assert bench.keeper.state == "running"
    bench.later(0.02)
    assert bench.keeper.state == "silent"
    bench.later(5.0)
    bench.later(5.0, blocks=1, underflow=True)  # what it tells of then has been told
    assert bench.keeper.state == "running"
    bench.later(0.1, blocks=1)
    assert bench.told[1:] == [
        (
            "fault",
            "mill has stopped taking sound; playing goes on when it takes it again, or choose another "
            "device",
        ),
        ("device", "mill takes sound again"),
    ]
    assert len(bench.sounddevice.streams) == 1


@pytest.mark.parametrize("how", ["ended", "fault"])
def test_a_lost_device_is_opened_again_after_a_second(bench, how):
    first = bench.open()
    if how == "ended":
        first.end()
        bench.later(0.1)
    else:
        bench.played.error = ValueError("no")
        assert not first.ask().any()
        bench.played.error = None
        bench.later(0.1, blocks=1)
        assert not first.played[-1].any()  # silent until it is opened again
    assert first.closed
    assert bench.keeper.state == "lost"
    assert bench.played.hushed == 0
    reason = {"ended": "mill is gone", "fault": "a fault in making sound (ValueError('no'))"}[how]
    again = f"{reason}; playing goes on when it is back, or choose another device"
    assert bench.told[1:] == [("fault", again)]
    bench.later(0.99)
    assert len(bench.sounddevice.streams) == 1
    bench.later(0.02)
    assert len(bench.sounddevice.streams) == 2
    assert bench.keeper.state == "running"
    assert bench.told[2:] == [("device", "playing on mill at 48000 Hz")]


def test_what_does_not_open_is_told_once_and_tried_every_second(bench):
    bench.sounddevice.refuses = PortAudioError("Device unavailable")
    bench.open()
    for _ in range(3):
        bench.later(1.01)
    assert bench.told == [
        ("fault", "the device does not open (Device unavailable); choose another one")
    ]
    assert bench.keeper.state == "lost"
    bench.sounddevice.refuses = None
    bench.later(0.9)
    assert bench.keeper.state == "lost"
    bench.later(0.2)
    assert bench.keeper.state == "running"


def test_without_portaudio_nothing_is_tried_again(bench, monkeypatch):
    tried = []

    def missing():
        tried.append(1)
        raise device.MissingError("PortAudio is missing")

    monkeypatch.setattr(device, "_portaudio", missing)
    bench.open()
    bench.later(1e6)
    assert len(tried) == 1
    assert bench.told == [("fault", "PortAudio is missing")]


def test_a_device_of_one_channel_is_refused_for_two_and_taken_for_one(monkeypatch):
    bench = Bench(monkeypatch, channels=1)
    assert bench.open() is None
    assert bench.told == [("fault", "mill has one channel and the programme two; choose another")]
    bench = Bench(monkeypatch, played=Played(channels=1), channels=1)
    assert bench.open().form["channels"] == 1


def test_no_more_than_two_outputs_are_played_to_and_at_the_rate_of_the_device(monkeypatch):
    bench = Bench(monkeypatch, channels=8, rates=(44_100,))
    form = bench.open().form
    assert (form["channels"], form["samplerate"]) == (2, 44_100)
    assert bench.played.began == [("mill", 44_100)]
    assert bench.told == [("device", "playing on mill at 44100 Hz")]


def test_next_after_a_device_that_is_not_there_is_the_first(bench):
    assert bench.open("loft") is None
    bench.keeper._open_next()
    assert bench.keeper.device.name == "mill"


def test_a_choice_of_the_same_device_is_told_again(bench):
    bench.open()
    bench.open()
    assert bench.told == 2 * [("device", "playing on mill at 48000 Hz")]


def test_a_silent_device_is_left_without_a_fade(bench):
    bench.open()
    bench.later(0.1, blocks=1)
    bench.later(1.0)
    bench.open("pond")
    assert bench.played.hushed == 0
    assert bench.slept == []


# ---- gaps


def test_a_gap_doubles_the_buffer_up_to_the_cap_and_is_told_once_in_5_s(bench):
    first = bench.open()
    bench.later(0.1, blocks=1)
    bench.later(0.1, blocks=1, underflow=True)
    second = bench.sounddevice.stream
    assert first.closed
    assert second.form["latency"] == pytest.approx(0.09)
    bench.later(4.0, blocks=1, underflow=True)
    bench.later(0.9, blocks=3, underflow=True)  # 4.9 s after the first: nothing yet
    assert bench.sounddevice.stream is second
    bench.later(0.2, blocks=1)  # what has been since is one event, and one step
    third = bench.sounddevice.stream
    assert third.form["latency"] == pytest.approx(0.18)
    bench.later(6.0, blocks=1, underflow=True)  # 0.36 s would be more than 0.2
    bench.later(1.0, blocks=1, underflow=True)
    bench.later(5.0, blocks=1)
    assert bench.sounddevice.stream is third
    assert [text for kind, text in bench.told if kind == "underrun"] == [
        "the sound had a gap; 90 ms are kept ready from now on, so keys act that much later",
        "the sound had a gap; 180 ms are kept ready from now on, so keys act that much later",
        "the sound had a gap: the machine is too busy; end what is not needed",
        "the sound had a gap: the machine is too busy; end what is not needed",
    ]
    assert bench.keeper.underruns == 7  # of all streams together
    assert bench.keeper.state == "running"


def test_a_gap_in_silence_is_none(bench):
    """At the very start, while paused, after the end: nothing is told, and no more kept ready."""
    stream = bench.open()
    stream.ask(1, underflow=True)
    bench.later(0.1, blocks=1)
    bench.played.level = 0.0
    stream.ask(1)
    for _ in range(5):
        stream.ask(1, underflow=True)
        bench.later(6.0, blocks=1)
    bench.played.level = 1.0
    stream.ask(1, underflow=True)  # before the first block with sound
    bench.later(6.0, blocks=1)
    assert bench.keeper.underruns == 0
    assert bench.sounddevice.stream is stream
    assert [kind for kind, _ in bench.told] == ["device"]
    stream.ask(1, underflow=True)
    assert bench.keeper.underruns == 1


def test_gaps_are_counted_anew_on_each_stream(bench):
    bench.open()
    for streams in (2, 3):
        bench.later(6.0, blocks=1, underflow=True)
        assert len(bench.sounddevice.streams) == streams


def test_the_buffer_grown_stays_for_other_devices(bench):
    bench.open()
    bench.later(0.1, blocks=1, underflow=True)
    assert bench.open("pond").form["latency"] == pytest.approx(0.09)


# ---- calls that do not return


@pytest.fixture
def gate():
    """Opens at the end, so that no thread is left."""
    gate = threading.Event()
    yield gate
    gate.set()


def test_a_server_that_does_not_answer_is_told_and_its_late_stream_closed(bench, monkeypatch, gate):
    monkeypatch.setattr(opening, "OPEN_LIMIT", 0.02)
    make = bench.sounddevice.OutputStream

    def slow(**form):
        gate.wait()
        return make(**form)

    monkeypatch.setattr(bench.sounddevice, "OutputStream", slow)
    assert bench.open() is None
    assert bench.told == [
        (
            "fault",
            "the sound server does not answer; start it again, or choose another device",
        )
    ]
    assert bench.keeper.state == "lost"
    asked = len(bench.sounddevice.calls)
    bench.later(1.01)
    assert len(bench.sounddevice.calls) == asked  # not before the first attempt has ended
    gate.set()
    until(lambda: bench.sounddevice.streams and bench.sounddevice.stream.closed)
    until(lambda: not bench.keeper._opener.busy)
    bench.later(1.01)
    assert bench.keeper.state == "running"
    assert len(bench.sounddevice.streams) == 2


@pytest.mark.parametrize("stuck", [True, False])
def test_a_stream_that_does_not_close_is_left_behind_and_portaudio_let_be(
    bench, monkeypatch, gate, stuck
):
    """PortAudio is not started anew under it, nor ended at exit."""
    monkeypatch.setattr(opening, "CLOSE_LIMIT", 0.02)
    unregistered = []
    monkeypatch.setattr(atexit, "unregister", unregistered.append)
    stream = bench.open()
    if stuck:
        monkeypatch.setattr(stream, "abort", gate.wait)
    asked = len(bench.sounddevice.calls)
    bench.open("pond")
    assert bench.keeper.state == "running"
    assert (len(bench.sounddevice.calls) == asked) == stuck
    bench.keeper._opener.leave()
    assert unregistered == ([bench.sounddevice._exit_handler] if stuck else [])


def test_a_stream_that_fails_to_close_is_gone_all_the_same(bench, monkeypatch):
    stream = bench.open()

    def fails():
        raise PortAudioError("no such stream")

    monkeypatch.setattr(stream, "abort", fails)
    bench.open("pond")
    assert bench.keeper.state == "running"


def test_a_stream_that_does_not_start_is_closed(bench, monkeypatch):
    def fails(self):
        raise PortAudioError("busy")

    monkeypatch.setattr("support.live_device.FakeStream.start", fails)
    stream = bench.open()
    assert stream.closed
    assert bench.told == [("fault", "the device does not open (busy); choose another one")]
