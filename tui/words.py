"""What the screens say, as plain functions of what is true: no widget, no engine."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from auralize.circuit.signals import ACROSS_WORDS, SIGNAL_WORDS
from auralize.gains import INSTALLED, End, Source
from auralize.live.rise import STRIKING
from auralize.units import show_frequency

if TYPE_CHECKING:
    from collections.abc import Mapping

    from auralize.figures.headlines import Headline
    from auralize.gains import Heard
    from auralize.live.status import Status


def heard_words(heard: Heard) -> str:
    """What is heard now, in plain words."""
    if isinstance(heard, Source):
        return "THE SOURCE, as the amplifier gets it"
    across = f" {ACROSS_WORDS[heard.across]}" if heard.signal == "drop" else ""
    return f"THE {SIGNAL_WORDS[heard.signal].upper()}{across.upper()} of {heard.choice}"


def big_words(heard: Heard) -> tuple[str, ...]:
    """The same in large letters, the longest wording first."""
    if isinstance(heard, Source):
        return ("source",)
    over = "" if heard.plain.across == "both" else f" over {heard.across}"
    what = f"{SIGNAL_WORDS[heard.signal]}{over}"
    return f"{what} of {heard.choice}", what, heard.signal


def level_words(status: Status, width: int) -> str:
    """How loud what can be heard is beside the rest: what is matched, and what is not."""
    if status.silent:
        return _fitting(width, f"{status.heard.words} is silent: no gain makes it heard", "silent")
    match = status.match.words
    if status.drops == "equal":
        drops = "drops equally loud"
    else:
        figure = f"one make-up ({'chosen' if status.makeup is None else 'set'})"
        drops = f"drops at {figure}" if status.match == INSTALLED else f"drops not: {figure}"
    when = "once measured: " if status.certainty == "unknown" else ""
    short = match.removeprefix("receiving ")
    return _fitting(width, f"{when}{match}; {drops}", f"{when}{short}; {drops}")


def gain_words(status: Status, width: int) -> str:
    """Every gain between the line and the ear but the volume, and what it rests on."""
    gains = status.gains
    if status.certainty == "unknown":
        return f"gain {gains.total:+.2f} dB for now; what it will be is not yet known"
    places = 2 if status.certainty == "measured" else 1
    is_drop = isinstance(status.heard, End) and status.heard.signal == "drop"
    makeup = f"make-up {gains.makeup:+.{places}f}, " if is_drop else ""
    total = f"{gains.total:+.{places}f} dB"
    parts = f"match {gains.match:+.{places}f}, {makeup}headroom {gains.headroom:+.{places}f}"
    if places == 2:
        return f"gain {total}: {parts}"
    return _fitting(width, f"gain {total} predicted: {parts}", f"predicted {total}: {parts}")


def step_words(status: Status, steps: Mapping[Heard, float], width: int) -> str:
    """By how much the next switch would be louder at most, of those whose ``steps`` in dB are known."""
    if status.rising:
        return f"coming up slowly: {status.rising:.0f} dB to go"
    if not steps:
        return ""
    loudest, most = max(steps.items(), key=lambda item: item[1])
    if math.isinf(most):
        return f"{loudest.words} would come out of silence, slowly" if most > 0 else ""
    if round(most, 1) <= 0.0:
        return "no switch from here is louder"
    words = f"{loudest.words} would be {most:.1f} dB louder"
    slowly = [f"{words}, and comes up slowly"] if most > STRIKING else []
    short = f"{loudest.words}: {most:+.1f} dB"
    return _fitting(width, *slowly, words, short, f"next switch: {most:+.1f} dB")


def _fitting(width: int, *wordings: str) -> str:
    """The first that fits, else the last."""
    return next((words for words in wordings if len(words) <= width), wordings[-1])


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
