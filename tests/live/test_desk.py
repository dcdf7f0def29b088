"""The desk: sessions as their timelines say, edits, slots, and another rate."""

import math
import threading
from dataclasses import replace

import numpy as np
import pytest
import soundfile as sf

from auralize.errors import AuralizeError
from auralize.filters.fir import design_run
from auralize.gains import INSTALLED, LOUDNESS, SOURCE, End
from auralize.live.listening import renewed
from auralize.live.player import replay
from auralize.live.transport import Programme
from auralize.rig.reading import load_rig
from auralize.units import amplitude
from support.live_session import RIG, stretched
from support.pumped import BLOCK, RATE, Pumped, noise, settled, until, write
from support.timeline_reference import reference


def heard_like(pumped, taps, gain):
    """Whether what sounds has this filter and this gain."""
    voice = pumped.desk._sounding.voice
    return np.array_equal(voice.taps, taps) and voice.gain == pytest.approx(gain)


def test_a_session_is_what_its_timeline_says(pumped, programme, saltmarsh):
    """All kinds of commands; compared with the convolution of whole signals, and replayed."""
    desk = pumped.desk
    desk.transport.play()
    pumped.pump(60)
    random = np.random.default_rng(8)
    for number in range(30):
        signal = ("source", "receiving", "drop")[number % 3]
        end = End(signal, list(saltmarsh)[number // 3 % 3], 1 + number % 2)
        pumped.hear(SOURCE if signal == "source" else end)
        pumped.pump(int(random.integers(1, 12)))
        if number == 5:
            desk.set_match(LOUDNESS)
        if number == 8:
            desk.transport.loop(20_000, 40_000)
        if number == 12:
            desk.transport.pause()
        if number == 14:
            desk.transport.play()
        if number == 20:
            desk.transport.seek(1_000)
            desk.set_volume(-6.0)
        if number == 25:
            desk.update_choice(stretched(saltmarsh["reel"], 2.0))
            until(lambda: pumped.events)
    pumped.pump(30)
    samples, _ = sf.read(programme, always_2d=True)
    out = np.concatenate(pumped.outputs)
    setup = desk.player.setup
    assert np.abs(out - reference(setup, desk.journal, samples, BLOCK)).max() < 1e-7
    again = np.concatenate(list(replay(setup, desk.journal, Programme(programme))))
    assert np.array_equal(out, again)
    assert desk.status().switches >= 30
    assert desk.status().starved == 0


def test_source_and_receiving_end_are_aligned(tmp_path, saltmarsh):
    """Over a run of 10 cm into the demo's load, source and receiving end are all but equal."""
    near = stretched(saltmarsh["bought"], 0.1 / 62)
    pumped = Pumped(
        write(tmp_path / "noise.wav", noise(RATE)), {"near": replace(near, name="near")}
    )
    pumped.measured()
    pumped.desk.transport.play()
    pumped.pump(60)
    outs = {}
    for heard in (SOURCE, End("receiving", "near")):
        pumped.desk.transport.seek(9_600)
        settled(pumped.desk.transport)
        pumped.hear(heard)
        pumped.desk.transport.seek(9_600)
        settled(pumped.desk.transport)
        outs[heard.words.split()[0]] = pumped.pump(40)[2 * BLOCK :].astype(float)
    source, receiving = outs["source"][:, 0], outs["receiving"][:, 0]
    place = np.argmax(np.correlate(receiving, source, "full")) - (len(source) - 1)
    assert place == 0
    pumped.close()


def test_an_edit_is_heard_and_of_many_the_last_one_counts(pumped, saltmarsh):
    desk = pumped.desk
    desk.transport.play()
    pumped.hear(End("drop", "reel"))
    lengths = [1.1, 1.3, 1.7, 2.5]
    for factor in lengths:
        desk.update_choice(stretched(saltmarsh["reel"], factor))
    before = desk.player.switches
    until(lambda: not desk.status().editing)
    pumped.pump_until(lambda: desk.player.switches > before)
    wanted = design_run(stretched(saltmarsh["reel"], 2.5).network, "stage", RATE).drop.taps
    pumped.pump_until(lambda: np.array_equal(desk._sounding.voice.taps, wanted))
    assert len(pumped.events) < len(lengths) + 1
    assert desk.wishes.choices["reel"].network.runs["pond"].length == pytest.approx(155.0)


def test_an_edit_gets_its_gains_at_once_and_has_them_measured_later(measured, saltmarsh):
    desk = measured.desk
    desk.set_match(LOUDNESS)
    old = desk.gains(End("receiving", "reel")).match
    longer = stretched(saltmarsh["reel"], 3.0)
    desk.update_choice(longer)
    until(lambda: measured.events)
    soon = desk.gains(End("receiving", "reel")).match
    assert soon > old + 1.0
    measured.measured()
    later = desk.gains(End("receiving", "reel")).match
    assert soon == pytest.approx(later, abs=0.05)


def test_an_edit_that_cannot_be_solved_changes_nothing_but_is_told(pumped, saltmarsh):
    before = pumped.desk._known.filters["reel"]
    pumped.desk.update_choice(replace(saltmarsh["reel"], listen="nowhere"))
    until(lambda: pumped.events)
    assert "reel stays as it was" in pumped.events[0].text
    assert pumped.desk._known.filters["reel"] is before
    assert pumped.desk.wishes.choices["reel"] is saltmarsh["reel"]


def test_an_edit_to_a_longer_filter_finds_room(pumped):
    """Semi-inductance needs more taps than all choices before."""
    bell = load_rig(RIG.with_name("lobby.toml")).choices["bell"]
    assert pumped.desk.player.taps == 4096
    pumped.desk.transport.play()
    pumped.desk.update_choice(bell)
    pumped.pump_until(lambda: pumped.desk.player.taps == 16_384 and pumped.desk.player.ready)
    pumped.hear(End("drop", "bell"))
    assert pumped.desk.status().filter_error < -80.0
    assert len(pumped.desk._sounding.voice.taps) == 16_384


def test_slots_are_frozen_alike_in_timing_and_tell_nothing(measured, saltmarsh):
    desk = measured.desk
    desk.set_match(LOUDNESS)
    desk.transport.play()
    measured.pump(60)
    pair = [End("receiving", "reel"), End("receiving", "bought")]
    desk.load_slots(pair)
    frozen = [(v.taps, v.gain) for v in desk._slots]
    desk.update_choice(stretched(saltmarsh["reel"], 3.0))
    until(lambda: measured.events)
    measured.measured()
    desk.set_match(INSTALLED)
    statuses = []
    for slot in (0, 1, 1, 0, 0):  # also to itself: every call is a cross-fade
        before = desk.player.switches
        desk.hear_slot(slot)
        measured.pump_until(lambda before=before: desk.player.switches > before)
        measured.pump(3)
        assert desk.player.switches == before + 1
        assert heard_like(measured, *frozen[slot])
        statuses.append(desk.status())
    shown = {
        replace(s, slot=None, position=0.0, switches=0, certainty="measured") for s in statuses
    }
    assert len(shown) == 1
    assert statuses[0].peak_dbfs == statuses[0].rms_dbfs == -math.inf
    assert statuses[0].heard == SOURCE  # as last heard openly
    measured.hear(End("receiving", "bought"))
    assert desk.status().slot is None
    assert desk.status().peak_dbfs > -100.0


def heard_from(pumped, heard, frame):
    """What this sounds like from a place on, once all 8 blocks of its filter are full of that."""
    transport = pumped.desk.transport
    pumped.hear(heard)
    transport.seek(frame)
    settled(transport)
    return pumped.pump(40)[12 * BLOCK :].astype(float)


def test_the_drop_over_one_conductor_is_half_of_that_over_both(measured):
    desk = measured.desk
    desk.set_makeup(6.0)  # the same for both; chosen, it would make up for the half
    desk.transport.play()
    measured.pump(60)
    both = heard_from(measured, End("drop", "reel", 2), 9_600)
    one = heard_from(measured, End("drop", "reel", 1), 9_600)
    assert np.abs(both).max() > 1e-3
    assert np.abs(one - 0.5 * both).max() < 1e-6 * np.abs(both).max()


def test_a_drop_too_quiet_to_have_a_loudness_cannot_be_made_equally_loud(tmp_path, saltmarsh):
    """ITU-R BS.1770: blocks under -70 LUFS do not count."""
    near = replace(stretched(saltmarsh["reel"], 1e-5), name="near")
    pumped = Pumped(
        write(tmp_path / "noise.wav", noise(RATE)), {"reel": saltmarsh["reel"], "near": near}
    )
    pumped.measured()
    pair = [End("drop", "reel"), End("drop", "near")]
    with pytest.raises(AuralizeError, match=r"too quiet to have a loudness \(under -70 LUFS\), so"):
        pumped.desk.load_slots(pair, equal=True)
    assert pumped.desk._slots == []
    gains = pumped.desk.load_slots([End("receiving", one.choice) for one in pair], equal=True)
    assert all(math.isfinite(gain) for gain in gains)
    pumped.close()


def test_room_is_found_for_a_slot_whose_filter_is_longer_than_all_that_are_left(pumped, saltmarsh):
    """A switch under way holds room back until the choice has been edited to a short filter again."""
    desk = pumped.desk
    bell = load_rig(RIG.with_name("lobby.toml")).choices["bell"]
    desk.transport.play()
    desk.hear(End("drop", "reel"))
    until(lambda: not desk.player.ready)
    desk.update_choice(bell)
    until(lambda: len(pumped.events) == 1)
    desk.load_slots([End("drop", "bell")])
    desk.update_choice(replace(saltmarsh["reel"], name="bell"))
    until(lambda: len(pumped.events) == 2)
    slot = desk._slots[0]
    assert len(slot.taps) > desk.player.taps >= len(desk._known.filters["bell"].drop.taps)
    desk.hear_slot(0)
    pumped.pump_until(lambda: heard_like(pumped, slot.taps, slot.gain))


def test_the_limiter_is_not_shown_while_a_slot_is_heard(pumped):
    desk = pumped.desk
    desk.load_slots([End("receiving", "reel")])
    desk.player._limiter.gain = 0.5
    assert desk.status().limiting
    desk.hear_slot(0)
    assert not desk.status().limiting
    desk.hear(End("receiving", "reel"))
    assert desk.status().limiting


def test_what_is_not_there_is_refused(pumped):
    with pytest.raises(AuralizeError, match="right is one of reel, bought, beams"):
        pumped.desk.hear(End("drop", "gold"))
    with pytest.raises(AuralizeError, match="slot 0 was asked for; 0 are loaded"):
        pumped.desk.hear_slot(0)


def test_volume_has_a_top(pumped):
    pumped.desk.set_volume(20.0)
    assert pumped.desk.status().volume == 0.0
    pumped.desk.set_volume(-200.0)
    assert pumped.desk.status().volume == -60.0


def test_another_rate_keeps_the_place_the_loop_and_the_wishes(pumped):
    desk = pumped.desk
    desk.set_match(LOUDNESS)
    desk.transport.loop(RATE // 2, RATE)
    desk.transport.seek(RATE)
    desk.transport.play()
    pumped.hear(End("drop", "beams", 1))
    position = desk.status().position
    new = renewed(desk, 44_100, desk.transport._programme.info.path)
    status = new.status()
    assert status.position == pytest.approx(position, abs=1 / 44_100)
    assert status.loop == pytest.approx((0.5, 1.0))
    assert status.playing
    assert (status.heard, status.match) == (End("drop", "beams", 1), LOUDNESS)
    assert new.rate == 44_100
    pumped.desk = new


def test_another_rate_keeps_the_slots_their_gains_and_the_one_that_is_heard(measured):
    desk = measured.desk
    desk.set_match(LOUDNESS)
    pair = [End("receiving", "reel"), End("drop", "bought")]
    gains = desk.load_slots(pair, equal=True)
    desk.hear_slot(1)
    desk.set_match(INSTALLED)
    desk.transport.play()
    new = renewed(desk, 44_100, desk.transport._programme.info.path)
    measured.desk = new
    assert new.status().slot == 1
    filters = [design_run(new.wishes.choices[one.choice].network, "stage", 44_100) for one in pair]
    taps = [filters[0].receiving.taps, filters[1].drop.taps]
    for slot in (1, 0):
        if slot == 0:
            new.hear_slot(0)
        measured.pump_until(
            lambda slot=slot: heard_like(measured, taps[slot], amplitude(gains[slot]))
        )


def test_another_rate_does_not_let_an_edit_into_a_slot(measured):
    desk = measured.desk
    before = desk.wishes.choices["reel"]
    desk.load_slots([End("receiving", "reel"), End("receiving", "bought")])
    desk.hear_slot(0)
    desk.update_choice(stretched(before, 3.0))
    until(lambda: desk.wishes.choices["reel"] is not before)
    desk.transport.play()
    new = renewed(desk, 44_100, desk.transport._programme.info.path)
    measured.desk = new
    taps = design_run(before.network, "stage", 44_100).receiving.taps
    assert np.array_equal(new._slots[0].taps, taps)


def test_drops_over_one_conductor_and_over_both_can_be_made_equally_loud(measured):
    """Over one it is half: 6.02 dB less before, and as much more gain."""
    one, both = measured.desk.load_slots(
        [End("drop", "reel", 1), End("drop", "reel", 2)], equal=True
    )
    heard = [slot.gain for slot in measured.desk._slots]
    assert heard[0] == pytest.approx(heard[1])
    assert one - both == pytest.approx(20 * np.log10(2.0))


def test_an_edit_that_is_being_designed_is_heard_at_another_rate(pumped, saltmarsh, monkeypatch):
    """It is neither waiting nor made when the old desk closes."""
    old, release = pumped.desk, threading.Event()
    design, close = old._design, old.close

    def slow(choice):
        assert release.wait(20.0)
        return design(choice)

    def close_then_release():
        close()
        threading.Timer(0.1, release.set).start()

    monkeypatch.setattr(old, "_design", slow)
    monkeypatch.setattr(old, "close", close_then_release)
    longer = stretched(saltmarsh["reel"], 2.0)
    old.hear(End("receiving", "reel"))
    old.update_choice(longer)
    until(lambda: old._designing)
    new = renewed(old, 44_100, old.transport._programme.info.path)
    pumped.desk = new
    wanted = design_run(longer.network, "stage", 44_100).receiving.taps
    new.transport.play()
    pumped.pump_until(lambda: np.array_equal(new._sounding.voice.taps, wanted))


def test_an_edit_that_waits_for_another_is_heard_at_another_rate(pumped, saltmarsh, monkeypatch):
    old = pumped.desk
    monkeypatch.setattr(old._wake_designer, "set", lambda: None)  # the designer sleeps on
    longer = stretched(saltmarsh["reel"], 2.0)
    old.update_choice(longer)
    monkeypatch.undo()
    new = renewed(old, 44_100, old.transport._programme.info.path)
    pumped.desk = new
    wanted = design_run(longer.network, "stage", 44_100).receiving.taps
    until(lambda: np.array_equal(new._known.filters["reel"].receiving.taps, wanted))


def test_all_threads_end(programme, saltmarsh):
    before = set(threading.enumerate())
    pumped = Pumped(programme, saltmarsh)
    own = set(threading.enumerate()) - before
    assert len(own) == 4
    pumped.close()
    until(lambda: not any(thread.is_alive() for thread in own))
