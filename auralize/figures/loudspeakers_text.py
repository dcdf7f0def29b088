"""All loudspeakers of a choice as a table."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from auralize.figures.columns import columns, decibels_text, factor_text, three_digits, wrapped
from auralize.units import rounded, show, show_frequency

if TYPE_CHECKING:
    from auralize.figures.loudspeakers import Loudspeaker


def as_loudspeakers(found: Sequence[Loudspeaker]) -> str:
    """A row for each: loss, level against the first, damping factor, power."""
    return f"{wrapped(loudspeakers_head(found))}\n{columns(loudspeaker_rows(found))}"


def loudspeakers_head(found: Sequence[Loudspeaker]) -> str:
    """What the table shows."""
    return (
        f"By loudspeaker: loss; level at its terminals under the programme, against {found[0].load}"
        "; damping factor."
    )


def loudspeaker_rows(found: Sequence[Loudspeaker]) -> list[tuple[str, ...]]:
    """A head, the units, then a row for each."""
    rows: list[tuple[str, ...]] = [("loudspeaker", "loss", "at", "level", "damping", "at", "power")]
    rows.append(("", "dB", "", "dB", "factor", "", ""))
    rows += [_row(one) for one in found]
    if found[0].watts is None:
        rows = [row[:-1] for row in rows]
    return rows


def _row(one: Loudspeaker) -> tuple[str, ...]:
    at = show_frequency(three_digits(one.damping_hz)) if one.damping_hz > 0.0 else "DC"
    return (
        one.load,
        decibels_text(one.loss_db),
        show_frequency(three_digits(one.reference_hz)),
        "" if one.level_db is None else _signed(one.level_db),
        factor_text(one.damping_factor),
        at,
        "" if one.watts is None else show(one.watts, "W"),
    )


def _signed(level: float) -> str:
    text = decibels_text(level)
    return text if text == "silent" else rounded(level, "+.2f")
