"""How far measuring has come: by a clock of the test, and of a real programme in pieces."""

import pytest
from auralize_tui.words import measuring_words

from auralize.audio.metering import Meter
from auralize.filters.stream import through
from auralize.live import pieces
from auralize.live.designer import designed
from auralize.live.pieces import Span, Task, Workers
from auralize.live.programme import Programme
from auralize.live.progress import Progress
from auralize.live.sources import FileFeed
from support.pumped import RATE, noise, until, write


def test_share_and_seconds_left_follow_the_work():
    now = [100.0]
    progress = Progress(lambda: now[0])
    assert (progress.share, progress.seconds) == (0.0, None)
    progress.begin(1000)
    progress.expect(2 + 6)  # the programme, and six signals
    now[0] += 0.1
    progress.did(100)
    assert progress.seconds is None  # too soon to say
    now[0] += 0.9
    progress.did(1900)
    assert progress.share == pytest.approx(2 / 8)
    assert progress.seconds == pytest.approx(3.0)
    progress.expect(8)  # an edit: two more
    assert progress.share == pytest.approx(2 / 10)
    progress.did(8000)
    assert (progress.share, progress.seconds) == (1.0, 0.0)
    progress.rest()
    now[0] += 50.0
    progress.expect(2)
    assert progress.share == 0.0
    now[0] += 1.0
    progress.did(500)
    assert (progress.share, progress.seconds) == (pytest.approx(0.25), pytest.approx(3.0))


@pytest.mark.parametrize(
    ("frames", "rate", "found"),
    [
        (10, 48_000, [Span(0, None)]),
        (48_000 * 39, 48_000, [Span(0, None)]),
        (48_000 * 40, 48_000, [Span(0, 200), Span(200, None)]),
        (11_025 * 70, 11_025, [Span(0, 200), Span(200, 400), Span(400, None)]),
    ],
)
def test_the_last_piece_is_at_least_as_long_as_any(frames, rate, found):
    assert pieces.pieces(frames, rate) == found


@pytest.mark.parametrize("rate", [RATE, 44_100])
def test_what_filters_make_of_a_programme_in_pieces_is_what_they_make_of_the_whole(
    tmp_path, saltmarsh, monkeypatch, rate
):
    monkeypatch.setattr(pieces, "PIECE", 9)
    path = write(tmp_path / "noise.wav", noise(4 * RATE))
    filters = designed(saltmarsh["beams"], rate)
    firs = [filters.receiving, filters.drop]
    told = []
    pool = Workers()
    found = list(pool.measure(Task(FileFeed(path), rate, firs), lambda: True, told.append))
    pool.close()
    assert [piece.stop for _, piece in found] == [9, 18, 27, None]
    with Programme(path, rate) as programme:
        samples = programme.read(0, programme.frames)
    assert sum(told) > len(samples)
    meters = [Meter(rate, 2) for _ in firs]
    for _, wet in through([samples], firs, 2):
        for meter, signal in zip(meters, wet, strict=True):
            meter.add(signal)
    # Single precision rounds each sample to some 1e-7 of the signal, which averages out in its power.
    for ours, whole in zip(found[-1][0], meters, strict=True):
        assert ours.level.loudness == pytest.approx(whole.level.loudness, abs=1e-5)
        assert ours.level.peak == pytest.approx(whole.level.peak, rel=1e-6)


def test_what_is_not_wanted_any_more_ends_at_once(tmp_path, monkeypatch):
    monkeypatch.setattr(pieces, "PIECE", 5)
    path = write(tmp_path / "noise.wav", noise(6 * RATE))
    pool, wanted = Workers(), [True]
    found = pool.measure(Task(FileFeed(path), RATE), lambda: wanted[0], lambda frames: None)
    assert next(found)[1] == Span(0, 5)
    wanted[0] = False
    assert list(found) == []
    pool.close()


def test_while_levels_are_measured_the_status_says_how_far_that_is(pumped):
    seen = []

    def done():
        status = pumped.listening.status()
        seen.append((status.certainty, status.measured))
        return status.certainty == "measured"

    until(done)
    until(lambda: pumped.listening.status().measured == 1.0)
    assert pumped.listening.status().measured_in == 0.0
    assert all(0.0 <= share <= 1.0 for _, share in seen)
    assert seen[0][1] < 1.0


@pytest.mark.parametrize(
    ("told", "words"),
    [
        (("measured", 1.0, 0.0), ""),
        (("unknown", 0.0, None), "levels not known yet; measuring: 0 %"),
        (("predicted", 0.999, 0.2), "levels predicted; measuring: 99 %, 1 s left"),
        (("predicted", 1.0, 0.0), "levels predicted, and cannot be measured"),
    ],
)
def test_progress_in_words(told, words):
    assert measuring_words(*told) == words
