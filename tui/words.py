"""What the screens say, as plain functions of what is true: no widget, no engine."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from auralize.circuit.signals import ACROSS_WORDS, SIGNAL_WORDS
from auralize.gains import End, Source
from auralize.units import show_frequency

if TYPE_CHECKING:
    from auralize.figures.headlines import Headline
    from auralize.gains import Gains, Heard
    from auralize.live.status import Certainty


def heard_words(heard: Heard) -> str:
    """What is heard now, in plain words."""
    if isinstance(heard, Source):
        return "THE SOURCE, as the amplifier gets it"
    across = f" {ACROSS_WORDS[heard.across]}" if heard.signal == "drop" else ""
    return f"THE {SIGNAL_WORDS[heard.signal].upper()}{across.upper()} of {heard.choice}"


def gain_words(heard: Heard, gains: Gains) -> str:
    """Every gain between the line and the ear but the volume."""
    is_drop = isinstance(heard, End) and heard.signal == "drop"
    makeup = f"make-up {gains.makeup:+.2f}, " if is_drop else ""
    return f"gain {gains.total:+.2f} dB: match {gains.match:+.2f}, {makeup}headroom {gains.headroom:+.2f}"


def measuring_words(certainty: Certainty, share: float, seconds: float | None) -> str:
    """What gains rest on, and how far their measuring is; nothing where all is measured."""
    if certainty == "measured":
        return ""
    known = {"unknown": "levels not known yet", "predicted": "levels predicted"}[certainty]
    if share >= 1.0:
        return f"{known}, and cannot be measured"
    left = "" if seconds is None else f", {math.ceil(seconds)} s left"
    return f"{known}; measuring: {math.floor(100 * share)} %{left}"


def key_figures(figures: Headline) -> str:
    """The figures that stand beside a choice, in 31 columns at most."""
    factor = figures.damping_factor
    damping = f"{factor:.3g}" if math.isfinite(factor) else "no limit"
    return f"{shortest_figures(figures)}, damping {damping}"


def shortest_figures(figures: Headline) -> str:
    """The first of these figures, where there is room for no more."""
    return f"{figures.loss_db:+.2f} dB {show_frequency(figures.reference_hz)}"


def clock(seconds: float) -> str:
    """``1:05.3``"""
    minutes, rest = divmod(max(0.0, seconds), 60.0)
    return f"{minutes:.0f}:{rest:04.1f}"


def bar(share: float, width: int) -> str:
    """A bar of ``width`` characters, filled for a share of 0 to 1."""
    filled = round(min(1.0, max(0.0, share)) * width)
    return "=" * filled + "-" * (width - filled)


def level_bar(dbfs: float, width: int) -> str:
    """A level from -60 to 0 dBFS as a bar."""
    return bar(1.0 + dbfs / 60.0, width)
