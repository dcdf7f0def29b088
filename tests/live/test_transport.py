"""The programme at any rate from any place, and the transport: play, pause, jump and loop."""

import math
from collections import deque

import numpy as np
import pytest

from auralize.errors import AudioFileError
from auralize.live.blocks import block_frames
from auralize.live.programme import Programme
from auralize.live.read_ahead import Place
from auralize.live.transport import Transport
from auralize.units import decibels
from support.pumped import BLOCK, RATE, noise, settled, until, write
from support.timeline_reference import cosine

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
    assert "finite" in transport.told_fault()
    assert transport.position <= 60_000
    transport.close()


@pytest.mark.parametrize("first", [0, 10_000])
def test_after_the_last_frame_of_a_loop_comes_the_first_both_faded(tmp_path, first):
    """Three passes, sample by sample; the length is no multiple of a block."""
    samples, stop = noise(RATE, 2), first + 9_001
    transport = Transport(Programme(write(tmp_path / "noise.wav", samples)))
    transport.loop(first, stop)
    transport.seek(first)
    settled(transport)
    transport.play()
    count = 3 * 9_001 // BLOCK
    heard = np.concatenate([one.samples for one in blocks_of(transport, count)])
    frames = first + np.arange(count * BLOCK) % 9_001
    # A pass fades in over the block after its start, but for that of the programme, and out before its end.
    fade_in = cosine((frames - first + 0.5) / BLOCK) if first else np.ones(len(frames))
    expected = samples[frames] * (fade_in * cosine((stop - frames - 0.5) / BLOCK))[:, None]
    assert np.abs(heard - expected).max() < 1e-15  # rounding of the two cosines
    assert np.array_equal(heard[BLOCK : 9_001 - BLOCK], samples[first + BLOCK : stop - BLOCK])
    transport.close()


def test_a_jump_to_just_before_the_end_of_a_loop_or_behind_it_plays_on(transport):
    """Where there is no room left for the fade."""
    transport.loop(10_000, 20_000)
    for frame, last in ((20_000 - BLOCK, 20_000), (20_000 - BLOCK - 1, 10_000)):
        transport.seek(frame)
        settled(transport)
        transport.play()
        taken = blocks_of(transport, 4)
        assert (max(p.frame for one in taken for p in one.pieces) >= 20_000) == (last == 20_000)
        transport.pause()
        blocks_of(transport, 2)


def test_a_loop_is_held_within_the_programme(transport):
    transport.loop(-500, 10 * RATE)
    assert transport.looped == (0, 2 * RATE)
    transport.unloop()
    assert transport.looped is None
    transport.seek(10 * RATE)
    assert transport.position == 2 * RATE - 1
    transport.seek(-5)
    assert transport.position == 0
    transport.loop(100, 100 + RATE // 10)  # the shortest there is
    with pytest.raises(AudioFileError, match=r"must last 0\.1 s"):
        transport.loop(100, 99 + RATE // 10)


def test_after_the_end_play_begins_at_the_loop(transport):
    transport.seek(2 * RATE - 100)
    transport.play()
    settled(transport)
    blocks_of(transport, 3)
    assert transport.ended
    transport.loop(30_000, 60_000)
    transport.play()
    assert transport.position == 30_000


def test_a_second_of_the_programme_is_read_ahead_and_no_more(transport):
    assert len(transport._current.blocks) == round(RATE / BLOCK)


def test_a_block_that_has_not_been_read_is_silence_and_counted(transport):
    transport.play()
    transport.take()
    blocks, transport._current.blocks = transport._current.blocks, deque()
    place = transport.position
    assert not transport.take().samples.any()
    assert transport.starved == 1
    transport._current.blocks = blocks
    assert transport.take().pieces[0].frame == place  # nothing is lost
    assert transport.starved == 1


def test_a_change_of_loop_leaves_what_is_about_to_be_taken_and_reads_the_rest_anew(transport):
    """Four blocks; and the end of the programme, which had been reached, is not the end any more."""
    transport.close()
    transport.reader.thread.join()
    jump = transport._current
    jump.complete = True
    place = transport.reader._taken_back(jump, Place(2 * RATE, None))
    assert [pieces[0].frame for _, pieces, _ in jump.blocks] == [n * BLOCK for n in range(4)]
    assert place == Place(4 * BLOCK, None)
    assert not jump.complete


def test_after_the_end_play_is_not_lost_whatever_the_callback_does_next(transport):
    """It comes before the reader has gone back to the start."""
    for _ in range(20):
        transport.seek(2 * RATE - 100)
        transport.play()
        settled(transport)
        blocks_of(transport, 3)
        assert transport.ended
        transport.play()
        transport.take()
        assert transport.playing
        until(lambda: transport.take().pieces)
        assert transport.position <= 2 * BLOCK
        transport.pause()
        transport.take()
