"""What the screens say, as plain functions of what is true: no widget, no engine."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

from auralize.circuit.signals import ACROSS_WORDS, SIGNAL_WORDS
from auralize.figures.columns import factor_text
from auralize.gains import INSTALLED, End, Source
from auralize.units import show_frequency

if TYPE_CHECKING:
    from collections.abc import Mapping

    from auralize.figures.headlines import Headline
    from auralize.gains import Heard
    from auralize.live.status import Certainty, Status


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
    wordings = [f"{match}; {drops}", f"{match}; {drops.partition(' (')[0]}"]
    if status.certainty == "unknown":
        wordings = [*(f"once measured: {words}" for words in wordings), "nothing is matched yet"]
    return _fitting(width, *wordings)


def signed(decibels: float, places: int) -> str:
    """A gain with its sign; of one that rounds to nothing there is no "-0.00"."""
    return f"{round(decibels, places) + 0.0:+.{places}f}"


def gain_words(status: Status, width: int) -> str:
    """Every gain between the line and the ear but the volume, and what it rests on."""
    gains = status.gains
    if status.certainty == "unknown":
        now = f"gain {gains.total:+.2f} dB for now"
        measuring = measuring_words(status.certainty, status.measured, status.measured_in)
        return _fitting(width, f"{now}; {measuring}", f"{now}; it is not yet known")
    places = 2 if status.certainty == "measured" else 1
    is_drop = isinstance(status.heard, End) and status.heard.signal == "drop"
    makeup = f"make-up {signed(gains.makeup, places)}, " if is_drop else ""
    total = f"{signed(gains.total, places)} dB"
    parts = f"match {signed(gains.match, places)}, {makeup}"
    parts += f"headroom {signed(gains.headroom, places)}"
    if places == 2:
        return f"gain {total}: {parts}"
    told, far = f"gain {total} predicted: {parts}", f"{math.floor(100 * status.measured)} %"
    if status.measured >= 1.0:  # of a live input, which is never known as a whole
        return _fitting(
            width, f"{told}; from what came in so far", told, f"predicted {total}: {parts}"
        )
    left = "" if status.measured_in is None else f", {math.ceil(status.measured_in)} s left"
    known = f"measuring: {far}{left}"
    return _fitting(
        width,
        f"{told}; {known}",
        f"{told}; {far}",
        f"predicted {total}: {parts}; {far}",
        f"{total}: {parts}; {far}",
    )


def step_words(status: Status, steps: Mapping[Heard, float], width: int) -> str:
    """By how much the next switch would be louder, of those whose ``steps`` in dB are known: the loudest."""
    if status.rising:
        return f"coming up slowly: {math.ceil(status.rising)} dB to go"
    if not steps:
        return ""
    louder = [(step, one) for one, step in steps.items() if round(step, 1) > 0.0]
    if not louder:
        return "no switch from here is louder"
    if math.isinf(louder[0][0]):
        return "what comes next comes out of silence, slowly"
    louder.sort(key=lambda item: item[0], reverse=True)
    named = [f"{_beside(status.heard, one)} {step:+.1f}" for step, one in louder[:_MOST_STEPS]]
    listed = [f"louder: {', '.join(named[:count])} dB" for count in range(len(named), 0, -1)]
    return _fitting(width, *listed, f"louder next: {louder[0][0]:+.1f} dB")


_MOST_STEPS: Final = 8


def _beside(heard: Heard, one: Heard) -> str:
    """What can be switched to, by what is other in it than in what is heard."""
    if isinstance(heard, Source) or isinstance(one, Source):
        return one.words
    if one.choice == heard.choice:
        return one.words.removesuffix(f" of {one.choice}")
    return one.choice if one.kind == heard.kind else one.words


def _fitting(width: int, *wordings: str) -> str:
    """The first that fits, else the last."""
    return next((words for words in wordings if len(words) <= width), wordings[-1])


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
    return f"{shortest_figures(figures)}, damping {factor_text(figures.damping_factor)}"


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


def shortened(text: str, width: int) -> str:
    """At most ``width`` characters of a text, and whether something is missing."""
    return text if len(text) <= width else f"{text[: width - 3].rstrip(' ,.')}..."
