"""Places in a programme: times as people type them, markers by name, a stretch between two."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from auralize.errors import RequestError
from auralize.units import typed

BETWEEN = " to "
"""What parts the two ends of a stretch."""


@dataclass(frozen=True)
class Destination:
    """Somewhere to go."""

    seconds: float


@dataclass(frozen=True)
class FromTo:
    """From one second to another, to be played again and again."""

    start: float
    end: float


@dataclass(frozen=True)
class Marker:
    """A name for where one is."""

    name: str


def moment(text: str) -> float:
    """``1:05.3``, ``65`` or ``65.3 s`` in seconds; not a number for what is no time."""
    minutes, colon, seconds = text.strip().partition(":")
    try:
        if not colon:
            found = typed(text, "time", "s")
        elif minutes.isdecimal() and seconds[:1].isdecimal() and float(seconds) < 60.0:
            found = 60.0 * int(minutes) + float(seconds)
        else:
            return math.nan
    except (ValueError, OverflowError):
        return math.nan
    return found if found >= 0.0 else math.nan


def place_of(
    text: str, markers: Mapping[str, float], length: float
) -> Destination | FromTo | Marker:
    """What a typed text asks for in a programme of ``length`` s; raises RequestError."""
    text = text.strip()
    if text in markers:
        return Destination(markers[text])
    if not math.isnan(moment(text)):
        return Destination(_within(text, length))
    start, between, end = text.partition(BETWEEN)
    if between:
        one, other = sorted(_known(part.strip(), markers, length) for part in (start, end))
        return FromTo(one, other)
    if not text or not text.isprintable() or text[0].isdecimal():
        raise RequestError(
            f"{text!r} was found; right is a time such as 1:05.3 or 65.3 s, a name that does not "
            'begin with a figure, or two of these with "to" between'
        )
    return Marker(text)


def _known(text: str, markers: Mapping[str, float], length: float) -> float:
    if text in markers:
        return markers[text]
    if math.isnan(moment(text)):
        names = ", ".join(markers) or "none yet"
        raise RequestError(f"{text!r} is no time and no marker; markers: {names}")
    return _within(text, length)


def _within(text: str, length: float) -> float:
    if moment(text) > length:
        raise RequestError(f"{text} is after the end of the programme, which is at {length:.1f} s")
    return moment(text)
