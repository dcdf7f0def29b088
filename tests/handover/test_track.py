"""The track, sample by sample, against the files it is made of."""

import math
from itertools import pairwise

import numpy as np
import pyloudnorm
import pytest
import soundfile as sf
from scipy.signal import resample_poly

from auralize.audio.reader import probe
from auralize.handover import track as module
from auralize.handover.cue_sheet import grid
from auralize.handover.track import DROP_TONE, END_TONE, Announced, laid_out, write_track

LOUDNESS = -20.0
LSB = 2.0**-23


def sounds(folder, seconds=2.5, rate=48_000, channels=2, count=3, level=0.05):
    """Files of noise that have nothing to do with each other: a source and receiving ends."""
    voices = []
    for number in range(count):
        noise = np.random.default_rng(number).normal(0, level, (round(seconds * rate), channels))
        path = folder / f"{number}.wav"
        sf.write(path, noise, rate, "PCM_24")
        voices.append(Announced(path, number, END_TONE, LOUDNESS))
    return voices


def made(folder, asked):
    path = folder / "track.wav"
    track = laid_out(probe(asked[0][1][0].path), asked)
    peak = write_track(track, path, "PCM_24", "a track", lambda share: None)
    heard, rate = sf.read(path, always_2d=True)
    assert (rate, len(heard)) == (track.info.rate, track.frames)
    return track, heard, peak


def in_turn(folder, **options):
    source, first, second = voices = sounds(folder, **options)
    asked = [("source", (source,)), ("first", (first,)), ("turns", (first, second))]
    return voices, made(folder, asked)


@pytest.mark.parametrize("rate", [8_000, 22_050, 32_000, 44_100, 48_000, 96_000])
def test_between_the_fades_are_the_files_own_samples(tmp_path, rate):
    voices, (track, heard, _) = in_turn(tmp_path, seconds=2.1, rate=rate)
    files = [sf.read(voice.path, always_2d=True)[0] for voice in voices]
    for part, file in zip(track.parts, files[:2], strict=False):
        assert part.start % grid(rate) == part.passage % grid(rate) == 0
        passage = heard[part.passage : part.passage + track.passage]
        middle = slice(part.rise, track.passage - track.fade)
        assert np.array_equal(passage[middle], file[middle])
        rise = np.sin(0.5 * np.pi * (np.arange(part.rise) + 0.5) / part.rise) ** 2
        assert np.allclose(passage[: part.rise], file[: part.rise] * rise[:, None], atol=LSB)
    assert track.parts[0].rise == round(0.5 * rate)  # comes up slowly


def test_two_take_turns_in_step_with_cross_fades_of_15_ms(tmp_path):
    voices, (track, heard, _) = in_turn(tmp_path, seconds=8.0, rate=48_000)
    part = track.parts[-1]
    turns = track.turns(part)
    assert [at - part.passage for at, _ in turns] == [0, 96_000, 192_000, 288_000]
    assert [voice.tones for _, voice in turns] == [1, 2, 1, 2]
    assert track.fade == 720
    files = {voice: sf.read(voice.path, always_2d=True)[0] for voice in voices}
    ends = [at for at, _ in turns[1:]] + [part.passage + track.passage - track.fade]
    rise = np.sin(0.5 * np.pi * (np.arange(720) + 0.5) / 720)[:, None] ** 2
    for (at, voice), end in zip(turns, ends, strict=True):
        alone = slice(at + 720 - part.passage, end - part.passage)
        assert np.array_equal(heard[at + 720 : end], files[voice][alone])
    for (_, before), (at, after) in pairwise(turns):
        faded = slice(at - part.passage, at - part.passage + 720)
        mixed = (1.0 - rise) * files[before][faded] + rise * files[after][faded]
        assert np.allclose(heard[at : at + 720], mixed, rtol=0.0, atol=LSB)


@pytest.mark.parametrize(("seconds", "turn"), [(30.0, 4.0), (10.0, 2.5), (3.0, 1.0), (1.5, 0.75)])
def test_turns_are_as_long_as_the_passage_has_room_for(tmp_path, seconds, turn):
    voices = sounds(tmp_path, seconds, rate=8_000, channels=1)
    track = laid_out(probe(voices[0].path), [("turns", tuple(voices[:2]))])
    assert track.turn == round(turn * 8_000)


