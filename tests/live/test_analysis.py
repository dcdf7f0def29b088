"""What is told of the spectrum while it plays, against the renderer's files and against the filters."""

import time

import numpy as np
import pytest
import soundfile as sf
from scipy.signal import welch

from auralize.audio.analyser import THIRD
from auralize.gains import LOUDNESS, SOURCE, End
from auralize.live.analysis import HISTORY, LEAST_SOURCE, PATIENCE
from auralize.renderer.files import render
from support.evening import evening
from support.pumped import BLOCK, RATE, Pumped, noise, until, write

PICTURE = 8
"""Blocks from one picture to the next: 85 ms."""
OFTEN = 2
"""The same where means are taken: a burst counts 1 % more or less, as it lies between pictures of 21 ms."""
REEL, DROP, BEAMS = End("receiving", "reel"), End("drop", "reel"), End("drop", "beams")
ALL = (SOURCE, REEL, DROP, BEAMS)
BAR = 0.1
"""dB"""
ENDING = 6
"""s of silence after which a slow average holds e^-6 of a mean: 0.01 dB."""


def looked(pumped, heard=ALL, fineness="thirds", blocks=PICTURE, new=()):
    """So many blocks, and the picture of them."""
    listening = pumped.listening
    before = listening.analysis.look(heard, fineness)
    pumped.pump(blocks)
    listening.analysis.look(heard, fineness)

    def there():
        picture = listening.analysis._picture  # one that was under way may lack what is new
        return picture not in (None, before) and all(h in picture.bare for h in new)

    until(there)
    return listening.analysis._picture


def playing(path, choices):
    """At full volume, from the first sample on, with nobody's hands on it."""
    pumped = Pumped(path, choices)
    pumped.measured()
    pumped.listening.set_volume(0.0)
    until(lambda: pumped.listening.player.ready)
    pumped.pump(60)  # the soft start
    return pumped


def mean_levels(pictures, of):
    return 10 * np.log10(np.mean([10 ** (of(p) / 10) for p in pictures], axis=0))


def whole(pumped, seconds, heard):
    """Pictures of a programme from before its first frame to long after the last."""
    pumped.listening.analysis.look(ALL, "thirds")
    pumped.hear(heard)
    pictures = [looked(pumped)]
    pumped.listening.transport.play()
    for _ in range(round((seconds + ENDING) * RATE / BLOCK / OFTEN)):
        pictures.append(looked(pumped, blocks=OFTEN))
    return pictures


