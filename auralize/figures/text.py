"""Figures as text: tables for a terminal of 80 columns."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Sequence
from typing import TYPE_CHECKING

from auralize.figures.against_text import as_comparison
from auralize.figures.columns import (
    WIDTH,
    columns,
    decibels_text,
    factor_text,
    pages,
    three_digits,
    wrapped,
)
from auralize.figures.loudspeakers_text import as_loudspeakers
from auralize.figures.sentences import sentences
from auralize.rig.loads import WHOLE
from auralize.units import rounded, show_frequency

if TYPE_CHECKING:
    from auralize.figures.against import Difference
    from auralize.figures.numbers import Figures, Line


def as_table(title: str, found: Sequence[Figures], compared: Sequence[Difference] = ()) -> str:
    """A comparison of all choices, in words too, then the table over frequency of each."""
    blocks = [title, pages(comparison_rows(found))]
    if compared:
        blocks.append(as_comparison(compared))
    blocks += [_by_frequency(figures) for figures in found]
    return "\n\n".join(blocks)


def comparison_rows(found: Sequence[Figures]) -> list[tuple[str, ...]]:
    """A head of the choices' names, then a row for each figure: its words, and what each choice has."""
    rows = [("", *(f.choice for f in found))]
    rows.append(("load listened to", *(f.load for f in found)))
    if any(f.typical for f in found):
        rows.append(("  which is", *("invented" if f.typical else "" for f in found)))
    rows.append(("DC loop resistance, ohm", *(f"{f.dc_loop_ohm:.3f}" for f in found)))
    if any(f.band_hz != WHOLE for f in found):
        rows.append(("judged from", *(show_frequency(f.band_hz[0]) for f in found)))
        rows.append(("  to", *(show_frequency(f.band_hz[1]) for f in found)))
    losses = [decibels_text(f.loss_db) for f in found]
    rows += _at("loss at {}, dB", "loss, dB", losses, [f.reference_hz for f in found])
    rows.append(("largest deviation from that, dB", *(_deviation(f) for f in found)))
    rows.append(("  which is at", *(show_frequency(three_digits(f.deviation_hz)) for f in found)))
    factors = [factor_text(f.damping_factor) for f in found]
    damping = "damping factor at the load"
    rows += _at(f"{damping} ({{}})", damping, factors, [f.damping_hz for f in found])
    rows.append(("programme power lost in cable", *(rounded(f.cable_share, ".1%") for f in found)))
    rows.append(("lowest load on the amplifier, ohm", *(_ohm(f.lowest_ohm) for f in found)))
    rows.append(("  which is at", *(show_frequency(three_digits(f.lowest_hz)) for f in found)))
    return rows


def _at(
    alike: str, words: str, cells: Sequence[str], hertz: Sequence[float]
) -> list[tuple[str, ...]]:
    """A figure at a frequency: that is in the row's words if ``alike`` for all, else below it."""
    shown = [show_frequency(three_digits(f)) if f > 0.0 else "DC" for f in hertz]
    if len(set(shown)) == 1:
        return [(alike.format(shown[0]), *cells)]
    return [(words, *cells), ("  which is at", *shown)]


def _deviation(figures: Figures) -> str:
    silent = not math.isfinite(figures.loss_db)
    return "silent" if silent else rounded(figures.deviation_db, "+.2f")


def _ohm(value: float) -> str:
    """Two decimals, of which nobody reads those behind five digits."""
    if not math.isfinite(value):
        return "open"
    return f"{value:.2f}" if value < 1e5 else f"{value:.3g}"


def _by_frequency(figures: Figures) -> str:
    told = [wrapped(sentence) for sentence in sentences(figures)]
    if figures.loudspeakers:
        told.append(as_loudspeakers(figures.loudspeakers))
    head = textwrap.fill(f"{figures.choice}: {figures.label}", WIDTH, subsequent_indent="  ")
    return "\n".join([head, *told, columns(frequency_rows(figures))])


def frequency_rows(figures: Figures) -> list[tuple[str, ...]]:
    """A head, the units, then a row for each frequency of a choice's table."""
    return [
        ("frequency", "loss", "phase", "drop", "load", "phase", "cable", "cable", "damping"),
        ("", "dB", "deg", "dB", "ohm", "deg", "ohm", "uH", "factor"),
        *(_row(line) for line in figures.lines),
    ]


def _row(line: Line) -> tuple[str, ...]:
    return (
        show_frequency(line.frequency),
        decibels_text(line.loss_db),
        rounded(line.loss_degrees, ".2f"),
        decibels_text(line.drop_db),
        _ohm(line.load_ohm),
        rounded(line.load_degrees, ".1f"),
        rounded(line.cable_ohm, ".3f"),
        rounded(line.cable_uh, ".2f"),
        factor_text(line.damping),
    )
