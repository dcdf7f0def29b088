"""The player without a device: cross-fades, soft start, limiter and room for filters."""

import numpy as np
import pytest

from auralize import gains
from auralize.filters.grid import Grid
from auralize.live.blocks import Piece, Taken, block_frames, rising
from auralize.live.limiter import LIMITER_CEILING, Limiter
from auralize.live.player import (
    Grow,
    Player,
    Setup,
    SoftStart,
    Switch,
    Voice,
    Volume,
    enough_taps,
)
from auralize.units import decibels
from support.pumped import BLOCK, RATE, noise
from support.timeline_reference import fading, reference

# ---- the player


def spikes(seed, taps=700):
    random = np.random.default_rng(seed)
    response = random.normal(0.0, 1.0, taps) * np.exp(-np.arange(taps) / 90.0)
    return response / np.linalg.norm(response)


def played(voices, commands, blocks, channels=2, taps=4096, volume=0.3):
    """Blocks of noise through a player; ``commands`` by block. With the journal and the noise."""
    source = noise(blocks * BLOCK, channels, seed=9)
    at = iter(range(blocks))

    def take():
        start = next(at) * BLOCK
        piece = Piece(0, start, BLOCK, None, None)
        return Taken(source[start : start + BLOCK], (piece,), rise=False, fall=False)

    setup = Setup(RATE, channels, taps, voices[0], volume)
    journal = []
    player = Player(setup, take, journal)
    out = np.zeros((blocks, BLOCK, channels), np.float32)
    for number in range(blocks):
        for command in commands.get(number, ()):
            player.post(command)
        player.render(out[number])
    return out.reshape(-1, channels), setup, journal, source, player


@pytest.mark.parametrize("channels", [1, 2])
def test_what_is_played_is_the_convolution_of_the_timeline(channels):
    voices = [Voice(spikes(n, 300 * (n + 1)), 0.5 + 0.1 * n) for n in range(5)]
    commands = {
        3: [Switch(voices[1])],
        4: [Switch(voices[2]), Volume(0.5)],
        70: [Switch(voices[3]), Volume(0.01)],
        90: [SoftStart()],
        91: [Switch(voices[4])],
        92: [Volume(1.0)],
    }
    out, setup, journal, source, player = played(voices, commands, 200, channels)
    expected = reference(setup, journal, source, BLOCK)
    within = fading(journal, BLOCK)
    assert within.sum() == 4 * BLOCK
    assert np.abs(expected[~within]).max() > 0.1
    # float32 of values under 1: half a step is 2^-25.
    assert np.abs(out - expected).max() <= 2.0**-25 + 1e-12
    assert player.switches == 4
    assert not player.limiting


def test_a_filter_that_comes_in_has_heard_all_that_went_before():
    """A pure delay of 600 samples: right after its fade, its output is what was played before it."""
    late = np.zeros(601)
    late[600] = 1.0
    voices = [Voice(np.ones(1), 1.0), Voice(late, 1.0)]
    out, _, _, source, _ = played(voices, {60: [Switch(voices[1])]}, 70, volume=1.0)
    after = slice(61 * BLOCK, 62 * BLOCK)
    assert np.abs(out[after] - source[after.start - 600 : after.stop - 600]).max() < 1e-7


def test_a_fade_between_equals_is_not_there():
    voice = Voice(spikes(1), 0.8)
    plain, *_ = played([voice], {}, 100)
    switched, *_ = played([voice], {n: [Switch(voice)] for n in range(40, 90)}, 100)
    assert np.abs(plain - switched).max() < 1e-8


def test_room_for_longer_filters_is_made_without_a_gap():
    voices = [Voice(spikes(1), 0.8), Voice(spikes(2, 9000), 0.5)]
    out, setup, journal, source, player = played(
        voices, {20: [Grow(16_384)], 60: [Switch(voices[1])]}, 100
    )
    assert np.abs(out - reference(setup, journal, source, BLOCK)).max() <= 2.0**-25 + 1e-12
    assert player.taps == 16_384


def test_a_switch_under_way_is_not_forgotten():
    voice = Voice(spikes(1), 1.0)
    _, _, _, _, player = played([voice], {}, 1)
    player.post(Switch(voice))
    assert not player.ready
    with pytest.raises(RuntimeError, match="under way"):
        player.post(Switch(voice))


def test_a_device_comes_up_softly():
    out, *_ = played([Voice(np.ones(1), 1.0)], {50: [SoftStart()]}, 100, volume=0.5)
    level = np.abs(out).reshape(100, -1).mean(axis=1)
    assert level[0] < 0.05 * level[48]
    assert level[50] < 0.05 * level[48]
    assert level[49] == pytest.approx(level[48], rel=0.2)
    assert np.all(np.abs(out) <= 0.5 * np.abs(noise(100 * BLOCK, seed=9)) + 1e-8)


@pytest.mark.parametrize("loudness", [3.0, 30.0, 1e6])
def test_no_sample_is_ever_above_the_ceiling(loudness):
    random = np.random.default_rng(4)
    limiter = Limiter(RATE, BLOCK)
    for number in range(300):
        block = random.normal(0.0, 0.2, (BLOCK, 2))
        if number % 7 == 0:
            block[random.integers(BLOCK)] = loudness
        if number % 50 > 40:
            block *= loudness
        limiter.run(block)
        assert np.abs(block).max() <= LIMITER_CEILING