def periodograms(path, frequencies, scale):
    """dB in third octaves of a file, by scipy.signal.welch, with windows as long as the analyser states.

    Mean over channels; padded by a window, so that each sample counts as it does while it plays.
    """
    samples, rate = sf.read(path, always_2d=True)
    found = []
    for middle in frequencies:
        window = 1024 if middle > 1100 else 1 << int(np.ceil(np.log2(2.5 * rate / 0.109 / middle)))
        padded = np.pad(samples, ((window, window), (0, 0)))
        at, density = welch(padded, rate, "hann", window, 3 * window // 4, detrend=False, axis=0)
        low, high, width = middle * THIRD**-0.5, middle * THIRD**0.5, at[1]
        share = np.minimum(at + width / 2, high) - np.maximum(at - width / 2, low)
        power = np.sum(density.mean(axis=1) * np.clip(share, 0.0, None))
        hop = window // 4
        looked_at = ((len(padded) - window) // hop + 1) * hop  # frames, each once
        found.append(power * looked_at / len(samples) * scale)
    return 10 * np.log10(found)


def test_levels_are_those_of_the_renderers_files(tmp_path, saltmarsh):
    """Source, receiving end and drop of one choice and drop of another, all at once, while one is heard.

    Noise, then the demonstration's programme. A file is written by the renderer and read by another
    library's periodograms. Bands 40 dB under the
    loudest one are left out: what leaks into them differs with the rate at which they are looked at.
    """
    samples = np.concatenate([noise(RATE, seed=4), evening()[: 3 * RATE]])
    place = np.arange(len(samples))
    edges = np.clip(np.minimum(place, place[::-1]) / (RATE / 2), 0.0, 1.0)
    samples = samples * edges[:, None]  # a file ends at once, where a run that is heard rings on
    path = write(tmp_path / "programme.wav", samples)
    pumped = playing(path, saltmarsh)
    seconds = len(samples) / RATE
    pictures = whole(pumped, seconds, DROP)
    pumped.close()
    assert pictures[-1].lost == 0
    done = render(path, [saltmarsh["reel"], saltmarsh["beams"]], tmp_path / "out")
    files = {End(o.signal, o.choice): o for o in done.outputs}
    frequencies = pictures[0].frequencies
    share = len(samples) / (len(pictures) * OFTEN * BLOCK)
    for heard in (REEL, DROP, BEAMS):
        expected = periodograms(files[heard].path, frequencies, share) - files[heard].gains.total
        found = mean_levels(pictures, lambda p, heard=heard: p.bare[heard].slow)
        loud = expected > expected.max() - 40.0
        assert loud.sum() > 20
        assert found[loud] == pytest.approx(expected[loud], abs=BAR), heard
    source = mean_levels(pictures, lambda p: p.bare[SOURCE].slow)
    expected = periodograms(path, frequencies, share)
    loud = expected > expected.max() - 40.0
    assert source[loud] == pytest.approx(expected[loud], abs=BAR)
    # What was played is the drop with its gains: the same blocks, another way.
    played = mean_levels(pictures[5:], lambda p: p.played.slow)
    as_heard = mean_levels(pictures[5:], lambda p: p.as_heard(DROP).slow)
    assert played == pytest.approx(as_heard, abs=0.02)


@pytest.fixture
def steady(tmp_path, saltmarsh):
    """Noise without an end."""
    pumped = playing(write(tmp_path / "noise.wav", noise(4 * RATE, seed=2)), saltmarsh)
    pumped.listening.transport.loop(0, 4 * RATE)
    pumped.listening.transport.play()
    yield pumped
    pumped.close()


def test_relative_to_the_source_it_is_the_response_of_the_run(steady, saltmarsh):
    """Against the network solved at the mid-band frequencies; averaged slowly, gains left out."""
    steady.listening.set_match(LOUDNESS)
    steady.hear(REEL)
    pictures = [looked(steady, blocks=24) for _ in range(60)][20:]
    for heard in (REEL, DROP):
        response = saltmarsh["reel"].response(pictures[0].frequencies, signal=heard.signal)
        found = np.mean([p.re_source(heard).slow for p in pictures], axis=0)
        expected = 20 * np.log10(np.abs(response))
        high = (
            pictures[0].frequencies > 300.0
        )  # a response that bends within a band has no one level there
        assert found[high] == pytest.approx(expected[high], abs=0.25)


def test_what_is_newly_looked_at_is_known_at_once(steady):
    for _ in range(round(HISTORY * RATE / BLOCK / PICTURE) + 10):
        before = looked(steady, (SOURCE, REEL))
    after = looked(steady, (SOURCE, REEL, BEAMS), new=[BEAMS])
    assert list(before.bare) == [SOURCE, REEL]
    assert list(after.bare) == [SOURCE, REEL, BEAMS]
    for _ in range(40):
        later = looked(steady, (SOURCE, REEL, BEAMS))
    # Of white noise: the same level now and later, but for what noise does in a band.
    assert after.bare[BEAMS].slow[20:] == pytest.approx(later.bare[BEAMS].slow[20:], abs=1.0)
    assert after.bare[REEL].slow[20:] == pytest.approx(before.bare[REEL].slow[20:], abs=1.0)


def test_an_edit_is_looked_at_as_it_is_heard(steady, saltmarsh):
    from support.live_session import stretched

    for _ in range(5):
        before = looked(steady, (DROP,))
    steady.listening.update_choice(stretched(saltmarsh["reel"], 2.0))
    until(lambda: any("is heard" in event.text for event in steady.events), 60.0)
    for _ in range(8):  # room for a longer filter is made meanwhile
        steady.pump(PICTURE)
        time.sleep(0.01)
    for _ in range(5):
        after = looked(steady, (DROP,))
    change = (after.re_source(DROP).fast - before.re_source(DROP).fast)[10:]
    assert 3.0 < np.median(change) < 6.1  # twice the run keeps up to twice the voltage


def test_the_fine_line_tells_the_same_of_noise(steady):
    for _ in range(60):
        thirds = looked(steady)
    for _ in range(20):
        line = looked(steady, fineness="line")
    assert len(line.frequencies) == 240
    # A twelfth of an octave holds 6.02 dB less of white noise than a third of one (ratio of widths 4.01).
    at = np.interp(2000.0, line.frequencies, line.played.slow)
    third = np.interp(2000.0, thirds.frequencies, thirds.played.slow)
    assert third - at == pytest.approx(6.0, abs=1.5)


def test_while_a_slot_is_heard_nothing_is_told_and_nothing_is_copied(steady):
    listening = steady.listening
    looked(steady)
    listening.load_slots([DROP, REEL])
    listening.hear_slot(0)
    assert listening.player.tap is None
    for _ in range(5):
        steady.pump(PICTURE)
        assert listening.analysis.look(ALL, "thirds") is None
        assert listening.player.tap is None
    listening.hear(SOURCE)
    assert listening.analysis.look(ALL, "thirds") is None  # the slot is still to be faded out
    assert listening.player.tap is None
    steady.pump_until(
        lambda: listening.player.ready and listening._sounding.now.wish == listening._wish
    )
    assert listening.analysis.look(ALL, "thirds") is None  # no picture of before
    assert looked(steady).lost == 0


def test_blocks_that_there_was_no_time_for_are_told_and_leave_no_trace(steady):
    for _ in range(30):
        before = looked(steady, (SOURCE, DROP))
    tap = steady.listening.player.tap
    steady.pump(2 * tap.size)
    for _ in range(30):
        after = looked(steady, (SOURCE, DROP))
    assert before.lost == 0
    assert after.lost >= tap.size
    assert after.re_source(DROP).slow[15:] == pytest.approx(
        before.re_source(DROP).slow[15:], abs=0.5
    )


def test_nobody_looking_nothing_is_copied_any_more(steady):
    looked(steady)
    assert steady.listening.player.tap is not None
    time.sleep(PATIENCE)
    until(lambda: steady.listening.player.tap is None, 2 * PATIENCE)
    assert steady.listening.analysis.look(ALL, "thirds") is None


def test_a_silent_source_has_no_level_relative_to_it_and_an_unknown_choice_none_at_all(steady):
    steady.listening.transport.pause()
    for _ in range(60):
        picture = looked(steady, (SOURCE, DROP, End("drop", "loft")), blocks=100)
    assert picture.bare[SOURCE].slow.max() < LEAST_SOURCE
    assert np.isnan(picture.re_source(DROP).slow).all()
    assert list(picture.bare) == [SOURCE, DROP]
    assert picture.position is None


def test_without_blocks_there_is_no_picture(steady):
    looked(steady)
    listening = steady.listening

    def gone():
        time.sleep(0.05)
        return listening.analysis.look(ALL, "thirds") is None

    until(gone, 5.0)
