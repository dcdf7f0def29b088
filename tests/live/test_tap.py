"""The tap on what is played: every block whole, in order, and told where one is missing."""

import threading
import time

import numpy as np
import pytest
import soundfile as sf

from auralize.gains import SOURCE, End
from auralize.live.player import replay
from auralize.live.programme import Programme
from auralize.live.tap import Tap
from support.pumped import BLOCK, RATE
from support.timeline_reference import dry


def put(tap, number, channels=2):
    """A block that says which one it is."""
    tap.put(
        np.full((BLOCK, channels), float(number)),
        np.full((BLOCK, 2), -float(number), np.float32),
        number / 1000.0,
        number * BLOCK if number % 2 else None,
    )


def blocks_of(samples):
    """Which blocks these are, if each is of one piece."""
    rows = samples.reshape(-1, BLOCK * samples.shape[1])
    assert (rows == rows[:, :1]).all()
    return [abs(int(row[0])) for row in rows]


def test_what_was_put_is_read_once_and_in_order():
    tap = Tap(BLOCK, 2, RATE)
    for number in range(1, 6):
        put(tap, number)
    tapped = tap.read()
    assert blocks_of(tapped.source) == blocks_of(tapped.played) == [1, 2, 3, 4, 5]
    assert (tapped.volume, tapped.frame, tapped.lost) == (0.005, 5 * BLOCK, 0)
    assert len(tap.read().source) == 0
    put(tap, 6)
    tapped = tap.read()
    assert blocks_of(tapped.source) == [6]
    assert tapped.frame is None


def test_blocks_that_nobody_read_in_time_are_told():
    tap = Tap(BLOCK, 1, RATE)
    for number in range(3 * tap.size):
        put(tap, number, channels=1)
    tapped = tap.read()
    kept = tap.size - 1
    assert blocks_of(tapped.played) == list(range(3 * tap.size - kept, 3 * tap.size))
    assert tapped.lost == 2 * tap.size + 1
    put(tap, 7, channels=1)
    assert tap.read().lost == 0


class HeldUp:
    """Samples whose first reader is held up until what it looks at, and more, was written anew."""

    def __init__(self, tap: Tap) -> None:
        self._samples, self._tap, self._left = tap._source, tap, 3 * tap.size

    def __setitem__(self, place, samples):
        self._samples[place] = samples

    def __getitem__(self, places):
        while self._left:
            self._left -= 1
            put(self._tap, self._left, channels=1)
        return self._samples[places]


def test_a_reader_that_is_held_up_for_longer_than_all_that_is_kept_goes_on():
    tap = Tap(BLOCK, 1, RATE)
    put(tap, 1, channels=1)
    tap._source = HeldUp(tap)
    tapped = tap.read()
    assert blocks_of(tapped.source) == blocks_of(tapped.played)
    assert tapped.lost + len(blocks_of(tapped.source)) == 1 + 3 * tap.size


def test_a_reader_beside_a_quick_writer_gets_whole_blocks_or_is_told():
    tap, total = Tap(BLOCK, 2, RATE), 1_000
    writer = threading.Thread(target=lambda: [put(tap, n) for n in range(total)])
    writer.start()
    expected = 0
    while expected < total:
        time.sleep(0.001)
        tapped = tap.read()
        found = blocks_of(tapped.source)
        assert found == blocks_of(tapped.played)
        expected += tapped.lost
        assert found == list(range(expected, expected + len(found)))
        expected += len(found)
    writer.join()
    assert expected == total


def test_what_the_tap_gives_is_what_left_and_what_went_in_sample_by_sample(measured, programme):
    """Against the journal: replayed, and worked out over the whole timeline by another way."""
    listening, player = measured.listening, measured.listening.player
    player.tap = Tap(BLOCK, 2, RATE)
    listening.transport.play()
    sources, played = [], []
    for end in (End("drop", "reel"), SOURCE, End("receiving", "beams")):
        measured.hear(end)
        measured.pump(40)
        listening.transport.seek(RATE)
        measured.pump(10)
        tapped = player.tap.read()
        assert tapped.lost == 0
        sources.append(tapped.source)
        played.append(tapped.played)
    assert np.array_equal(np.concatenate(played), np.concatenate(measured.outputs))
    journal = listening.journal
    again = np.concatenate(list(replay(player.setup, journal, Programme(programme, RATE))))
    assert np.array_equal(np.concatenate(played), again)
    samples, _ = sf.read(programme, always_2d=True)
    went_in = np.concatenate([dry(entry, samples, BLOCK) for entry in journal])
    # Fades are written down in two ways; all between them is the file itself.
    assert np.concatenate(sources) == pytest.approx(went_in, abs=1e-15)
