"""Several programmes on one engine: gone over to while it plays, each from its place, to the sample."""

import math
import sys
import time

import numpy as np
import pytest

from auralize.audio.stimulus import Noise, Sine, Sweep
from auralize.errors import RequestError
from auralize.gains import LOUDNESS, End
from auralize.live.designer import designed
from auralize.live.engine import Engine
from auralize.live.player import SoftStart, Volume, replay
from auralize.live.sources import ENDLESS, FileFeed, SignalFeed
from auralize.units import amplitude
from support.live_device import FakeSounddevice
from support.live_session import stretched
from support.pumped import BLOCK, RATE, noise, until, write


@pytest.fixture
def sounddevice(monkeypatch):
    found = FakeSounddevice("mill", "pond")
    monkeypatch.setitem(sys.modules, "sounddevice", found)
    return found


@pytest.fixture
def engine(tmp_path, saltmarsh, sounddevice):
    """A stereo file, a mono file at another rate, a tone; with a journal, on a device that waits."""
    stereo = write(tmp_path / "bells.wav", noise(20 * RATE, 2, seed=1))
    mono = write(tmp_path / "gulls.wav", noise(15 * 44_100, 1, seed=2), 44_100)
    found = Engine(
        stereo,
        list(saltmarsh.values()),
        others=[FileFeed(mono), SignalFeed(Sine(997.0))],
        volumes=tmp_path / "v.json",
        journal=True,
    )
    found.start()
    until(lambda: found.status().state == "running")
    yield found
    found.stop()


def played(engine, stream, blocks):
    """So many blocks, each of them read in time."""
    out = []
    for _ in range(blocks):
        for listening in (engine._listening, *engine._played._left.values()):
            transport = listening.transport
            until(lambda t=transport: t._current.blocks or t._current.complete or not t.playing)
        out.append(stream.ask(1))
    return np.concatenate(out)


def gone_over(engine, number, blocks):
    """Change while blocks are asked for, as a device would; what came out."""
    before = engine._listening
    engine.change_programme(number)
    out = []
    while True:
        out.append(blocks(1))
        time.sleep(0.003)
        sounds = engine._played._sounds
        if sounds.listening is not before and sounds.leaving is None:
            return np.concatenate(out)


def replayed(listening, feed):
    """What a listening made of its blocks, from its journal and its programme."""
    blocks = list(replay(listening.player.setup, listening.journal, feed.opened(RATE)))
    two = [np.broadcast_to(block, (BLOCK, 2)) for block in blocks]
    return np.concatenate(two).astype(float)


def test_what_is_heard_is_each_programme_sample_by_sample_and_the_old_one_ringing_out(
    engine, sounddevice
):
    """The device got the sum of what both replays say, the second from where it came in."""
    stream = sounddevice.stream
    engine.hear(End("drop", "reel"))
    engine.play()
    played(engine, stream, 60)
    gone_over(engine, 1, lambda blocks: played(engine, stream, blocks))
    played(engine, stream, 60)
    assert engine.status().programme == 1
    got = np.concatenate(stream.played).astype(float)
    first, second = engine._played._left[0], engine._listening
    one, two = replayed(first, engine.programmes[0]), replayed(second, engine.programmes[1])
    expected = np.zeros_like(got)
    expected[: len(one)] += one
    expected[-len(two) :] += two
    assert np.abs(got[-10 * BLOCK :]).max() > 0.0
    assert not first.transport.playing
    assert got == pytest.approx(expected, abs=1e-7)  # float32, added once


def test_each_programme_keeps_its_own_place_and_loop(engine, sounddevice):
    stream = sounddevice.stream
    engine.seek(1.25)
    engine.loop((1.0, 2.0))
    gone_over(engine, 1, stream.ask)
    assert engine.status().position == 0.0
    assert engine.status().loop is None
    assert engine.status().length == pytest.approx(15.0, abs=1e-4)
    engine.seek(2.0)
    gone_over(engine, 0, stream.ask)
    assert engine.status().position == 1.25
    assert engine.status().loop == (1.0, 2.0)
    gone_over(engine, 1, stream.ask)
    assert engine.status().position == 2.0


def test_all_that_is_wished_goes_along(engine, sounddevice, saltmarsh):
    stream = sounddevice.stream
    engine.hear(End("drop", "bought"))
    engine.set_match(LOUDNESS)
    engine.set_volume(-31.0)
    gone_over(engine, 2, stream.ask)
    status = engine.status()
    assert (status.heard, status.match, status.volume) == (End("drop", "bought"), LOUDNESS, -31.0)
    assert not status.playing
    engine.update_choice(saltmarsh["reel"])
    engine.hear(End("receiving", "reel"))
    gone_over(engine, 0, stream.ask)
    assert engine.status().heard == End("receiving", "reel")


def test_a_programme_that_is_gone_back_to_is_as_soft_as_what_was_heard_and_comes_up(
    engine, sounddevice
):
    stream, first = sounddevice.stream, engine._listening
    stream.ask(5)
    gone_over(engine, 1, stream.ask)
    engine.set_volume(-37.0)
    since = len(first.journal)
    gone_over(engine, 0, stream.ask)
    commands = [command for entry in first.journal[since:] for command in entry.commands]
    assert [c.amplitude for c in commands if isinstance(c, Volume)][-1:] == [amplitude(-37.0)]
    assert any(isinstance(command, SoftStart) for command in commands)


