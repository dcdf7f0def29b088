"""The engine on a stand-in for PortAudio: how it comes up, at which volume, and what it leaves behind."""

import gc
import json
import math
import sys

import numpy as np
import pytest

from auralize.live import device
from auralize.live.engine import Engine
from auralize.units import amplitude
from support.live_device import FakeSounddevice
from support.pumped import BLOCK, RATE, until, write

SOFT_START = 0.5
"""s that coming up takes."""
UP = round(SOFT_START * RATE / BLOCK)
"""The same in blocks."""
CONSTANT = 0.25


@pytest.fixture
def sounddevice(monkeypatch):
    fake = FakeSounddevice("mill", "pond", rates=(RATE, 44_100))
    monkeypatch.setitem(sys.modules, device.SOUNDDEVICE, fake)
    return fake


@pytest.fixture
def start(tmp_path, saltmarsh, sounddevice):
    """Engines that play a constant, so that what is heard is the volume itself.

    It is low enough to need no headroom, which would come in when the programme has been measured.
    """
    ones = write(tmp_path / "ones.wav", np.full((10 * RATE, 1), CONSTANT))
    volumes, started = tmp_path / "volumes.json", []

    def start(known=None, name=None):
        if known is not None:
            volumes.write_text(json.dumps(known))
        engine = Engine(ones, list(saltmarsh.values()), volumes=volumes)
        started.append(engine)
        engine.start(name)
        until(lambda: engine.status().state == "running")
        return engine

    start.volumes = volumes
    yield start
    for engine in started:
        engine.stop()


def moved(engine, sounddevice, name):
    """Play on another device; its stream."""
    before = len(sounddevice.streams)
    engine.start(name)
    until(lambda: engine.status().device == name and len(sounddevice.streams) > before)
    until(lambda: engine.status().state == "running")
    return sounddevice.stream


def sounded(engine, stream, blocks=UP):
    """So many blocks, as fast as the disk allows: the volume, frame by frame."""
    level = []
    for _ in range(blocks):
        until(lambda: engine._listening.transport._current.blocks)
        level.append(stream.ask()[:, 0] / CONSTANT)
    return np.concatenate(level).astype(float)


def played(engine, stream):
    """The same from where it comes up; no filter but a delay, no match."""
    engine.play()
    until(lambda: engine._listening.transport.primed)
    return sounded(engine, stream)


def test_what_is_heard_first_is_all_but_silent_and_comes_up_in_half_a_second(start, sounddevice):
    engine = start()
    level = played(engine, sounddevice.stream)
    top = amplitude(-20.0)
    assert np.abs(level[:BLOCK]).max() <= top / UP * (1 + 1e-6)
    assert np.all(np.diff(level) > -1e-6 * top)
    # Straight: at the end of block n it is n / UP of what it will be. The delay of all filters is the
    # only other thing: it takes a few frames before the ones arrive.
    ends = level[BLOCK - 1 :: BLOCK]
    assert ends == pytest.approx(top * np.arange(1, UP + 1) / UP, rel=1e-6)
    assert level[-BLOCK - 1] < top * (1 - 0.5 / UP)
    assert sounded(engine, sounddevice.stream, 5) == pytest.approx(top, rel=1e-6)


@pytest.mark.parametrize(
    ("known", "volume"),
    [({}, -20.0), ({"mill": -31.0}, -31.0), ({"mill": -4.0}, -20.0), ({"pond": -31.0}, -20.0)],
)
def test_it_begins_at_20_db_down_or_at_the_last_volume_if_that_is_lower(
    start, sounddevice, known, volume
):
    engine = start(known)
    assert engine.status().volume == volume
    level = played(engine, sounddevice.stream)
    assert level[-1] == pytest.approx(amplitude(volume), rel=1e-6)
    assert level.max() <= amplitude(volume) * (1 + 1e-6)


