"""A cue sheet: a plain text that tells a player where the parts of a track begin, and what they are.

Its form is known from the manual of GNU ccd2cue, appendix "CUE sheet format": TITLE of up to 80
characters, in quotation marks; TRACK from 1 to 99; INDEX 01 as minutes, seconds and frames of 1/75 s from
the beginning of the file, with 0 first. It says nothing of a quotation mark within a title, so there is none;
it is written in UTF-8, with FILE ... WAVE for FLAC too (both common practice, no source).
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Final

from auralize.errors import one_line

PER_SECOND: Final = 75
"""Frames of a cue sheet in a second."""
MOST_TRACKS: Final = 99
LONGEST_TITLE: Final = 80


def grid(rate: int) -> int:
    """Samples between two instants that are at once whole samples and whole frames of a cue sheet.

    1/75 s where 75 divides the sample rate (44.1, 48, 96 kHz); at any whole rate no more than 1 s.
    """
    return rate // math.gcd(rate, PER_SECOND)


def cue_time(sample: int, rate: int) -> str:
    """An instant on the `grid` as mm:ss:ff; ValueError for any other, of which it could not be true."""
    frame, rest = divmod(sample * PER_SECOND, rate)
    if rest:
        raise ValueError(f"Sample {sample} at {rate} Hz is not at a whole 1/{PER_SECOND} s")
    seconds, frame = divmod(frame, PER_SECOND)
    minutes, seconds = divmod(seconds, 60)
    return f"{minutes:02d}:{seconds:02d}:{frame:02d}"


def cue_sheet(
    title: str, sound: str, parts: Iterable[tuple[str, int]], rate: int, remark: str
) -> str:
    """The text for a file named ``sound``: of each part its title and the sample at which it begins.

    The first begins at 0; ValueError for more than `MOST_TRACKS`, and as `cue_time`.
    """
    lines = [f"REM {one_line(remark)}", f'TITLE "{cue_title(title)}"', f'FILE "{sound}" WAVE']
    for number, (name, start) in enumerate(parts, start=1):
        if number > MOST_TRACKS:
            raise ValueError(f"A cue sheet holds {MOST_TRACKS} tracks, and more were given")
        lines.append(f"  TRACK {number:02d} AUDIO")
        lines.append(f'    TITLE "{cue_title(name)}"')
        lines.append(f"    INDEX 01 {cue_time(start, rate)}")
    return "\n".join(lines) + "\n"


def cue_title(text: str) -> str:
    """On one line, without quotation marks that would end it, and cut where it is too long."""
    return cut(one_line(text).replace('"', "'"), LONGEST_TITLE)


def cut(text: str, most: int) -> str:
    """No more than so many characters; three full stops where some were left out."""
    return text if len(text) <= most else text[: most - 3] + "..."
