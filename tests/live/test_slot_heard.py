"""How long a slot has been heard: its own sound alone, past the fade, once it has left the device."""

import numpy as np
import pytest

from auralize.gains import SOURCE, End
from support.pumped import BLOCK, RATE, Pumped, until, write

PAIR = [End("receiving", "reel"), End("receiving", "bought")]
SECONDS = BLOCK / RATE


@pytest.fixture
def sound(tmp_path, saltmarsh):
    """Half a second of silence, then two of a tone, and two slots."""
    tone = 0.1 * np.sin(2 * np.pi * 440 / RATE * np.arange(2 * RATE))
    samples = np.concatenate([np.zeros(RATE // 2), tone])[:, None]
    pumped = Pumped(write(tmp_path / "tone.wav", samples), saltmarsh)
    pumped.listening.load_slots(PAIR)
    pumped.listening.transport.seek(RATE)
    until(lambda: pumped.listening.transport.primed)
    pumped.measured()  # what becomes known meanwhile moves gains, and such a block does not count
    yield pumped
    pumped.close()


def ask(sound, number):
    """Ask for a slot, and pump until its fade has begun."""
    player = sound.listening.player
    before = player.switches
    sound.listening.hear_slot(number)
    assert sound.listening.slot_heard(0.0) == 0.0
    until(lambda: not player.ready)
    while player.switches == before:
        sound.pump(1)
    assert sound.listening.slot_heard(0.0) == 0.0


@pytest.mark.parametrize("number", [0, 1])
def test_a_slot_is_heard_block_by_block_after_its_fade(sound, number):
    sound.listening.transport.play()
    for asked in (number, number, 1 - number):  # asked for again, it begins again
        ask(sound, asked)
        for blocks in range(1, 20):
            sound.pump(1)
            assert sound.listening.slot_heard(0.0) == pytest.approx(blocks * SECONDS)


def test_what_the_device_still_holds_has_not_been_heard(sound):
    """And has been when as much silence has followed."""
    listening, latency = sound.listening, 4.5 * SECONDS
    listening.transport.play()
    ask(sound, 0)
    sound.pump(8)
    assert listening.slot_heard(latency) == pytest.approx(3 * SECONDS)
    listening.transport.pause()
    sound.pump(1)  # it fades out within this one
    assert listening.slot_heard(latency) == pytest.approx(4 * SECONDS)
    sound.pump(5)
    assert listening.slot_heard(latency) == pytest.approx(9 * SECONDS)
    sound.pump(5)
    assert listening.slot_heard(latency) == pytest.approx(9 * SECONDS)


def test_paused_or_after_the_end_nothing_is_heard(sound):
    listening = sound.listening
    ask(sound, 0)
    sound.pump(10)
    assert listening.slot_heard(0.0) == 0.0
    listening.transport.seek(10 * RATE)
    listening.transport.play()
    sound.pump_until(lambda: listening.status().ended)
    ask(sound, 1)
    sound.pump(10)
    assert listening.slot_heard(0.0) == 0.0
    listening.transport.play()  # and with the press that begins it again, all is as it was
    sound.pump_until(lambda: listening.transport.position >= RATE // 2 + 10 * BLOCK)
    assert 0.0 < listening.slot_heard(0.0) <= 11 * SECONDS


def test_silence_of_the_programme_is_not_heard(sound):
    listening = sound.listening
    listening.transport.seek(0)
    until(lambda: listening.transport.primed)
    listening.transport.play()
    ask(sound, 1)
    sound.pump(30)
    assert listening.slot_heard(0.0) == 0.0


def test_on_a_device_begun_anew_and_openly_nothing_has_been_heard(sound):
    listening = sound.listening
    listening.transport.play()
    ask(sound, 1)
    sound.pump(10)
    listening.soften()
    sound.pump(1)
    assert listening.slot_heard(0.0) == pytest.approx(SECONDS)
    listening.hear(SOURCE)
    assert listening.slot_heard(0.0) == 0.0
    sound.pump(10)
    assert listening.slot_heard(0.0) == 0.0
