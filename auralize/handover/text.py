"""What was handed over, as text: what is in it, which region and why, every gain."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Final

from auralize.audio.reader import clock
from auralize.errors import one_line
from auralize.figures.columns import columns, decibels_text, hanging
from auralize.filters.quality import caution, goal_of
from auralize.gains import End, Gains
from auralize.handover.handover import MOST_BYTES, PAGE, SET, HandedOver
from auralize.renderer.facts import told_of
from auralize.units import rounded

_FIRST: Final = (
    "Open {page} by a double click. Start quiet: drops with make-up are as loud as the programme."
)


def as_handed_over(done: HandedOver) -> str:
    """All that is to be known of it, and what to do with it first."""
    said = [_contents(done), _region(done), *told_of(done.choices), *_cautions(done)]
    head, region, *others = (hanging(sentence) for sentence in said)
    first = hanging(_FIRST.format(page=PAGE))
    return "\n".join([head, region, _gains(done), *others, first])


def _contents(done: HandedOver) -> str:
    folder, size = one_line(str(done.folder)), rounded(done.page_bytes / 1e6, ".1f")
    large = f", over {MOST_BYTES / 1e6:g} MB" if done.page_bytes > MOST_BYTES else ""
    return f"In {folder}: {PAGE} ({size} MB{large}), and {len(done.files)} files in {SET}."


def _region(done: HandedOver) -> str:
    region, name = done.region, one_line(done.source.name)
    why = f": {region.why}" if region.why else ""
    less = (
        f"; no more, so that the page stays under {MOST_BYTES / 1e6:g} MB (--for sets a length)"
        if done.shortened
        else ""
    )
    start = clock(round(1000.0 * region.start), 1000)
    return f"Of {name}, {_seconds(region.seconds)} from {start} on{why}{less}."


def _seconds(seconds: float) -> str:
    return f"{seconds:g} s" if seconds >= 1e-3 else f"{1000.0 * seconds:.3f} ms"


def _gains(done: HandedOver) -> str:
    """As `auralize render` prints them."""
    source = done.measured.source
    loudness = decibels_text(source.loudness)
    unit = " LUFS" if math.isfinite(source.loudness) else ""
    head = (
        f"{one_line(done.source.name)}: {loudness}{unit} in this region; {done.options.match.words}"
    )
    rows: list[tuple[str, ...]] = [("heard", "match", "make-up", "headroom", "gain")]
    rows.append(("", "dB", "dB", "dB", "dB"))
    rows += [(heard.words, *_row(gains)) for heard, gains in done.gains.items()]
    return f"{head}\n{columns(rows)}"


def _row(gains: Gains) -> tuple[str, ...]:
    every = (gains.match, gains.makeup, gains.headroom, gains.total)
    return tuple(rounded(gain, "+.2f") for gain in every)


def _cautions(done: HandedOver) -> Iterator[str]:
    for part in done.measured.parts:
        if isinstance(part.heard, End):
            told = caution(part.heard.words, part.fir.error, goal_of(part.heard.signal))
            if told:
                yield told