def test_it_starts_with_silence_then_as_many_tones_as_the_number_of_the_choice(tmp_path):
    rate = 48_000
    source, *choices = sounds(tmp_path, 1.0, rate, count=8)
    asked = [("source", (source,)), *(("choice", (voice,)) for voice in choices)]
    track, heard, _ = made(tmp_path, [*asked, ("turns", (choices[1], choices[2]))])
    for part in track.parts:
        before = heard[part.start : part.passage]
        assert not before[: rate // 2].any()
        assert not before[-rate // 2 :].any()
        envelope = np.abs(before[:, 0]).reshape(-1, 640).max(axis=1) > 1e-4
        begun = np.flatnonzero(np.diff(envelope.astype(int)) == 1)
        assert len(begun) == sum(max(1, voice.tones) for voice in part.voices)
        if part.voices[0].tones == 7:  # five and two, so that they can be counted
            assert np.diff(begun) == pytest.approx([18, 18, 18, 18, 36, 18], abs=1)


@pytest.mark.parametrize("channels", [1, 2])
def test_tones_lie_12_lu_under_what_they_announce(tmp_path, channels):
    """Loudness by pyloudnorm, of the steady part of the long tone, which has one gating block of 400 ms.

    It realises the K-weighting by other filters: 0.1 LU at 1 kHz.
    """
    rate = 48_000
    (source,) = sounds(tmp_path, 1.0, rate, channels, count=1)
    track, heard, _ = made(tmp_path, [("source", (source,))])
    begin = round(0.6 * rate)
    steady = heard[begin : begin + round(0.4 * rate)]
    measured = pyloudnorm.Meter(rate).integrated_loudness(np.tile(steady, (3, 1)))
    assert track.parts[0].tone_loudness == LOUDNESS - 12.0
    assert measured == pytest.approx(LOUDNESS - 12.0, abs=0.1)


@pytest.mark.parametrize("hertz", [END_TONE, DROP_TONE])
def test_tones_are_soft_at_their_edges_and_narrow(tmp_path, hertz):
    """Beyond an octave on either side a raised cosine of 10 ms leaves under a millionth of the power."""
    (voice,) = sounds(tmp_path, 1.0, count=1)
    track, heard, _ = made(tmp_path, [("drop", (Announced(voice.path, 1, hertz, LOUDNESS),))])
    before = heard[: track.parts[0].passage, 0]
    power = np.abs(np.fft.rfft(before)) ** 2
    frequency = np.fft.rfftfreq(len(before), 1 / 48_000)
    beside = (frequency < hertz / 2) | (frequency > 2 * hertz)
    assert power[beside].sum() < 1e-6 * power.sum()
    assert frequency[power.argmax()] == pytest.approx(hertz, rel=0.01)


def test_nothing_passes_the_peak_of_the_files(tmp_path):
    """True peak by another oversampling (scipy's), 0.02 dB for its filter."""
    full = 10 ** (-1 / 20)
    voices = []
    for number in range(2):
        path = tmp_path / f"full-{number}.wav"
        wave = np.sin(2 * np.pi * (997 + 400 * number) * np.arange(96_000) / 48_000)
        sf.write(path, full * wave, 48_000, "PCM_24")
        voices.append(Announced(path, number + 1, END_TONE, -4.0))
    _, heard, peak = made(tmp_path, [("first", (voices[0],)), ("turns", tuple(voices))])
    other = 20 * math.log10(np.abs(resample_poly(heard, 8, 1)).max())
    assert peak == pytest.approx(other, abs=0.02)
    assert other <= -1.0 + 0.02


def test_what_is_much_louder_than_before_comes_up_in_2_s(tmp_path):
    (voice,) = sounds(tmp_path, 5.0, rate=8_000, channels=1, count=1)
    levels = [-20.0, -14.0, -30.0, -23.9, -math.inf, -30.0]
    asked = [("", (Announced(voice.path, 1, END_TONE, level),)) for level in levels]
    track, heard, _ = made(tmp_path, asked)
    assert [part.rise for part in track.parts] == [4_000, 120, 120, 16_000, 120, 16_000]
    file = sf.read(voice.path)[0]
    for part in track.parts:
        early = heard[part.passage + part.rise // 4 : part.passage + part.rise // 2, 0]
        assert np.all(np.abs(early) <= 0.5 * np.abs(file).max())
        after = slice(part.rise, track.passage - track.fade)
        assert np.array_equal(heard[part.passage :, 0][after], file[after])


def test_silence_is_announced_softly(tmp_path):
    (voice,) = sounds(tmp_path, 1.0, count=1, level=0.0)
    silent = Announced(voice.path, 1, END_TONE, -math.inf)
    track, heard, _ = made(tmp_path, [("silent", (silent,))])
    assert track.parts[0].tone_loudness == -50.0
    assert 0.0 < np.abs(heard).max() < 10 ** (-45 / 20)


def test_of_a_long_file_the_first_half_minute_is_heard(tmp_path):
    voices, (track, heard, _) = in_turn(tmp_path, seconds=31.0, rate=8_000, channels=1)
    assert track.passage == 30 * 8_000
    at = track.parts[1].passage
    file = sf.read(voices[1].path, always_2d=True)[0]
    assert np.array_equal(heard[at + 4_000 : at + 239_000], file[4_000:239_000])
    assert not heard[at + track.passage : track.parts[2].start].any()


@pytest.mark.parametrize("frames", [1, 2, 3, 50, 1000])
def test_very_short_files(tmp_path, frames):
    _, (track, heard, _) = in_turn(tmp_path, seconds=frames / 48_000)
    assert np.isfinite(heard).all()
    assert track.passage == frames
    assert all(heard[p.passage : p.passage + frames].any() for p in track.parts)


def test_the_same_however_it_is_cut_into_blocks(tmp_path, monkeypatch):
    whole = in_turn(tmp_path, seconds=1.5)[1][1]
    monkeypatch.setattr(module, "BLOCK", 1009)
    assert np.array_equal(in_turn(tmp_path, seconds=1.5)[1][1], whole)