@pytest.mark.parametrize(
    ("known", "volume"), [({}, -20.0), ({"pond": -33.0}, -33.0), ({"pond": -3.0}, -20.0)]
)
def test_another_device_comes_up_as_softly_and_quietly(start, sounddevice, known, volume):
    engine = start(known)
    played(engine, sounddevice.stream)
    engine.set_volume(-2.0)
    sounded(engine, sounddevice.stream, 3)
    stream = moved(engine, sounddevice, "pond")
    assert engine.status().volume == volume
    level, top = sounded(engine, stream), amplitude(volume)
    assert np.abs(level[:BLOCK]).max() <= top / UP * (1 + 1e-6)
    assert np.all(np.diff(level) > -1e-6 * top)
    assert level[BLOCK - 1 :: BLOCK] == pytest.approx(top * np.arange(1, UP + 1) / UP, rel=1e-6)
    # Back to the one that was turned up in this session: as loud as that, but softly.
    level = sounded(engine, moved(engine, sounddevice, "mill"))
    assert np.abs(level[:BLOCK]).max() <= amplitude(-2.0) / UP * (1 + 1e-6)
    assert level[-1] > amplitude(-2.0) * 0.99


def test_a_gap_makes_the_device_come_up_softly_too_at_the_volume_chosen(start, sounddevice):
    engine = start()
    played(engine, sounddevice.stream)
    engine.set_volume(-10.0)
    first = sounddevice.stream
    first.ask(3, underflow=True)
    until(lambda: sounddevice.stream is not first)
    until(lambda: engine.status().state == "running")
    level = sounded(engine, sounddevice.stream)
    assert np.abs(level[:BLOCK]).max() <= amplitude(-10.0) / UP * (1 + 1e-6)
    assert level[-1] == pytest.approx(amplitude(-10.0), rel=1e-6)
    assert engine.status().underruns >= 3


def test_a_volume_is_kept_for_its_device_and_written_while_playing(start, sounddevice):
    engine = start()
    engine.set_volume(-12.5)
    until(start.volumes.exists)
    assert json.loads(start.volumes.read_text()) == {"mill": -12.5}
    engine.set_volume(+6.0)
    assert engine.status().volume == 0.0
    engine.stop()
    assert json.loads(start.volumes.read_text()) == {"mill": 0.0}


def test_a_volume_set_before_there_is_a_device_is_not_kept(tmp_path, saltmarsh):
    path = write(tmp_path / "ones.wav", np.ones((RATE, 2)))
    engine = Engine(path, list(saltmarsh.values()), volumes=tmp_path / "v.json")
    engine.set_volume(-12.5)
    engine.stop()
    assert not (tmp_path / "v.json").exists()


def test_a_device_of_another_rate_goes_on_at_the_same_place(start, sounddevice):
    engine = start()
    played(engine, sounddevice.stream)
    place = engine.status().position
    sounddevice.rates = (44_100,)
    stream = moved(engine, sounddevice, "pond")
    assert stream.form["samplerate"] == engine.status().rate == 44_100
    assert engine.status().position == pytest.approx(place, abs=0.1)
    assert engine.status().playing
    sounddevice.rates = (RATE,)  # of the file, and not of the device before
    assert moved(engine, sounddevice, "mill").form["samplerate"] == engine.status().rate == RATE


def test_seconds_are_frames_at_the_rate_of_the_programme(start):
    engine = start()
    engine.seek(1.25)
    assert engine.status().position == 1.25
    engine.loop((0.5, 1.5))
    assert engine.status().loop == (0.5, 1.5)
    assert engine._listening.transport.looped == (24_000, 72_000)
    engine.loop(None)
    assert engine.status().loop is None


def test_damage_to_the_programme_is_told_once(tmp_path, saltmarsh, sounddevice):
    bad = np.zeros((2 * RATE, 2))
    bad[20_000] = math.inf
    engine = Engine(
        write(tmp_path / "bad.wav", bad), list(saltmarsh.values()), volumes=tmp_path / "v.json"
    )
    engine.start()
    told = []

    def heard():
        told.extend(event for event in engine.events() if event.kind == "programme")
        return len(told)

    # Once by the thread that reads, once by the one that measures.
    until(lambda: heard() == 2)
    engine.play()
    sounddevice.stream.ask(5)
    engine.stop()
    assert heard() == 2
    assert all("must be a finite number" in event.text for event in told)


def test_stopping_fades_lets_go_and_leaves_the_interpreter_as_it_was(start, sounddevice):
    before, stderr = sys.getswitchinterval(), sys.stderr
    engine = start()
    assert sys.getswitchinterval() == pytest.approx(0.0005)
    assert gc.get_freeze_count() > 0
    engine.stop()
    stream = sounddevice.stream
    assert stream.aborted
    assert stream.closed
    assert sys.getswitchinterval() == before
    assert gc.get_freeze_count() == 0
    assert sys.stderr is stderr
    assert not stream.ask().any()
    engine.stop()  # nothing more to do
    assert engine.status().state == "closed"
