"""Live playback without a device: transport, cross-fades, gains, limiter, edits, level match."""

import json
import math
import subprocess
import sys
import threading
import time
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pyloudnorm
import pytest
import soundfile as sf
from live_session import RIG, make_programme, stretched
from timeline_reference import fading, reference

from auralize.audio.loudness import BandMeter
from auralize.circuit.solution import solve
from auralize.errors import AudioFileError, AuralizeError
from auralize.filters.fir import Fir, RunFilters, design_run
from auralize.live.device import Call, Device, DeviceError, StuckError, chosen_device, playing_rate
from auralize.live.listening import Desk, Wishes, renewed
from auralize.live.measurer import SOURCE, Heard, Level, RunLevels, balance, level_gain, predicted
from auralize.live.player import (
    CEILING,
    Grow,
    Limiter,
    Player,
    Setup,
    SoftStart,
    Switch,
    Voice,
    Volume,
    enough_taps,
    most_taps,
    replay,
    shortened,
)
from auralize.live.remembered import Volumes, state_path
from auralize.live.transport import Piece, Programme, Taken, Transport, block_frames, rising
from auralize.render import MOST_MAKEUP, render
from auralize.render import Wishes as RenderWishes
from auralize.rig.reading import load_rig
from auralize.units import amplitude, decibels

RATE = 48_000
BLOCK = 512


def until(done, seconds=20.0):
    """Wait for another thread; a test that would hang fails here."""
    for _ in range(round(seconds / 0.002)):
        if done():
            return
        time.sleep(0.002)
    raise TimeoutError


def write(path, samples, rate=RATE):
    sf.write(path, samples, rate, subtype="DOUBLE")
    return path


def noise(frames, channels=2, seed=0):
    return np.random.default_rng(seed).normal(0.0, 0.1, (frames, channels))


# ---- the programme at any rate, from any place


@pytest.mark.parametrize("rate", [8000, 11025, 16000, 22050, 32000, 44100, 48000, 96000, 192000])
def test_a_block_and_so_every_fade_lasts_10_to_20_ms(rate):
    assert 0.010 <= block_frames(rate) / rate < 0.020


def test_reading_from_any_place_gives_the_samples_of_the_file(tmp_path):
    samples = noise(30_000)
    programme = Programme(write(tmp_path / "a.wav", samples))
    random = np.random.default_rng(2)
    padded = np.concatenate([samples, np.zeros((20_000, 2))])
    for start, count in zip(
        random.integers(0, 30_000, 60), random.integers(1, 20_000, 60), strict=True
    ):
        assert np.array_equal(programme.read(start, count), padded[start : start + count])


