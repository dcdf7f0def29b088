"""Times as they are typed, markers, and a stretch between two."""

import math

import pytest

from auralize.errors import RequestError
from auralize.live.places import Destination, FromTo, Marker, moment, place_of

MARKERS = {"verse": 12.5, "to the sea": 40.0}


@pytest.mark.parametrize(
    ("text", "seconds"),
    [
        ("1:05.3", 65.3),
        ("65", 65.0),
        ("65.3 s", 65.3),
        ("65.3s", 65.3),
        ("500 ms", 0.5),
        ("2 min", 120.0),
        ("0:00", 0.0),
        ("90:00", 5400.0),
    ],
)
def test_a_time_is_read_as_people_write_it(text, seconds):
    assert moment(text) == pytest.approx(seconds, rel=1e-12)


@pytest.mark.parametrize(
    "text", ["", "1:60", "1:-5", "-3", "1:2:3", "verse", "3 m", ":5", "1:", "nan"]
)
def test_what_is_no_time(text):
    assert math.isnan(moment(text))


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("1:05", Destination(65.0)),
        ("verse", Destination(12.5)),
        ("to the sea", Destination(40.0)),
        ("chorus", Marker("chorus")),
        ("verse to 1:00", FromTo(12.5, 60.0)),
        ("1:00 to verse", FromTo(12.5, 60.0)),
        (" 5 to 6 s ", FromTo(5.0, 6.0)),
    ],
)
def test_what_is_asked_for(text, found):
    assert place_of(text, MARKERS, 100.0) == found


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("2:00", "after the end"),
        ("verse to 2:00", "after the end"),
        ("verse to chorus", "no time and no marker"),
        ("", "right is a time"),
        ("1:70", "right is a time"),
        ("5 apples", "right is a time"),
        ("9" * 400 + ":05", "right is a time"),
    ],
)
def test_what_cannot_be(text, sentence):
    with pytest.raises(RequestError, match=sentence):
        place_of(text, MARKERS, 100.0)