def test_the_limiter_leaves_alone_what_is_under_the_ceiling_and_lets_go_again():
    limiter = Limiter(RATE, BLOCK)
    quiet = np.clip(noise(BLOCK), -LIMITER_CEILING, LIMITER_CEILING)
    block = quiet.copy()
    limiter.run(block)
    assert np.array_equal(block, quiet)
    limiter.run(np.full((BLOCK, 2), 4.0))
    assert limiter.gain == pytest.approx(LIMITER_CEILING / 4.0)
    gains = []
    for _ in range(100):
        block = np.full((BLOCK, 2), 0.1)
        limiter.run(block)
        gains.append(limiter.gain)
        assert np.abs(np.diff(block[:, 0])).max() < 1e-4  # no step that could be heard
    assert gains[-1] == 1.0
    rises = np.diff([decibels(g) for g in gains[:50]])
    assert rises == pytest.approx(20.0 * BLOCK / RATE)  # dB per block at 20 dB per second


def test_the_level_shown_looks_back_over_16_blocks():
    """A loud block among silence is seen for as long as that, and its power shared among them."""
    inputs = [np.zeros((BLOCK, 1)) for _ in range(40)]
    inputs[19][:] = 0.5
    blocks = iter(inputs)
    setup = Setup(RATE, 1, 4096, Voice(np.ones(1), 1.0), 1.0)
    player = Player(setup, lambda: Taken(next(blocks), (), rise=False, fall=False))
    out = np.zeros((BLOCK, 1), np.float32)
    shown = []
    for _ in inputs:
        player.render(out)
        shown.append((player.peak, player.power))
    peaks, powers = np.array(shown).T
    # From block 19 on, once the soft start of half a second (47 blocks) has come to 20 of 47.
    loudest = 0.5 * 20 / 47
    assert peaks[19:35] == pytest.approx(np.full(16, loudest), rel=1e-6)
    assert np.all(powers[19:35] == pytest.approx(powers[19], rel=1e-9))
    assert (0.5 * 19 / 47) ** 2 / 16 < powers[19] < loudest**2 / 16
    assert np.abs(np.delete(peaks, np.arange(19, 35))).max() < 1e-12


def test_the_ceiling_is_1_db_under_full_scale():
    assert pytest.approx(10 ** (-1 / 20)) == LIMITER_CEILING


@pytest.mark.parametrize("rate", [44_100, 48_000, 96_000, 192_000])
def test_room_is_a_power_of_two_and_no_more_than_256_blocks(rate):
    """What is played is what files get, never cut: so the longest filter bounds the cost."""
    assert enough_taps(rate, Grid(rate).lengths()[-1]) <= 256 * block_frames(rate)
    assert enough_taps(RATE, 2971) == enough_taps(RATE, 16_384) == 16_384
    assert enough_taps(RATE, 16_385) == 32_768


# ---- the listening


def test_the_fade_adds_up_to_one():
    window = rising(BLOCK)
    assert np.abs(window + window[::-1] - 1.0).max() < 1e-15
    assert np.all(np.diff(window) > 0)


def limited(blocks):
    """What a limiter makes of levels, one a block, in one channel; (blocks, BLOCK)."""
    limiter = Limiter(RATE, BLOCK)
    out = [np.full((BLOCK, 1), float(level)) for level in blocks]
    for block in out:
        limiter.run(block)
    return np.array(out)[:, :, 0]


CEILING = 10 ** (-1 / 20)
"""1 dB under full scale."""


def test_the_limiter_turns_down_within_64_frames_and_clips_until_then():
    """From 1 to the gain that is needed in a straight line, so 1.2 is clipped for a while, and 0.1 not."""
    block = np.full((BLOCK, 2), 0.1)
    block[32:, 0] = 1.2
    limiter = Limiter(RATE, BLOCK)
    limiter.run(block)
    needed = CEILING / 1.2
    gain = 1 + (needed - 1) * np.minimum(np.arange(1, BLOCK + 1) / 64, 1)
    assert block[:, 1] == pytest.approx(0.1 * gain, rel=1e-12)  # both channels alike
    assert block[32:, 0] == pytest.approx(np.minimum(1.2 * gain[32:], CEILING), rel=1e-12)
    assert block[32, 0] == pytest.approx(CEILING, rel=1e-12)  # 1.2 * 0.873 was above
    assert limiter.gain == pytest.approx(needed)


def test_the_limiter_sees_a_peak_below_zero_as_well():
    assert limited([-4.0]).min() == pytest.approx(-CEILING)


def test_the_limiter_lets_go_by_20_db_per_second_in_a_straight_line_per_block():
    out = limited([4.0] + 200 * [0.1])[1:]
    gain = 0.1 / out  # inverse
    per_block = 20 * BLOCK / RATE
    down = 20 * np.log10(4 / CEILING)
    levels = np.maximum(down - per_block * np.arange(1, 201), 0.0)
    assert 20 * np.log10(gain[:, -1]) == pytest.approx(levels, abs=1e-9)
    steps = np.diff(np.concatenate([[0.1 * CEILING / 4], out.ravel()])).reshape(200, BLOCK)
    assert np.ptp(steps, axis=1).max() < 1e-12
    blocks = int(np.ceil(down / per_block))  # 13.04 dB at 0.2133 dB a block
    assert np.all(out[blocks:] == 0.1)
    assert np.all(out[blocks - 1][:-1] < 0.1)


def test_a_peak_while_it_lets_go_is_held_down_from_where_it_is():
    out = limited([2.0, 0.1, 2.5, 2.5])
    assert out[2, 63:] == pytest.approx(CEILING, rel=1e-12)
    assert out[3] == pytest.approx(CEILING, rel=1e-12)


def test_the_limiter_s_ceiling_is_that_of_everything_else():
    assert pytest.approx(10 ** (gains.CEILING / 20)) == LIMITER_CEILING