def test_an_edit_made_on_one_programme_is_heard_on_the_others(engine, sounddevice, saltmarsh):
    stream = sounddevice.stream
    gone_over(engine, 1, stream.ask)
    longer = stretched(saltmarsh["reel"], 2.0)
    engine.update_choice(longer)
    gone_over(engine, 0, stream.ask)
    until(lambda: engine.choices["reel"] == longer and not engine.status().editing)
    taps = engine._listening._known.filters["reel"].drop.taps
    assert np.array_equal(taps, designed(longer, RATE).drop.taps)


def test_a_signal_is_measured_and_has_no_end(engine, sounddevice):
    """ITU-R BS.1770: a sine of 997 Hz that peaks at 0 dBFS reads -3.01 LKFS in one front channel."""
    gone_over(engine, 2, sounddevice.stream.ask)
    until(lambda: engine.status().certainty == "measured")
    level = engine._listening._known.source.level
    assert level.loudness == pytest.approx(-20.0, abs=0.05)  # 10 ms of its 5 s come up from silence
    assert level.peak == pytest.approx(10 ** ((-20.0 + 3.01) / 20), rel=1e-3)
    assert engine.status().length == math.inf
    assert engine._listening.transport.length == ENDLESS


def test_a_file_that_is_gone_is_told_and_the_old_programme_goes_on(engine, sounddevice):
    stream = sounddevice.stream
    engine.play()
    played(engine, stream, 5)
    engine.programmes[1].path.unlink()
    engine.events()
    engine.change_programme(1)
    told = []
    until(lambda: told.extend(engine.events()) or told)
    assert [event.kind for event in told] == ["fault"]
    assert "gulls.wav" in told[0].text
    assert told[0].text.endswith("bells.wav goes on")
    assert engine.status().programme == 0
    assert engine.status().playing
    assert np.abs(played(engine, stream, 40)).max() > 0.0


def test_two_channels_for_a_device_of_one_are_refused_in_a_sentence(
    tmp_path, saltmarsh, sounddevice
):
    sounddevice.channels = 1
    mono = write(tmp_path / "gulls.wav", noise(RATE, 1))
    stereo = FileFeed(write(tmp_path / "bells.wav", noise(RATE, 2)))
    engine = Engine(mono, list(saltmarsh.values()), others=[stereo], volumes=tmp_path / "v.json")
    engine.start()
    until(lambda: engine.status().state == "running")
    sounddevice.stream.ask(1)
    engine.events()
    engine.change_programme(1)
    told = []
    until(lambda: told.extend(engine.events()) or told)
    engine.stop()
    assert told[0].text == (
        "bells.wav has two channels and the device one; choose another; gulls.wav goes on"
    )


def test_a_feed_knows_itself_again(tmp_path):
    pink = SignalFeed(Noise("pink"))
    assert pink.fingerprint() == SignalFeed(Noise("pink", -20.0)).fingerprint()
    others = [Noise("pink", -21.0), Noise("white"), Sine(440.0), Sweep(), Sweep(seconds=9.0)]
    prints = {SignalFeed(one).fingerprint() for one in others} | {pink.fingerprint()}
    assert len(prints) == 6
    assert all(len(one) == 64 and set(one) <= set("0123456789abcdef") for one in prints)
    # Fixed here, so that a session on it can be gone on with by later versions.
    assert pink.fingerprint() == "c96532904aa3141ccdfad3c53db62a02948768297b834e8749528a0e4f8efbc7"
    path = write(tmp_path / "bells.wav", noise(100))
    before = FileFeed(path).fingerprint()
    write(path, noise(101))
    assert FileFeed(path).fingerprint() != before


def test_the_spectrum_of_a_signal_is_its_own():
    centres, levels = SignalFeed(Sine(1000.0)).spectrum()
    assert centres[np.argmax(levels)] == 1000.0
    _, pink = SignalFeed(Noise("pink")).spectrum()
    # Transforms are 6 Hz apart: of the third octave of 1 kHz 39 lie in it, of 100 Hz four.
    assert pink[17:] - np.mean(pink[17:]) == pytest.approx(0.0, abs=0.2)


def test_a_tone_that_the_rate_does_not_carry_is_refused_where_it_is_opened():
    with pytest.raises(RequestError, match=r"8000 Hz carries tones below 4 kHz; choose a lower"):
        SignalFeed(Sine(4000.0)).opened(8000)
    assert SignalFeed(Sine(3999.0)).opened(8000).read(0, 10).shape == (10, 1)


def test_a_programme_that_is_known_to_be_much_louder_comes_up_slowly(
    tmp_path, saltmarsh, sounddevice
):
    """By 20 dB: BS.1770 reads as much more of the same noise ten times as large."""
    soft = write(tmp_path / "gulls.wav", 0.1 * noise(20 * RATE))
    loud = FileFeed(write(tmp_path / "bells.wav", noise(20 * RATE)))
    engine = Engine(soft, list(saltmarsh.values()), others=[loud], volumes=tmp_path / "v.json")
    engine.start()
    try:
        until(lambda: engine.status().state == "running")
        stream = sounddevice.stream

        def known(number):
            gone_over(engine, number, stream.ask)
            until(lambda: engine.status().certainty == "measured")
            until(lambda: engine._listening._sounding.now.loudness is not None)
            engine.play()  # until it has come up, unknown as it was at first
            until(lambda: stream.ask(1) is not None and engine.status().rising == 0.0)
            engine.pause()
            stream.ask(5)

        known(1)
        known(0)
        stream.ask(5)
        engine.change_programme(1)
        until(lambda: stream.ask(1) is not None and engine.status().programme == 1)
        until(lambda: stream.ask(1) is not None and engine.status().rising > 0.0)
        assert engine.status().rising == pytest.approx(20.0, abs=0.1)
        gone_over(engine, 0, stream.ask)
        assert engine.status().rising == 0.0
    finally:
        engine.stop()
