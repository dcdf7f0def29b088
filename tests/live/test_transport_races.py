"""The transport under every order of its three threads: a key, the reader and the callback.

No thread runs: the reader's work is done step by step, and what one of the three does is broken off after
any line of it for another, as a switch of threads would.
"""

import math
import sys
from functools import partial
from types import SimpleNamespace
from unittest.mock import patch

import numpy as np
import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from auralize.live import read_ahead, transport
from auralize.live.blocks import block_frames
from auralize.live.transport import SHORTEST_LOOP, Transport

RATE = 8000
BLOCK = block_frames(RATE)
LENGTH = 20 * BLOCK + 37
STEEPEST = 2 * math.pi / 2 / BLOCK
"""Of a programme of ones: two fades may meet in a block, each half a cosine."""


def ones(frames=LENGTH):
    """A programme in memory."""
    return SimpleNamespace(
        rate=RATE,
        channels=1,
        frames=frames,
        read=lambda start, count: np.ones((min(count, frames - start), 1)),
    )


def stepped(start=0):
    """A transport whose reader has no thread."""
    with patch("threading.Thread.start"):
        return Transport(ones(), start)


def read_all(made):
    """As much as the reader will read now."""
    while made.reader.step():
        pass


def take(made):
    """A block of its own."""
    taken = made.take()
    return taken._replace(samples=taken.samples.copy())


