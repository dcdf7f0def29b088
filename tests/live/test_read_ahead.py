"""Which frames come next: places, loops and the pieces of a block, worked out by hand."""

import pytest

from auralize.live.blocks import Piece
from auralize.live.read_ahead import Loop, Place, first_place, next_pieces, within

BLOCK, LENGTH = 512, 100_000
LOOP = Loop(10_000, 20_000)


@pytest.mark.parametrize(
    ("frame", "end"),
    [(0, 20_000), (10_000, 20_000), (19_487, 20_000), (19_488, None), (20_000, None)],
)
def test_a_jump_to_where_the_fade_at_the_end_has_room_is_within_the_loop(frame, end):
    place = first_place(frame, LOOP, BLOCK)
    assert (place.frame, place.begin, place.end) == (frame, frame or None, end)
    assert place.then == (10_000 if end else 0)
    assert first_place(frame, None, BLOCK) == Place(frame, frame or None)


FADING = Place(19_489, 5, 20_000, 10_000)
"""One frame into the fade before 20,000."""
BEFORE = Place(19_488, 5, 20_000, 10_000)


def test_without_its_loop_a_pass_goes_on_unless_it_fades_out_already():
    assert within(BEFORE, None, BLOCK, LENGTH) == Place(19_488, 5, None, 10_000)
    assert within(FADING, None, BLOCK, LENGTH) == FADING


@pytest.mark.parametrize(
    ("place", "loop", "expected"),
    [
        (FADING, Loop(3_000, 60_000), Place(19_489, 5, 20_000, 3_000)),  # to its end, then there
        (BEFORE, Loop(3_000, 60_000), Place(19_488, 5, 60_000, 3_000)),
        (Place(40_000, 5), Loop(3_000, 60_000), Place(40_000, 5, 60_000, 3_000)),
        (Place(40_000, 5), Loop(3_000, 30_000), Place(40_000, 5, 40_512, 3_000)),  # room to fade
        (Place(40_000, 5), Loop(3_000, 40_100), Place(40_000, 5, 40_512, 3_000)),
        (Place(99_900, 5), Loop(3_000, 30_000), Place(99_900, 5, 100_000, 3_000)),
    ],
)
def test_another_loop_is_heeded_as_soon_as_a_fade_allows(place, loop, expected):
    assert within(place, loop, BLOCK, LENGTH) == expected


def test_a_block_within_a_pass_is_one_piece():
    pieces, place, complete = next_pieces(Place(700, 5), None, BLOCK, LENGTH)
    assert pieces == [Piece(0, 700, 512, 5, None)]
    assert place == Place(1_212, 5)
    assert not complete


def test_a_block_over_the_end_of_a_loop_is_two_pieces():
    start = Place(19_900, 5, 20_000, 10_000)
    pieces, place, complete = next_pieces(start, LOOP, BLOCK, LENGTH)
    assert pieces == [Piece(0, 19_900, 100, 5, 20_000), Piece(100, 10_000, 412, 10_000, 20_000)]
    assert place == Place(10_412, 10_000, 20_000, 10_000)
    assert not complete


def test_a_block_that_ends_with_a_loop_goes_on_at_its_start():
    """A loop from the start of the programme has no fade there; one that was left has no end."""
    start = Place(19_488, 5, 20_000, 0)
    pieces, place, _ = next_pieces(start, Loop(0, 20_000), BLOCK, LENGTH)
    assert pieces == [Piece(0, 19_488, 512, 5, 20_000)]
    assert place == Place(0, None, 20_000, 0)
    assert next_pieces(start, None, BLOCK, LENGTH)[1] == Place(0, None, None, 0)


@pytest.mark.parametrize(("frame", "left"), [(99_900, 100), (99_488, 512)])
def test_the_last_block_is_as_long_as_what_is_left(frame, left):
    pieces, place, complete = next_pieces(Place(frame, 5), None, BLOCK, LENGTH)
    assert pieces == [Piece(0, frame, left, 5, None)]
    assert place.frame == LENGTH
    assert complete


def test_after_the_end_there_is_nothing():
    assert next_pieces(Place(LENGTH, 5), None, BLOCK, LENGTH) == ([], Place(LENGTH, 5), True)
