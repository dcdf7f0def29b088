"""Gains of a live input: predicted from what came in so far, and never in haste."""

import numpy as np
import pytest
import soundfile as sf

from auralize.audio.metering import Meter
from auralize.gains import INSTALLED, LOUDNESS, SOURCE, End, Gains
from auralize.live.input_feed import InputFeed
from auralize.live.listening import Listening
from auralize.live.running import LOOK, PIECE, PIECES, SLOPE, RunningLevels
from auralize.live.slow_gains import TOLERANCE, SlowGains
from auralize.live.wanted import Wanted
from support.pumped import BLOCK, RATE, noise, until

STEP = SLOPE * LOOK
A, B = End("receiving", "reel"), End("drop", "reel")


def test_the_running_loudness_is_that_of_the_whole():
    """Against the meter of the norm (BS.1770) over the same ten seconds of steady noise."""
    samples = noise(10 * RATE)
    levels, whole = RunningLevels(RATE, 2), Meter(RATE, 2)
    whole.add(samples)
    for start in range(0, len(samples), 12_000):
        levels.add(samples[start : start + 12_000])
    measured = levels.measured
    assert measured.level.loudness == pytest.approx(whole.level.loudness, abs=0.05)
    assert measured.level.peak == pytest.approx(whole.level.peak, rel=0.02)
    assert not measured.level.measured


def test_what_is_long_past_is_forgotten():
    levels, length = RunningLevels(RATE, 2), round(PIECE * RATE)
    levels.add(np.ones((length, 2)))
    for _ in range(PIECES + 1):
        levels.add(noise(length))
    assert levels.measured.level.peak < 0.9


def test_before_anything_came_nothing_is_said():
    levels = RunningLevels(RATE, 2)
    assert levels.measured is None
    levels.add(noise(RATE // 10))
    assert levels.measured is None  # not one gating block


def gains(match, makeup=0.0, headroom=0.0):
    return {A: Gains(match, 0.0, headroom), B: Gains(match, makeup, headroom)}


def test_gains_within_the_tolerance_stay():
    slow, now = SlowGains(), gains(1.0, 20.0)
    assert slow.towards(now, gains(1.0, 20.0 + 0.9 * TOLERANCE), STEP) == now


def test_gains_that_are_far_off_go_slowly_and_all_the_way_by_the_same_share():
    slow, now, target = SlowGains(), gains(1.0, 20.0), gains(2.0, 26.0, -3.0)
    ways = []
    while now != target:
        before, now = now, slow.towards(now, target, STEP)
        assert all(abs(now[h].total - before[h].total) <= STEP * (1.0 + 1e-9) for h in now)
        assert now[A].headroom == pytest.approx(now[B].headroom)  # one figure for all
        assert now[A].match == pytest.approx(now[B].match)
        ways.append(now[B].total)
        assert len(ways) < 100
    assert len(ways) == pytest.approx(4.0 / STEP, abs=1)
    assert slow.towards(now, gains(2.0, 26.5, -3.0), STEP) == now  # and it rests again


@pytest.mark.parametrize(
    "target", [gains(1.0, 26.3), gains(1.0, 14.2), gains(-3.4, 20.0), gains(1.0, 20.0, -7.3)]
)
def test_gains_go_down_as_slowly_and_as_far_as_up(target):
    """By no multiple of a step, so that the last one is a short one."""
    slow, now, steps = SlowGains(), gains(1.0, 20.0), 0
    farthest = max(abs(target[h].total - now[h].total) for h in now)
    while now != target:
        before, now = now, slow.towards(now, target, STEP)
        steps += 1
        assert steps <= np.ceil(farthest / STEP)
        assert all(abs(now[h].total - before[h].total) <= STEP * (1.0 + 1e-9) for h in now)


def test_what_had_no_gains_has_its_own_at_once():
    assert SlowGains().towards({}, gains(1.0), STEP) == gains(1.0)


@pytest.fixture
def listening(saltmarsh):
    listening = Listening(
        InputFeed("desk"), RATE, Wanted({"reel": saltmarsh["reel"]}), lambda _: None
    )
    yield listening
    listening.close()
    listening.join(5.0)


def feed(listening, samples):
    out = np.zeros((BLOCK, 2), np.float32)
    for start in range(0, len(samples), BLOCK):
        listening.transport.put(samples[start : start + BLOCK])
        listening.render(out)


def test_a_live_input_is_matched_as_a_programme_of_the_same_sound_is(listening, pumped, programme):
    """Predicted from bands while it comes, against measured as a whole: within what `BandEnergies` says."""
    pumped.measured()
    pumped.listening.set_match(LOUDNESS)
    samples, _ = sf.read(programme, always_2d=True)
    listening.set_match(LOUDNESS)
    listening.transport.begin(one_clock=True, apart=False)
    assert listening.status().certainty == "unknown"
    for _ in range(3):
        feed(listening, samples[: len(samples) // BLOCK * BLOCK])
        until(lambda: listening._measurer._tapped.filling == 0)
    until(lambda: listening.status().certainty == "predicted")
    live, known = listening.gains(A), pumped.listening.gains(A)
    assert live.match == pytest.approx(known.match, abs=0.1)
    assert listening.gains(SOURCE).match == 0.0
    listening.set_match(INSTALLED)
    assert listening.gains(A).match == 0.0