@pytest.mark.parametrize(
    ("file_rate", "rate"), [(44_100, 48_000), (48_000, 44_100), (96_000, 48_000), (8_000, 44_100)]
)
def test_at_another_rate_a_tone_keeps_its_pitch_place_and_level(tmp_path, file_rate, rate):
    low = min(file_rate, rate)
    frequencies = np.array([0.01, 0.2, 0.45]) * low
    amplitudes = [0.3, 0.2, 0.1]

    def tones(at_rate):
        angle = 2 * np.pi * frequencies * np.arange(at_rate)[:, None] / at_rate
        return np.stack([np.sin(angle) @ amplitudes, np.cos(angle) @ amplitudes], axis=1)

    programme = Programme(write(tmp_path / "a.wav", tones(file_rate), file_rate), rate)
    assert programme.frames == rate
    inside = slice(rate // 50, -rate // 50)  # the file begins and ends abruptly
    error = (programme.read(0, rate) - tones(rate))[inside]
    # The window's stop band, beta 10, lies at -100 dB (Kaiser and Schafer 1980, value from memory).
    assert decibels(np.abs(error).max() / 0.6) < -95


def test_at_another_rate_what_would_fold_back_is_taken_out(tmp_path):
    tone = np.sin(2 * np.pi * 30_000 * np.arange(96_000) / 96_000)[:, None]
    programme = Programme(write(tmp_path / "a.wav", tone, 96_000), 48_000)
    assert decibels(np.abs(programme.read(1000, 46_000)).max()) < -95


def test_at_another_rate_any_stretch_has_the_same_bits(tmp_path):
    path = write(tmp_path / "a.wav", noise(44_100), 44_100)
    whole = Programme(path, RATE).read(0, RATE)
    programme = Programme(path, RATE)
    for start in (40_000, 7, 8191, 8192, 20_000, 0, 47_990):
        assert np.array_equal(programme.read(start, 999)[: RATE - start], whole[start:][:999])


def test_what_cannot_be_played_is_refused_in_one_sentence(tmp_path):
    with pytest.raises(AudioFileError, match=r"has 3 channels; .* one or two are right"):
        Programme(write(tmp_path / "three.wav", noise(100, 3)))
    bad = noise(20_000)
    bad[15_000] = np.nan
    programme = Programme(write(tmp_path / "nan.wav", bad))
    programme.read(0, 8000)
    with pytest.raises(AudioFileError, match="must be a finite number"):
        programme.read(14_000, 4000)


# ---- transport


def blocks_of(transport, count):
    """So many blocks taken, each as soon as it has been read; samples copied."""
    taken = []
    for _ in range(count):
        until(lambda: transport._current.blocks or transport._current.complete)
        one = transport.take()
        taken.append(one._replace(samples=one.samples.copy()))
    return taken


def settled(transport):
    """Wait until the reader has done all that was wished."""
    time.sleep(0.1)
    until(lambda: transport.primed)


@pytest.fixture
def transport(tmp_path):
    """Two seconds of a constant 1, so that what is played is the fades themselves."""
    programme = Programme(write(tmp_path / "ones.wav", np.ones((2 * RATE, 1))))
    transport = Transport(programme)
    settled(transport)
    yield transport
    transport.close()


def steepest(taken):
    """Largest step from sample to sample."""
    return np.abs(np.diff(np.concatenate([one.samples for one in taken])[:, 0])).max()


COSINE_STEP = math.pi / 2 / BLOCK
"""The steepest step of half a cosine over a block."""


def test_nothing_is_played_before_play_and_all_of_it_after(transport):
    assert not blocks_of(transport, 3)[-1].samples.any()
    transport.play()
    taken = blocks_of(transport, 2 * RATE // BLOCK + 3)
    heard = np.concatenate([one.samples for one in taken])
    assert heard[: 2 * RATE].min() == 1.0  # no fade at the start of the programme
    assert not heard[2 * RATE :].any()
    assert transport.ended
    assert not transport.playing
    assert transport.position == 2 * RATE


def test_after_the_end_play_begins_anew(transport):
    transport.seek(2 * RATE - 100)
    transport.play()
    settled(transport)
    blocks_of(transport, 4)
    assert transport.ended
    transport.play()
    settled(transport)
    assert transport.playing
    blocks_of(transport, 2)
    assert 0 < transport.position <= 2 * BLOCK


def test_pause_and_play_lose_nothing_and_do_not_click(transport):
    transport.play()
    taken = blocks_of(transport, 5)
    transport.pause()
    taken += blocks_of(transport, 4)
    assert transport.position == 6 * BLOCK
    transport.play()
    taken += blocks_of(transport, 4)
    assert transport.position == 10 * BLOCK
    assert [bool(one.pieces) for one in taken] == 6 * [True] + 3 * [False] + 4 * [True]
    assert steepest(taken) <= COSINE_STEP


def test_a_jump_fades_out_there_and_in_here(transport):
    transport.play()
    taken = blocks_of(transport, 5)
    transport.seek(RATE)
    assert transport.position == RATE
    settled(transport)
    taken += blocks_of(transport, 5)
    assert taken[5].fall
    assert taken[6].pieces[0].frame == RATE
    assert transport.position == RATE + 4 * BLOCK
    assert steepest(taken) <= COSINE_STEP


def test_a_jump_while_paused_is_where_play_begins(transport):
    transport.seek(12_345)
    settled(transport)
    blocks_of(transport, 2)
    assert transport.position == 12_345
    transport.play()
    assert blocks_of(transport, 1)[0].pieces[0].frame == 12_345


def test_a_loop_comes_round_to_the_sample_and_does_not_click(transport):
    transport.loop(10_000, 20_001)
    transport.seek(10_000)
    settled(transport)
    transport.play()
    taken = blocks_of(transport, 100)
    frames = [p.frame + np.arange(p.length) for one in taken for p in one.pieces]
    played = np.concatenate(frames)
    assert np.array_equal(played, 10_000 + np.arange(100 * BLOCK) % 10_001)
    assert steepest(taken) <= COSINE_STEP
    assert transport.looped == (10_000, 20_001)


@pytest.mark.parametrize("ahead", [30_000, 1_000, 0, -5_000])
def test_a_loop_set_while_playing_is_heeded_at_once_and_left_at_once(transport, ahead):
    """Its end lies ahead within what has been read, or behind: the next pass begins soon after."""
    transport.seek(20_000)
    transport.play()
    settled(transport)
    taken = blocks_of(transport, 10)
    end = transport.position + ahead
    transport.loop(5_000, end)
    settled(transport)
    taken += blocks_of(transport, 80)
    firsts = [one.pieces[0].frame for one in taken]
    back = next(i for i in range(1, len(firsts)) if firsts[i] < firsts[i - 1])
    last = max(p.frame + p.length for one in taken for p in one.pieces)
    # No further than the end, or than what the callback may be about to take and one fade.
    assert last <= max(end, 20_000 + 10 * BLOCK + 6 * BLOCK)
    assert taken[back].pieces[-1].frame - 5_000 <= BLOCK or firsts[back] - 5_000 <= BLOCK
    transport.unloop()
    settled(transport)
    while transport.position <= last and len(taken) < 300:
        taken += blocks_of(transport, 1)
    assert transport.position > last
    assert steepest(taken) <= COSINE_STEP


def test_too_short_a_loop_is_refused(transport):
    with pytest.raises(AudioFileError, match=r"a loop of 0\.010 s .* must last 0\.1 s"):
        transport.loop(1000, 1480)


def test_damage_stops_the_programme_and_is_told(tmp_path):
    bad = noise(2 * RATE)
    bad[60_000] = np.inf
    transport = Transport(Programme(write(tmp_path / "bad.wav", bad)))
    transport.play()
    settled(transport)
    blocks_of(transport, 150)
    assert transport.ended
    assert "finite" in transport.fault
    assert transport.position <= 60_000
    transport.close()


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
        assert np.abs(block).max() <= CEILING


def test_the_limiter_leaves_alone_what_is_under_the_ceiling_and_lets_go_again():
    limiter = Limiter(RATE, BLOCK)
    quiet = np.clip(noise(BLOCK), -CEILING, CEILING)
    block = quiet.copy()
    limiter.run(block)
    assert np.array_equal(block, quiet)
    limiter.run(np.full((BLOCK, 2), 4.0))
    assert limiter.gain == pytest.approx(CEILING / 4.0)
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
    assert pytest.approx(10 ** (-1 / 20)) == CEILING


def test_a_filter_cut_short_says_what_that_costs():
    choices = load_rig(RIG.with_name("lobby.toml")).choices
    whole = design_run(choices["bell"].network, "lobby", RATE)
    cut = shortened(whole, most_taps(RATE))
    assert len(whole.drop.taps) > len(cut.drop.taps) == 16_384
    frequency = np.geomspace(20.0, 20_000.0, 400)
    solution = solve(choices["bell"].network, frequency)
    for signal, exact in (
        ("drop", solution.drop("lobby")),
        ("receiving", solution.receiving["lobby"]),
    ):
        fir = getattr(cut, signal)
        error = decibels(float(np.max(np.abs(fir.response(frequency) - exact) / np.abs(exact))))
        assert fir.error - 6.0 < error <= fir.error
        assert error < (-80.0 if signal == "drop" else -95.0)
    sums = cut.drop.taps + cut.receiving.taps - cut.sending.taps
    assert np.abs(sums).max() <= 2.0**-52 * np.abs(cut.sending.taps).max()  # rounding


def test_short_filters_stay_as_they_are():
    fir = Fir(np.ones(10), RATE, 2, -100.0)
    run = RunFilters(fir, fir, fir)
    assert shortened(run, 10) is run
    assert enough_taps(RATE, 2971) == 4096
    assert enough_taps(RATE, 4097) == 8192


# ---- gains


@pytest.fixture(scope="module")
def saltmarsh():
    return load_rig(RIG).choices


@pytest.fixture(scope="module")
def programme(tmp_path_factory):
    path = tmp_path_factory.mktemp("programme") / "programme.wav"
    make_programme(path, seconds=3.0)
    return path


class Pumped:
    """A desk whose blocks are made by the test."""

    def __init__(self, source, choices, rate=RATE, journal=False):
        self.events = []
        self.desk = Desk(
            source,
            rate,
            Wishes(dict(choices)),
            self.events.append,
            journal=[] if journal else None,
        )
        self.outputs = []

    def pump(self, blocks):
        """So many blocks, as fast as the disk allows."""
        for _ in range(blocks):
            until(self._may_go_on)
            out = np.zeros((self.desk.player.block, self.desk.channels), np.float32)
            self.desk.render(out)
            self.outputs.append(out)
        return np.concatenate(self.outputs[-blocks:])

    def _may_go_on(self):
        transport = self.desk.transport
        current = transport._current
        return current.blocks or current.complete or not transport.playing

    def pump_until(self, done):
        """Blocks until something is so."""
        for _ in range(4000):
            if done():
                return
            self.pump(1)
            time.sleep(0.002)
        raise TimeoutError

    def hear(self, heard):
        """Switch, and wait until it is done."""
        before = self.desk.player.switches
        self.desk.hear(heard)
        self.pump_until(lambda: self.desk.player.switches > before)

    def measured(self):
        until(lambda: self.desk.status().certainty == "measured")

    def close(self):
        self.desk.close()


@pytest.fixture
def pumped(programme, saltmarsh):
    pumped = Pumped(programme, saltmarsh, journal=True)
    yield pumped
    pumped.close()


@pytest.fixture
def measured(pumped):
    pumped.measured()
    return pumped


@pytest.fixture(scope="module")
def shared(programme, saltmarsh):
    """A measured desk for those who change nothing but match and make-up, and set them first."""
    shared = Pumped(programme, saltmarsh)
    shared.measured()
    yield shared
    shared.close()


@pytest.mark.parametrize("match", ["installed", "loudness", 3150.0])
@pytest.mark.parametrize("makeup", [None, 6.0])
def test_gains_are_those_of_a_render(shared, programme, saltmarsh, tmp_path, match, makeup):
    """But for headroom, as a render knows only what it was asked to write."""
    wishes = RenderWishes(match=match, makeup=makeup)
    rendered = render(programme, list(saltmarsh.values()), tmp_path, wishes)
    shared.desk.set_match(match)
    shared.desk.set_makeup(makeup)
    for output in rendered.outputs:
        gains = shared.desk.gains(Heard(output.signal, output.choice))
        assert gains.match == pytest.approx(output.gains.match, abs=1e-6)
        assert gains.makeup == output.gains.makeup
        assert gains.headroom <= output.gains.headroom + 1e-6


def test_headroom_is_one_for_all_and_keeps_the_loudest_under_the_ceiling(shared):
    shared.desk.set_match("installed")
    shared.desk.set_makeup(38.0)
    gains = shared.desk._known.gains
    assert len(gains) == 1 + 3 * 3
    assert len({g.headroom for g in gains.values()}) == 1
    levels = shared.desk._known.levels
    peaks = [
        levels[h.choice].drop.peak * 0.5 * h.conductors * amplitude(g.total)
        for h, g in gains.items()
        if h.signal == "drop"
    ]
    assert max(peaks) == pytest.approx(CEILING)
    assert gains[SOURCE].headroom < -1.0


def test_make_up_is_held_between_0_and_its_cap(shared):
    for asked, given in ((99.0, MOST_MAKEUP), (-5.0, 0.0), (12.5, 12.5)):
        shared.desk.set_makeup(asked)
        assert shared.desk.gains(Heard("drop", "reel")).makeup == given
    shared.desk.set_makeup(None)
    assert shared.desk.gains(Heard("drop", "reel", 1)).makeup >= 5.0


def test_over_one_conductor_the_chosen_make_up_is_6_db_more(shared):
    shared.desk.set_match("installed")
    shared.desk.set_makeup(None)
    both, one = (shared.desk.gains(Heard("drop", "reel", n)).makeup for n in (2, 1))
    assert one - both in (6.0, 7.0)  # 6.02 dB, in whole dB


def test_choices_matched_in_loudness_are_within_0_05_lu(measured, programme):
    """Heard to its end and measured by another meter (pyloudnorm 0.2, ITU-R BS.1770)."""
    meter = pyloudnorm.Meter(RATE)
    desk = measured.desk
    desk.set_match("loudness")
    measured.pump(60)  # the soft start is over
    found = {}
    for heard in (SOURCE, *(Heard("receiving", name) for name in desk.wishes.choices)):
        desk.transport.seek(0)
        settled(desk.transport)
        measured.hear(heard)
        desk.transport.play()
        out = measured.pump(3 * RATE // BLOCK + 2)
        assert desk.transport.ended
        found[heard] = meter.integrated_loudness(out.astype(float))
    assert max(found.values()) - min(found.values()) < 0.05
    assert math.isfinite(found[SOURCE])
    source, _ = sf.read(programme)
    assert found[SOURCE] == pytest.approx(meter.integrated_loudness(source) - 20.0, abs=0.01)


def test_a_prediction_is_as_near_to_the_measurement_as_band_energies_say(
    programme, saltmarsh, shared
):
    samples, _ = sf.read(programme)
    meter = BandMeter(RATE, 2)
    meter.add(samples)
    source = shared.desk._known.source.level
    for name, choice in saltmarsh.items():
        guess = predicted(choice, meter.energies, source)
        known = shared.desk._known.levels[name]
        assert guess.receiving.loudness == pytest.approx(known.receiving.loudness, abs=0.05)
        # A tone between two bands through a slope of 6 dB per octave: see `BandEnergies`.
        assert guess.drop.loudness == pytest.approx(known.drop.loudness, abs=0.11)
        assert not guess.drop.measured
        assert known.drop.measured
        assert decibels(guess.receiving.peak / known.receiving.peak) == pytest.approx(0.0, abs=2.0)


def test_the_level_at_a_frequency_is_matched_by_the_loss_there(saltmarsh):
    for frequency in (100.0, 1000.0, 10_000.0):
        response = solve(saltmarsh["reel"].network, [frequency]).receiving["stage"][0]
        gain = amplitude(level_gain(saltmarsh["reel"], frequency))
        assert gain * abs(response) == pytest.approx(1.0, rel=1e-12)


def test_silence_gets_no_gain_and_does_no_harm(tmp_path, saltmarsh):
    pumped = Pumped(write(tmp_path / "silence.wav", np.zeros((RATE, 2))), saltmarsh)
    pumped.measured()
    pumped.desk.set_match("loudness")
    pumped.desk.transport.play()
    pumped.hear(Heard("drop", "reel"))
    assert pumped.desk.gains(Heard("receiving", "reel")).total == 0.0
    assert not pumped.pump(20).any()
    pumped.close()


def test_gains_are_worked_out_from_levels_alone():
    source = Level(-20.0, 0.5, True)
    runs = {
        "near": RunLevels(Level(-20.5, 0.47, True), Level(-40.0, 0.05, True)),
        "far": RunLevels(Level(-23.0, 0.4, True), Level(-34.3, 0.1, True)),
    }
    gains = balance(source, runs, {"near": 0.5, "far": 3.0}, None)
    assert gains[Heard("receiving", "far")].match == 3.0
    # -20 + 34.3 - 3 = 11.3 dB for the louder drop, whole dB down; and 6.02 dB more for half of it.
    assert gains[Heard("drop", "near")].makeup == gains[Heard("drop", "far")].makeup == 11.0
    assert gains[Heard("drop", "near", 1)].makeup == 17.0
    assert gains[SOURCE].headroom == 0.0


# ---- the desk


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
        pumped.hear(Heard(signal, list(saltmarsh)[number // 3 % 3], 1 + number % 2))
        pumped.pump(int(random.integers(1, 12)))
        if number == 5:
            desk.set_match("loudness")
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
    for heard in (SOURCE, Heard("receiving", "near")):
        pumped.desk.transport.seek(9_600)
        settled(pumped.desk.transport)
        pumped.hear(heard)
        pumped.desk.transport.seek(9_600)
        settled(pumped.desk.transport)
        outs[heard.signal] = pumped.pump(40)[2 * BLOCK :].astype(float)
    source, receiving = outs["source"][:, 0], outs["receiving"][:, 0]
    place = np.argmax(np.correlate(receiving, source, "full")) - (len(source) - 1)
    assert place == 0
    pumped.close()


def test_an_edit_is_heard_and_of_many_the_last_one_counts(pumped, saltmarsh):
    desk = pumped.desk
    desk.transport.play()
    pumped.hear(Heard("drop", "reel"))
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
    desk.set_match("loudness")
    old = desk.gains(Heard("receiving", "reel")).match
    longer = stretched(saltmarsh["reel"], 3.0)
    desk.update_choice(longer)
    until(lambda: measured.events)
    soon = desk.gains(Heard("receiving", "reel")).match
    assert soon > old + 1.0
    measured.measured()
    later = desk.gains(Heard("receiving", "reel")).match
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
    pumped.hear(Heard("drop", "bell"))
    assert pumped.desk.status().filter_error < -80.0
    assert len(pumped.desk._sounding.voice.taps) == 16_384


def test_slots_are_frozen_alike_in_timing_and_tell_nothing(measured, saltmarsh):
    desk = measured.desk
    desk.set_match("loudness")
    desk.transport.play()
    measured.pump(60)
    pair = [Heard("receiving", "reel"), Heard("receiving", "bought")]
    desk.load_slots(pair)
    frozen = [(v.taps, v.gain) for v in desk._slots]
    desk.update_choice(stretched(saltmarsh["reel"], 3.0))
    until(lambda: measured.events)
    measured.measured()
    desk.set_match("installed")
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
    measured.hear(Heard("receiving", "bought"))
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
    both = heard_from(measured, Heard("drop", "reel", 2), 9_600)
    one = heard_from(measured, Heard("drop", "reel", 1), 9_600)
    assert np.abs(both).max() > 1e-3
    assert np.abs(one - 0.5 * both).max() < 1e-6 * np.abs(both).max()


def test_a_drop_too_quiet_to_have_a_loudness_cannot_be_made_equally_loud(tmp_path, saltmarsh):
    """ITU-R BS.1770: blocks under -70 LUFS do not count."""
    near = replace(stretched(saltmarsh["reel"], 1e-5), name="near")
    pumped = Pumped(
        write(tmp_path / "noise.wav", noise(RATE)), {"reel": saltmarsh["reel"], "near": near}
    )
    pumped.measured()
    pair = [Heard("drop", "reel"), Heard("drop", "near")]
    with pytest.raises(AuralizeError, match=r"too quiet to have a loudness \(under -70 LUFS\), so"):
        pumped.desk.load_slots(pair, equal=True)
    assert pumped.desk._slots == []
    gains = pumped.desk.load_slots([Heard("receiving", one.choice) for one in pair], equal=True)
    assert all(math.isfinite(gain) for gain in gains)
    pumped.close()


def test_room_is_found_for_a_slot_whose_filter_is_longer_than_all_that_are_left(pumped, saltmarsh):
    """A switch under way holds room back until the choice has been edited to a short filter again."""
    desk = pumped.desk
    bell = load_rig(RIG.with_name("lobby.toml")).choices["bell"]
    desk.transport.play()
    desk.hear(Heard("drop", "reel"))
    until(lambda: not desk.player.ready)
    desk.update_choice(bell)
    until(lambda: len(pumped.events) == 1)
    desk.load_slots([Heard("drop", "bell")])
    desk.update_choice(replace(saltmarsh["reel"], name="bell"))
    until(lambda: len(pumped.events) == 2)
    slot = desk._slots[0]
    assert len(slot.taps) > desk.player.taps >= len(desk._known.filters["bell"].drop.taps)
    desk.hear_slot(0)
    pumped.pump_until(lambda: heard_like(pumped, slot.taps, slot.gain))


def test_the_limiter_is_not_shown_while_a_slot_is_heard(pumped):
    desk = pumped.desk
    desk.load_slots([Heard("receiving", "reel")])
    desk.player._limiter.gain = 0.5
    assert desk.status().limiting
    desk.hear_slot(0)
    assert not desk.status().limiting
    desk.hear(Heard("receiving", "reel"))
    assert desk.status().limiting


def test_what_is_not_there_is_refused(pumped):
    with pytest.raises(AuralizeError, match="right is one of reel, bought, beams"):
        pumped.desk.hear(Heard("drop", "gold"))
    with pytest.raises(AuralizeError, match="slot 0 was asked for; 0 are loaded"):
        pumped.desk.hear_slot(0)


def test_volume_has_a_top(pumped):
    pumped.desk.set_volume(20.0)
    assert pumped.desk.status().volume == 0.0
    pumped.desk.set_volume(-200.0)
    assert pumped.desk.status().volume == -60.0


def test_another_rate_keeps_the_place_the_loop_and_the_wishes(pumped):
    desk = pumped.desk
    desk.set_match("loudness")
    desk.transport.loop(RATE // 2, RATE)
    desk.transport.seek(RATE)
    desk.transport.play()
    pumped.hear(Heard("drop", "beams", 1))
    position = desk.status().position
    new = renewed(desk, 44_100, desk.transport._programme.info.path)
    status = new.status()
    assert status.position == pytest.approx(position, abs=1 / 44_100)
    assert status.loop == pytest.approx((0.5, 1.0))
    assert status.playing
    assert (status.heard, status.match) == (Heard("drop", "beams", 1), "loudness")
    assert new.rate == 44_100
    pumped.desk = new


def test_another_rate_keeps_the_slots_their_gains_and_the_one_that_is_heard(measured):
    desk = measured.desk
    desk.set_match("loudness")
    pair = [Heard("receiving", "reel"), Heard("drop", "bought")]
    gains = desk.load_slots(pair, equal=True)
    desk.hear_slot(1)
    desk.set_match("installed")
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
    desk.load_slots([Heard("receiving", "reel"), Heard("receiving", "bought")])
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
        [Heard("drop", "reel", 1), Heard("drop", "reel", 2)], equal=True
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
    old.hear(Heard("receiving", "reel"))
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


def test_the_fade_adds_up_to_one():
    window = rising(BLOCK)
    assert np.abs(window + window[::-1] - 1.0).max() < 1e-15
    assert np.all(np.diff(window) > 0)


# ---- what surrounds the device


DEVICES = [
    Device(0, "Wheel house", 2, 44_100, default=False),
    Device(3, "Mill pond, left bank", 8, 48_000, default=True),
]


def test_a_device_is_found_by_name_number_or_part():
    for wanted, index in ((None, 3), ("Wheel house", 0), ("3", 3), ("POND", 3)):
        assert chosen_device(DEVICES, wanted).index == index
    with pytest.raises(DeviceError, match="right is one of 0 Wheel house, 3 Mill pond"):
        chosen_device(DEVICES, "loft")
    with pytest.raises(DeviceError, match="there is no output device; connect one"):
        chosen_device([], None)


class _RefusedError(Exception):
    pass


def test_a_device_that_refuses_the_rate_gets_its_own():
    def check_output_settings(index, channels, kind, samplerate):
        if samplerate != 48_000:
            raise _RefusedError

    portaudio = SimpleNamespace(
        check_output_settings=check_output_settings, PortAudioError=_RefusedError
    )
    assert playing_rate(portaudio, DEVICES[0], 2, 48_000) == 48_000
    assert playing_rate(portaudio, DEVICES[1], 2, 96_000) == 48_000
    odd = replace(DEVICES[0], rate=384_000)
    with pytest.raises(DeviceError, match="plays at 384000 Hz"):
        playing_rate(portaudio, odd, 2, 44_100)


def test_a_call_that_hangs_is_given_up_and_its_late_result_is_not_lost():
    gate, late = threading.Event(), []

    def work():
        gate.wait()
        return 7

    call = Call(work, late.append)
    with pytest.raises(StuckError):
        call.result(0.01)
    assert call.running
    gate.set()
    until(lambda: late == [7])
    with pytest.raises(ZeroDivisionError):
        Call(lambda: 1 // 0).result(5.0)
    assert Call(lambda: 3).result(5.0) == 3


def test_volumes_are_remembered_and_never_above_0_db(tmp_path):
    path = tmp_path / "deep" / "volumes.json"
    volumes = Volumes(path)
    assert volumes.get("Wheel house") is None
    volumes.put("Wheel house", -31.5)
    volumes.save()
    assert Volumes(path).get("Wheel house") == -31.5
    path.write_text('{"a": 40, "b": -500, "c": "loud", "d": NaN, "e": true}')
    spoilt = Volumes(path)
    assert (spoilt.get("a"), spoilt.get("b")) == (0.0, -60.0)
    assert [spoilt.get(name) for name in "cde"] == [None, None, None]


@pytest.mark.parametrize("content", ["", "[1, 2]", '{"a":', "\x00\xff"])
def test_a_spoilt_file_of_volumes_means_a_quiet_start(tmp_path, content):
    path = tmp_path / "volumes.json"
    path.write_text(content)
    assert Volumes(path).get("a") is None
    volumes = Volumes(tmp_path / "volumes.json" / "impossible")
    volumes.put("a", -10.0)
    volumes.save()  # cannot be written, and that is nobody's trouble


def test_volumes_lie_where_the_system_keeps_state(monkeypatch, tmp_path):
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path))
    assert state_path() == tmp_path / "auralize" / "volumes.json"
    monkeypatch.setenv("XDG_STATE_HOME", "not/absolute")  # to be ignored, says the specification
    monkeypatch.setenv("HOME", str(tmp_path))
    assert state_path() == tmp_path / ".local" / "state" / "auralize" / "volumes.json"


HUSHED = """
import os, sys, time
from auralize.live.silence import Hush
hush = Hush()
hush.begin()
os.write(2, b"a library is chatty\\n" * 5000)
print("python speaks", file=sys.stderr)
print("the screen is drawn", file=sys.__stderr__)
hush.end()
os.write(2, b"open again\\n")
for _ in range(500):
    if "a library is chatty" in hush.lines:
        break
    time.sleep(0.01)
print(len(hush.lines))
"""


def test_what_c_libraries_print_is_caught_and_nothing_else():
    done = subprocess.run(
        [sys.executable, "-W", "error", "-c", HUSHED], capture_output=True, text=True, check=True
    )
    assert done.stderr == "python speaks\nthe screen is drawn\nopen again\n"
    assert done.stdout == "50\n"


def test_volumes_are_written_as_json(tmp_path):
    volumes = Volumes(tmp_path / "v.json")
    volumes.put("Wheel house", -3.0)
    volumes.save()
    assert json.loads(Path(tmp_path / "v.json").read_text()) == {"Wheel house": -3.0}
