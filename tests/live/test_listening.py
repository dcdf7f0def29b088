"""The listening: sessions as their timelines say, edits, slots, and another rate."""

import math
import threading
from dataclasses import replace

import numpy as np
import pytest
import soundfile as sf

from auralize.circuit.solution import ACROSS
from auralize.errors import AuralizeError
from auralize.filters.fir import design_run
from auralize.gains import INSTALLED, LOUDNESS, SOURCE, End
from auralize.live import player
from auralize.live.designer import designed
from auralize.live.played import renewed
from auralize.live.player import Voice, replay
from auralize.live.programme import Programme
from auralize.live.sounding import Sound
from auralize.live.sources import FileFeed
from auralize.rig.reading import load_rig
from auralize.units import amplitude
from support.live_session import RIG, stretched
from support.pumped import BLOCK, RATE, Pumped, noise, settled, until, write
from support.timeline_reference import reference


def heard_like(pumped, taps, gain):
    """Whether what sounds has this filter and this gain."""
    voice = pumped.listening._sounding.now.voice
    return np.array_equal(voice.taps, taps) and voice.gain == pytest.approx(gain)


def test_a_session_is_what_its_timeline_says(pumped, programme, saltmarsh):
    """All kinds of commands; compared with the convolution of whole signals, and replayed."""
    listening = pumped.listening
    listening.transport.play()
    pumped.pump(60)
    random = np.random.default_rng(8)
    for number in range(30):
        signal = ("source", "receiving", "drop")[number % 3]
        end = End(signal, list(saltmarsh)[number // 3 % 3], ACROSS[number % 3])
        pumped.hear(SOURCE if signal == "source" else end)
        pumped.pump(int(random.integers(1, 12)))
        if number == 5:
            listening.set_match(LOUDNESS)
        if number == 8:
            listening.transport.loop(20_000, 40_000)
        if number == 12:
            listening.transport.pause()
        if number == 14:
            listening.transport.play()
        if number == 20:
            listening.transport.seek(1_000)
            listening.set_volume(-6.0)
        if number == 25:
            listening.update_choice(stretched(saltmarsh["reel"], 2.0))
            until(lambda: pumped.events)
    pumped.pump(30)
    samples, _ = sf.read(programme, always_2d=True)
    out = np.concatenate(pumped.outputs)
    setup = listening.player.setup
    assert np.abs(out - reference(setup, listening.journal, samples, BLOCK)).max() < 1e-7
    again = np.concatenate(list(replay(setup, listening.journal, Programme(programme))))
    assert np.array_equal(out, again)
    assert listening.status().switches >= 30
    assert listening.status().starved == 0


def test_source_and_receiving_end_are_aligned(tmp_path, saltmarsh):
    """Over a run of 10 cm into the demo's load, source and receiving end are all but equal."""
    near = stretched(saltmarsh["bought"], 0.1 / 62)
    pumped = Pumped(
        write(tmp_path / "noise.wav", noise(RATE)), {"near": replace(near, name="near")}
    )
    pumped.measured()
    pumped.listening.transport.play()
    pumped.pump(60)
    outs = {}
    for heard in (SOURCE, End("receiving", "near")):
        pumped.listening.transport.seek(9_600)
        settled(pumped.listening.transport)
        pumped.hear(heard)
        pumped.listening.transport.seek(9_600)
        settled(pumped.listening.transport)
        outs[heard.words.split()[0]] = pumped.pump(40)[2 * BLOCK :].astype(float)
    source, receiving = outs["source"][:, 0], outs["receiving"][:, 0]
    place = np.argmax(np.correlate(receiving, source, "full")) - (len(source) - 1)
    assert place == 0
    pumped.close()


def test_an_edit_is_heard_and_of_many_the_last_one_counts(pumped, saltmarsh):
    listening = pumped.listening
    listening.transport.play()
    pumped.hear(End("drop", "reel"))
    lengths = [1.1, 1.3, 1.7, 2.5]
    for factor in lengths:
        listening.update_choice(stretched(saltmarsh["reel"], factor))
    before = listening.player.switches
    until(lambda: not listening.status().editing)
    pumped.pump_until(lambda: listening.player.switches > before)
    wanted = design_run(stretched(saltmarsh["reel"], 2.5).network, "stage", RATE).drop.taps
    pumped.pump_until(lambda: np.array_equal(listening._sounding.now.voice.taps, wanted))
    assert len(pumped.events) < len(lengths) + 1
    assert listening.wanted.choices["reel"].network.runs["pond"].length == pytest.approx(155.0)


def test_an_edit_gets_its_gains_at_once_and_has_them_measured_later(measured, saltmarsh):
    listening = measured.listening
    listening.set_match(LOUDNESS)
    old = listening.gains(End("receiving", "reel")).match
    longer = stretched(saltmarsh["reel"], 3.0)
    listening.update_choice(longer)
    until(lambda: measured.events)
    soon = listening.gains(End("receiving", "reel")).match
    assert soon > old + 1.0
    measured.measured()
    later = listening.gains(End("receiving", "reel")).match
    assert soon == pytest.approx(later, abs=0.05)


def test_an_edit_that_cannot_be_solved_changes_nothing_but_is_told(pumped, saltmarsh):
    before = pumped.listening._known.filters["reel"]
    pumped.listening.update_choice(replace(saltmarsh["reel"], listen="nowhere"))
    until(lambda: pumped.events)
    assert "reel stays as it was" in pumped.events[0].text
    assert pumped.listening._known.filters["reel"] is before
    assert pumped.listening.wanted.choices["reel"] is saltmarsh["reel"]


@pytest.fixture
def little_room(monkeypatch):
    """For shorter filters than there mostly is, so that it has to be made."""
    monkeypatch.setattr(player, "LEAST_BLOCKS", 8)


def test_an_edit_to_a_longer_filter_finds_room(little_room, pumped):
    """Semi-inductance needs more taps than all choices before."""
    bell = load_rig(RIG.with_name("lobby.toml")).choices["bell"]
    assert pumped.listening.player.taps == 4096
    pumped.listening.transport.play()
    pumped.listening.update_choice(bell)
    pumped.pump_until(
        lambda: pumped.listening.player.taps == 16_384 and pumped.listening.player.ready
    )
    pumped.hear(End("drop", "bell"))
    wanted = design_run(bell.network, "lobby", RATE).drop
    assert wanted.error < -100.0
    assert pumped.listening.status().filter_error == wanted.error
    assert np.array_equal(pumped.listening._sounding.now.voice.taps, wanted.taps)


def test_slots_are_frozen_alike_in_timing_and_tell_nothing(measured, saltmarsh):
    listening = measured.listening
    listening.set_match(LOUDNESS)
    listening.transport.play()
    measured.pump(60)
    pair = [End("receiving", "reel"), End("receiving", "bought")]
    listening.load_slots(pair)
    frozen = [(s.voice.taps, s.voice.gain) for s in listening._slots.loaded]
    listening.update_choice(stretched(saltmarsh["reel"], 3.0))
    until(lambda: measured.events)
    measured.measured()
    listening.set_match(INSTALLED)
    statuses = []
    for slot in (0, 1, 1, 0, 0):  # also to itself: every call is a cross-fade
        before = listening.player.switches
        listening.hear_slot(slot)
        measured.pump_until(lambda before=before: listening.player.switches > before)
        measured.pump(3)
        assert listening.player.switches == before + 1
        assert heard_like(measured, *frozen[slot])
        statuses.append(listening.status())
    shown = {
        replace(s, slot=None, position=0.0, switches=0, certainty="measured") for s in statuses
    }
    assert len(shown) == 1
    assert statuses[0].peak_dbfs == statuses[0].rms_dbfs == -math.inf
    assert statuses[0].heard == SOURCE  # as last heard openly
    measured.hear(End("receiving", "bought"))
    assert listening.status().slot is None
    assert listening.status().peak_dbfs > -100.0


def heard_from(pumped, heard, frame):
    """What this sounds like from a place on, once all 8 blocks of its filter are full of that."""
    transport = pumped.listening.transport
    pumped.hear(heard)
    transport.seek(frame)
    settled(transport)
    return pumped.pump(40)[12 * BLOCK :].astype(float)


def test_the_drop_over_one_conductor_is_half_of_that_over_both(measured):
    listening = measured.listening
    listening.set_makeup(6.0)  # the same for both; chosen, it would make up for the half
    listening.transport.play()
    measured.pump(60)
    both = heard_from(measured, End("drop", "reel"), 9_600)
    one = heard_from(measured, End("drop", "reel", "plus"), 9_600)
    assert np.abs(both).max() > 1e-3
    assert np.abs(one - 0.5 * both).max() < 1e-6 * np.abs(both).max()


def test_a_drop_too_quiet_to_have_a_loudness_cannot_be_made_equally_loud(tmp_path, saltmarsh):
    """ITU-R BS.1770: blocks under -70 LUFS do not count, not even made up as far as a drop can be."""
    near = replace(stretched(saltmarsh["reel"], 1e-5), name="near")
    pumped = Pumped(
        write(tmp_path / "noise.wav", noise(RATE)), {"reel": saltmarsh["reel"], "near": near}
    )
    pumped.measured()
    pair = [End("drop", "reel"), End("drop", "near")]
    with pytest.raises(AuralizeError, match="too quiet to have a loudness, so it"):
        pumped.listening.load_slots(pair, equal=True)
    assert not pumped.listening._slots.loaded
    gains = pumped.listening.load_slots([End("receiving", one.choice) for one in pair], equal=True)
    assert all(math.isfinite(gain) for gain in gains)
    pumped.close()


def test_room_is_found_for_a_slot_whose_filter_is_longer_than_all_that_are_left(
    little_room, pumped, saltmarsh
):
    """A switch under way holds room back until the choice has been edited to a short filter again."""
    listening = pumped.listening
    bell = load_rig(RIG.with_name("lobby.toml")).choices["bell"]
    listening.transport.play()
    listening.hear(End("drop", "reel"))
    until(lambda: not listening.player.ready)
    listening.update_choice(bell)
    until(lambda: len(pumped.events) == 1)
    listening.load_slots([End("drop", "bell")])
    listening.update_choice(replace(saltmarsh["reel"], name="bell"))
    until(lambda: len(pumped.events) == 2)
    slot = listening._slots.loaded[0].voice
    assert len(slot.taps) > listening.player.taps >= len(listening._known.filters["bell"].drop.taps)
    listening.hear_slot(0)
    pumped.pump_until(lambda: heard_like(pumped, slot.taps, slot.gain))


def test_the_limiter_is_not_shown_while_a_slot_is_heard(pumped):
    listening = pumped.listening
    listening.load_slots([End("receiving", "reel")])
    listening.player._limiter.gain = 0.5
    assert listening.status().limiting
    listening.hear_slot(0)
    assert not listening.status().limiting
    listening.hear(End("receiving", "reel"))
    assert listening.status().limiting


def test_what_is_not_there_is_refused(pumped):
    with pytest.raises(AuralizeError, match="right is one of reel, bought, beams"):
        pumped.listening.hear(End("drop", "gold"))
    with pytest.raises(AuralizeError, match="slot 0 was asked for; 0 are loaded"):
        pumped.listening.hear_slot(0)


def test_volume_has_a_top(pumped):
    pumped.listening.set_volume(20.0)
    assert pumped.listening.status().volume == 0.0
    pumped.listening.set_volume(-200.0)
    assert pumped.listening.status().volume == -60.0


def test_another_rate_keeps_the_place_the_loop_and_the_wishes(pumped, programme):
    listening = pumped.listening
    listening.set_match(LOUDNESS)
    listening.transport.loop(RATE // 2, RATE)
    listening.transport.seek(RATE)
    listening.transport.play()
    pumped.hear(End("drop", "beams", "minus"))
    position = listening.status().position
    new = renewed(listening, 44_100, FileFeed(programme))
    status = new.status()
    assert status.position == pytest.approx(position, abs=1 / 44_100)
    assert status.loop == pytest.approx((0.5, 1.0))
    assert status.playing
    assert (status.heard, status.match) == (End("drop", "beams", "minus"), LOUDNESS)
    assert new.rate == 44_100
    pumped.listening = new


def test_another_rate_keeps_the_slots_their_gains_and_the_one_that_is_heard(measured, programme):
    listening = measured.listening
    listening.set_match(LOUDNESS)
    pair = [End("receiving", "reel"), End("drop", "bought")]
    gains = listening.load_slots(pair, equal=True)
    listening.hear_slot(1)
    listening.set_match(INSTALLED)
    listening.transport.play()
    new = renewed(listening, 44_100, FileFeed(programme))
    measured.listening = new
    assert new.status().slot == 1
    filters = [design_run(new.wanted.choices[one.choice].network, "stage", 44_100) for one in pair]
    taps = [filters[0].receiving.taps, filters[1].drop.taps]
    for slot in (1, 0):
        if slot == 0:
            new.hear_slot(0)
        measured.pump_until(
            lambda slot=slot: heard_like(measured, taps[slot], amplitude(gains[slot]))
        )


def test_another_rate_does_not_let_an_edit_into_a_slot(measured, programme):
    listening = measured.listening
    before = listening.wanted.choices["reel"]
    listening.load_slots([End("receiving", "reel"), End("receiving", "bought")])
    listening.hear_slot(0)
    listening.update_choice(stretched(before, 3.0))
    until(lambda: listening.wanted.choices["reel"] is not before)
    listening.transport.play()
    new = renewed(listening, 44_100, FileFeed(programme))
    measured.listening = new
    taps = design_run(before.network, "stage", 44_100).receiving.taps
    assert np.array_equal(new._slots.loaded[0].voice.taps, taps)


def test_drops_over_one_conductor_and_over_both_can_be_made_equally_loud(measured):
    """Over one it is half: 6.02 dB less before, and as much more gain."""
    one, both = measured.listening.load_slots(
        [End("drop", "reel", "plus"), End("drop", "reel")], equal=True
    )
    heard = [slot.voice.gain for slot in measured.listening._slots.loaded]
    assert heard[0] == pytest.approx(2.0 * heard[1])  # of a filter with half the taps
    assert one - both == pytest.approx(20 * np.log10(2.0))


def test_an_edit_that_is_being_designed_is_heard_at_another_rate(
    pumped, programme, saltmarsh, monkeypatch
):
    """It is neither waiting nor made when the old listening closes."""
    old, release = pumped.listening, threading.Event()
    close = old.close

    def slow(choice, rate):
        assert release.wait(20.0)
        return designed(choice, rate)

    def close_then_release():
        close()
        threading.Timer(0.1, release.set).start()

    monkeypatch.setattr("auralize.live.designer.designed", slow)
    monkeypatch.setattr(old, "close", close_then_release)
    longer = stretched(saltmarsh["reel"], 2.0)
    old.hear(End("receiving", "reel"))
    old.update_choice(longer)
    until(lambda: old.designer._designing)
    new = renewed(old, 44_100, FileFeed(programme))
    pumped.listening = new
    wanted = design_run(longer.network, "stage", 44_100).receiving.taps
    new.transport.play()
    pumped.pump_until(lambda: np.array_equal(new._sounding.now.voice.taps, wanted))


def test_an_edit_that_waits_for_another_is_heard_at_another_rate(
    pumped, programme, saltmarsh, monkeypatch
):
    old = pumped.listening
    monkeypatch.setattr(old.designer._wake, "set", lambda: None)  # the designer sleeps on
    longer = stretched(saltmarsh["reel"], 2.0)
    old.update_choice(longer)
    monkeypatch.undo()
    new = renewed(old, 44_100, FileFeed(programme))
    pumped.listening = new
    wanted = design_run(longer.network, "stage", 44_100).receiving.taps
    until(lambda: np.array_equal(new._known.filters["reel"].receiving.taps, wanted))


def test_all_threads_end(programme, saltmarsh):
    before = set(threading.enumerate())
    pumped = Pumped(programme, saltmarsh)
    own = set(threading.enumerate()) - before
    names = {thread.name for thread in own if not thread.name.startswith("measuring")}
    assert names == {"sounding", "designer", "measurer", "analysis", "reader"}
    pumped.close()
    until(lambda: not any(thread.is_alive() for thread in own))


def test_a_change_of_gain_that_nobody_hears_is_no_cross_fade():
    """Under 0.001 dB; but every wish is one, and so is another filter of the same taps."""
    taps = np.ones(3)
    now = Sound(Voice(taps, 0.5), 7)
    for change, alike in ((0.0005, True), (-0.0005, True), (0.002, False), (-0.002, False)):
        assert Sound(Voice(taps, 0.5 * amplitude(change)), 7).like(now) == alike
    assert not Sound(Voice(taps, 0.5), 8).like(now)
    assert not Sound(Voice(taps.copy(), 0.5), 7).like(now)
