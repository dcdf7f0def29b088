"""A step up in loudness comes in slowly, a step down at once; sample by sample, and again in a replay."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from auralize.gains import INSTALLED, LOUDNESS, SOURCE, End, step
from auralize.live.blocks import Piece, Taken
from auralize.live.player import Player, Setup, Switch, Voice, replay
from auralize.live.programme import Programme
from auralize.live.rise import DEEPEST, RISE, STRIKING, Rise, rise_for
from auralize.live.sounding import Sound
from support.live_session import stretched
from support.pumped import BLOCK, RATE, Pumped, until
from support.timeline_reference import reference

UNIT = np.ones(1)


def player_of_ones(silent=()):
    """A player of a constant 1, but for its ``silent`` blocks; at full volume."""
    numbers = iter(range(10_000))

    def take():
        here = next(numbers)
        if here in silent:
            return Taken(np.zeros((BLOCK, 1)), (), rise=False, fall=False)
        piece = Piece(0, here * BLOCK, BLOCK, None, None)
        return Taken(np.ones((BLOCK, 1)), (piece,), rise=False, fall=False)

    return Player(Setup(RATE, 1, 4096, Voice(UNIT, 0.005), 1.0), take)


def pumped(player, blocks):
    out = np.zeros((blocks, BLOCK, 1), np.float32)
    for block in out:
        player.render(block)
    return out.ravel().astype(float)


def test_a_voice_comes_up_straight_in_db_in_two_seconds():
    player = player_of_ones()
    pumped(player, 50)
    player.post(Switch(Voice(UNIT, 0.5), 40.0))
    level = 20 * np.log10(pumped(player, 220))
    assert level[0] == pytest.approx(20 * np.log10(0.005), abs=0.01)
    after = np.maximum(np.arange(len(level)) + 1 - BLOCK, 0)  # once the fade is over
    wanted = 20 * np.log10(0.5) - 40 * np.maximum(1 - after / (2 * RATE), 0)
    assert level[BLOCK:] == pytest.approx(wanted[BLOCK:], abs=1e-5)
    assert np.diff(level).max() <= DEEPEST / RISE / RATE + 2e-6  # two of single precision
    assert player.rising == 0.0


def test_without_a_rise_it_is_there_after_one_block():
    player = player_of_ones()
    pumped(player, 50)
    player.post(Switch(Voice(UNIT, 0.5)))
    assert pumped(player, 2)[BLOCK:] == pytest.approx(0.5)


def test_a_rise_waits_while_nothing_sounds():
    player = player_of_ones(silent=range(60, 80))
    pumped(player, 50)
    player.post(Switch(Voice(UNIT, 0.5), 20.0))
    out = pumped(player, 50)
    assert np.abs(out[10 * BLOCK : 30 * BLOCK]).max() < 1e-12
    assert out[30 * BLOCK] == pytest.approx(out[10 * BLOCK - 1], rel=1e-4)


def test_another_switch_ends_a_rise_at_once():
    player = player_of_ones()
    pumped(player, 50)
    player.post(Switch(Voice(UNIT, 0.5), 20.0))
    pumped(player, 10)
    assert 15.0 < player.rising < 20.0
    player.post(Switch(Voice(UNIT, 0.01)))
    assert pumped(player, 2)[BLOCK:] == pytest.approx(0.01)
    assert player.rising == 0.0


@given(st.floats(0.001, 1.0), st.floats(STRIKING, DEEPEST), st.integers(1, 4096))
def test_no_frame_of_any_rise_goes_up_faster_than_is_said(gain, depth, block):
    seconds = (np.arange(1, block + 1) / RATE)[:, None]
    rise = Rise(gain, depth)
    levels = [np.atleast_1d(np.ravel(rise.next(seconds, moves=True))) for _ in range(3)]
    ups = np.diff(20 * np.log10(np.concatenate(levels)))
    assert ups.max(initial=0.0) <= DEEPEST / RISE / RATE + 1e-9
    assert levels[0][0] >= gain * 10 ** (-depth / 20)


def test_only_a_step_up_of_more_than_6_db_is_a_rise():
    assert [rise_for(step) for step in (-30.0, 0.0, 6.0, 6.5, 23.0, 60.0)] == [
        *(0.0, 0.0, 0.0),
        *(6.5, 23.0, DEEPEST),
    ]
    assert rise_for(math.inf) == DEEPEST  # out of silence
    assert rise_for(step(-math.inf, -math.inf)) == rise_for(step(-20.0, -math.inf)) == 0.0


def test_before_levels_are_known_a_step_is_that_of_noise():
    loud, soft = Sound(Voice(np.ones(4), 0.5), 1), Sound(Voice(np.ones(1), 0.1), 2, -40.0)
    assert loud.step_from(soft) == pytest.approx(20 * math.log10(2 * 0.5 / 0.1))
    assert soft.step_from(loud) == -loud.step_from(soft)
    assert Sound(loud.voice, 3, -17.0).step_from(soft) == pytest.approx(23.0)


# ---- the listening


@pytest.fixture
def far_and_near(programme, saltmarsh):
    """Two drops about 23 dB apart, at make-up 0 dB; measured, playing, and its soft start over."""
    reel = saltmarsh["reel"]
    choices = {
        "far": replace(reel, name="far"),
        "near": replace(stretched(reel, 0.065), name="near"),
    }
    pumped = Pumped(programme, choices, journal=True)
    pumped.measured()
    pumped.listening.set_volume(0.0)
    pumped.listening.transport.loop(RATE // 2, 2 * RATE)
    pumped.listening.transport.play()
    pumped.pump(60)
    yield pumped
    pumped.close()


def unrisen(entry):
    """As if every voice came in at once."""
    commands = [Switch(c.voice) if isinstance(c, Switch) else c for c in entry.commands]
    return replace(entry, commands=tuple(commands))


def envelope(pumped, programme, blocks):
    """What comes out over what would at full gain, in dB, and the frames that are loud enough to tell.

    From the end of the block in which a switch that was posted fades over.
    """
    listening = pumped.listening
    first = (len(listening.journal) + 1) * BLOCK
    pumped.pump(blocks)
    samples = Programme(programme).read(0, 3 * RATE)
    full = [unrisen(entry) for entry in listening.journal]
    full = reference(listening.player.setup, full, samples, BLOCK)[first:, 0]
    out = np.concatenate(pumped.outputs)[first:, 0].astype(float)
    frames = np.flatnonzero(np.abs(full) > 0.01)
    return 20 * np.log10(out[frames] / full[frames]), frames


def test_a_step_up_of_23_db_comes_in_slowly_and_down_at_once(far_and_near, programme):
    pumped, listening = far_and_near, far_and_near.listening
    listening.set_makeup(20.0)
    pumped.hear(End("drop", "near"))
    pumped.pump(20)
    (up,) = listening.steps([End("drop", "far")])
    assert up == pytest.approx(23.0, abs=1.0)
    listening.hear(End("drop", "far"))
    until(lambda: not listening.player.ready)
    level, frames = envelope(pumped, programme, 230)
    assert len(frames) > RATE / 2
    wanted = -up * np.maximum(1 - (frames + 1) / (2 * RATE), 0)
    assert level == pytest.approx(wanted, abs=0.02)  # the reference is good for 1e-7 of full scale
    listening.hear(End("drop", "near"))
    until(lambda: not listening.player.ready)
    level, _ = envelope(pumped, programme, 20)
    assert level == pytest.approx(np.zeros(len(level)), abs=0.02)
    setup = listening.player.setup
    again = np.concatenate(list(replay(setup, listening.journal, Programme(programme))))
    assert np.array_equal(np.concatenate(pumped.outputs), again)


def test_a_switch_within_a_rise_starts_from_what_is_heard(far_and_near):
    """To something as loud as what is still coming up: no jump over what is left of the rise."""
    pumped, listening = far_and_near, far_and_near.listening
    pumped.hear(End("drop", "near"))
    pumped.hear(End("receiving", "far"))
    pumped.pump(30)
    left = listening.status().rising
    assert left > 15.0
    pumped.hear(SOURCE)
    assert listening.status().rising == pytest.approx(left, abs=1.0)
    pumped.hear(End("drop", "near"))
    assert listening.status().rising == 0.0


def test_a_match_or_a_make_up_that_turns_up_comes_in_slowly_too(far_and_near):
    pumped, listening = far_and_near, far_and_near.listening
    listening.set_makeup(0.0)
    pumped.hear(End("drop", "near"))
    pumped.pump(5)
    listening.set_makeup(30.0)
    pumped.pump_until(lambda: listening.status().rising > 0.0)
    assert listening.status().rising > 28.0
    listening.set_makeup(0.0)
    pumped.pump_until(lambda: listening.status().rising == 0.0)


def test_nothing_is_told_of_a_rise_or_a_step_while_a_slot_is_heard(far_and_near):
    pumped, listening = far_and_near, far_and_near.listening
    pumped.hear(End("drop", "near"))
    listening.load_slots([End("receiving", "far"), End("receiving", "near")], equal=True)
    before = listening.player.switches
    listening.hear_slot(0)
    pumped.pump_until(lambda: listening.player.switches > before)
    assert listening.player.rising > 20.0
    assert listening.status().rising == 0.0
    assert listening.steps([SOURCE, End("drop", "far")]) == [None, None]


def test_an_edit_that_makes_a_drop_much_louder_comes_in_slowly(far_and_near, saltmarsh):
    pumped, listening = far_and_near, far_and_near.listening
    listening.set_match(INSTALLED)
    listening.set_makeup(10.0)
    pumped.hear(End("drop", "near"))
    pumped.pump(5)
    pumped.events.clear()
    longer = stretched(listening.wanted.choices["near"], 10.0)
    listening.update_choice(longer)
    until(lambda: pumped.events)
    pumped.pump_until(lambda: listening.player.rising > 0.0)
    assert listening.player.rising > 10.0
    listening.set_match(LOUDNESS)