def to_the_end(made):
    """Play until the end has come."""
    made.play()
    for _ in range(2 * LENGTH // BLOCK):
        read_all(made)
        if made.ended:
            return
        take(made)
    raise AssertionError("there is no end")


# ---- single cases


def test_play_after_the_end_waits_for_the_reader_and_is_not_lost():
    made = stepped()
    to_the_end(made)
    made.play()
    for _ in range(5):  # the reader is slow
        assert not take(made).pieces
        assert made.playing
        assert not made.ended
    read_all(made)
    assert take(made).pieces[0].frame == 0
    assert made.starved == 0


@pytest.mark.parametrize("blocks_before", [0, 1])
def test_a_jump_made_as_the_programme_ends_goes_on_playing(blocks_before):
    """Wished while the last block, or nothing, is left; read before or after the end has come."""
    for reader_first in (True, False):
        made = stepped(LENGTH - 3 * BLOCK)
        read_all(made)
        made.play()
        while len(made._current.blocks) > blocks_before:
            take(made)
        made.seek(BLOCK)
        if reader_first:
            read_all(made)
        for _ in range(3):
            taken = take(made)
        read_all(made)
        assert made.playing
        assert (taken.pieces or take(made).pieces)[0].frame in range(BLOCK, 4 * BLOCK)
        assert made.starved == 0


def test_paused_on_the_last_block_play_begins_anew():
    made = stepped(LENGTH - 2 * BLOCK)
    read_all(made)
    made.play()
    while made._current.blocks:
        if len(made._current.blocks) == 1:
            made.pause()
        take(made)
    assert made.position == LENGTH
    made.play()
    assert not take(made).pieces
    read_all(made)
    assert take(made).pieces[0].frame == 0


def test_paused_and_told_to_go_elsewhere_nothing_of_here_is_played():
    made = stepped()
    read_all(made)
    made.play()
    take(made)
    made.pause()
    take(made)
    made.seek(10 * BLOCK)
    made.play()
    assert not take(made).pieces
    read_all(made)
    assert take(made).pieces[0].frame == 10 * BLOCK


def test_after_a_block_that_came_too_late_the_next_fades_in():
    made = stepped()
    read_all(made)
    made.play()
    take(made)
    blocks = list(made._current.blocks)
    made._current.blocks.clear()
    made._current.complete = False
    assert [bool(take(made).pieces) for _ in range(4)] == 4 * [False]
    assert made.starved == 1
    made._current.blocks.extend(blocks)
    assert take(made).rise
    assert not take(made).rise


def test_a_last_block_read_just_before_it_is_due_is_played():
    """The callback looks for a block and finds none; that it came meanwhile, and was the last, is no end."""
    made = stepped(LENGTH - BLOCK // 2)
    read_all(made)
    (last,) = made._current.blocks
    jump = made._current

    class Late(type(jump.blocks)):
        def popleft(self):
            if not len(self) and not jump.late:
                jump.late = jump.complete = True
                self.append(last)
                raise IndexError
            return super().popleft()

    jump.late = jump.complete = False
    jump.blocks = Late()
    made.play()
    made._running = True
    assert not take(made).pieces
    assert not made.ended
    assert take(made).pieces[-1].frame + BLOCK // 2 == LENGTH
    take(made)
    assert made.ended


# ---- every order


FILES = (transport.__file__, read_ahead.__file__)


def broken_off(first, second, lines, lock):
    """What ``first`` gives, with ``second`` in its midst: before the line of that number, or after all.

    Nothing is broken off that holds the lock, as ``second`` would wait for it.
    """
    left, done = lines, False

    def watch(frame, event, _argument):
        nonlocal left, done
        if frame.f_code.co_filename not in FILES:
            return None
        if event == "line" and not done and not lock.locked():
            left -= 1
            if left < 0:
                done = True
                sys.settrace(None)
                second()
                sys.settrace(watch)
        return watch

    before = sys.gettrace()
    sys.settrace(watch)
    try:
        found = first()
    finally:
        sys.settrace(before)
    if not done:
        second()
    return found


@pytest.mark.parametrize("left", [0, 1, 5])
def test_play_pressed_while_the_callback_heeds_a_pause_goes_on_with_a_fade(left):
    """Or begins anew at the end; after whatever line of the callback it comes."""
    for lines in range(40):
        made = stepped(LENGTH - 6 * BLOCK)
        read_all(made)
        made.play()
        while len(made._current.blocks) > left:
            take(made)
        made.pause()
        now = broken_off(partial(take, made), made.play, lines, made.reader._wishing)
        after = take(made)
        if not after.pieces and made.playing:
            read_all(made)
            after = take(made)
        if now.pieces and not now.fall and left == 1:
            assert made.ended, lines  # pressed in time, and that was the last block
        elif now.pieces and not now.fall:
            assert after.pieces, lines
            assert not after.rise, lines
        elif left:
            assert after.rise or after.pieces[0].frame == 0, lines
        else:
            assert made.ended if lines == 0 else after.pieces[0].frame == 0, lines


FRAMES = st.integers(0, LENGTH + 100)
KEYS = st.one_of(
    st.sampled_from([("play",), ("play",), ("pause",), ("unloop",)]),
    st.tuples(st.just("seek"), FRAMES),
    st.tuples(st.just("seek"), st.integers(LENGTH - 2 * BLOCK, LENGTH)),
    st.tuples(st.just("loop"), st.integers(0, LENGTH - 7 * BLOCK), st.integers(7, 14)),
)


class Threads(RuleBasedStateMachine):
    """Keys, reader and callback in any order, broken off anywhere."""

    @initialize(start=FRAMES)
    def begin(self, start):
        self.made = stepped(start)
        self.level = 0.0
        """The last sample."""
        self.at = None
        """Frame after the last one that was played."""
        self.starved = 0
        self.wishes_playing = False

    def broken_off(self, first, second, lines):
        broken_off(first, second, lines, self.made.reader._wishing)

    def key(self, key):
        name, *values = key
        if name == "loop":
            first, blocks = values
            values = [first, min(first + blocks * BLOCK, LENGTH)]
        getattr(self.made, name)(*values)
        if name in ("play", "pause"):
            self.wishes_playing = name == "play"

    def take(self):
        made = self.made
        taken, starved = take(made), made.starved
        samples = taken.samples[:, 0]
        steps = np.abs(np.diff(samples, prepend=self.level))
        abrupt = set(np.flatnonzero(steps > STEEPEST))
        # Only the start of the programme, and its end, come without a fade; and less than a block before
        # the end there is no room for one that a loop would need.
        starts = {p.at for p in taken.pieces if p.frame == 0 or p.frame > LENGTH - BLOCK}
        ends = {piece.at + piece.length for piece in taken.pieces if self.ends(piece)}
        if self.at == LENGTH or starved > self.starved:
            ends.add(0)
        assert abrupt <= starts | ends, (abrupt, starts, ends, taken)
        self.level, self.starved = samples[-1], starved
        if taken.pieces:
            self.at = taken.pieces[-1].frame + taken.pieces[-1].length
            assert made._position == self.at or made._current.frame == made._position

    @staticmethod
    def ends(piece):
        return piece.frame + piece.length == LENGTH

    @rule(key=KEYS)
    def press(self, key):
        self.key(key)

    @rule(steps=st.integers(1, 30))
    def read(self, steps):
        for _ in range(steps):
            self.made.reader.step()

    @rule(blocks=st.integers(1, 4))
    def play_blocks(self, blocks):
        for _ in range(blocks):
            self.take()

    @rule(key=KEYS, lines=st.integers(0, 30))
    def press_within_the_callback(self, key, lines):
        self.broken_off(self.take, lambda: self.key(key), lines)

    @rule(key=KEYS, lines=st.integers(0, 12))
    def the_callback_within_a_key(self, key, lines):
        self.broken_off(lambda: self.key(key), self.take, lines)

    @rule(lines=st.integers(0, 40))
    def the_callback_within_the_reader(self, lines):
        self.broken_off(self.made.reader.step, self.take, lines)

    @rule(lines=st.integers(0, 30))
    def the_reader_within_the_callback(self, lines):
        self.broken_off(self.take, self.made.reader.step, lines)

    @rule(key=KEYS, lines=st.integers(0, 40))
    def a_key_within_the_reader(self, key, lines):
        self.broken_off(self.made.reader.step, lambda: self.key(key), lines)

    @rule(lines=st.integers(0, 30), last=st.booleans())
    def play_is_never_lost(self, lines, last):
        """Whenever it is pressed, paused or ended, sound comes as soon as it has been read."""
        if self.made.playing:
            self.key(("pause",))
            self.take()
        self.take()
        self.at = None
        both = [partial(self.key, ("play",)), self.take]
        self.broken_off(*(both if last else both[::-1]), lines)
        self.sounds()

    @rule(frame=FRAMES, lines=st.integers(0, 30))
    @precondition(lambda self: self.made.playing)
    def a_jump_is_never_lost(self, frame, lines):
        self.broken_off(self.take, lambda: self.key(("seek", frame)), lines)
        if self.made.playing:
            read_all(self.made)
            self.take()  # fades out
            self.take()
            assert self.at is not None
            first = min(frame, LENGTH - 1)
            assert self.at in {min(first + BLOCK * n, LENGTH) for n in (1, 2)} or self.made.looped

    @rule()
    def pause_is_heeded(self):
        self.key(("pause",))
        self.take()
        for _ in range(3):
            assert not take(self.made).pieces
            assert not self.made.playing
        assert self.level <= STEEPEST or self.at == LENGTH

    def sounds(self):
        """What was wished is played, if it has not been, as soon as it is read."""
        for _ in range(3):
            if self.at is not None:
                return
            assert self.made.playing
            read_all(self.made)
            self.take()
        assert self.at is not None

    @invariant()
    def one_of_three(self):
        if not hasattr(self, "made"):
            return
        made = self.made
        assert not (made.playing and made.ended)
        assert not made.playing or self.wishes_playing


Threads.TestCase.settings = settings(
    max_examples=60, stateful_step_count=30, deadline=None, suppress_health_check=list(HealthCheck)
)
TestThreads = Threads.TestCase
assert SHORTEST_LOOP * RATE < 7 * BLOCK
