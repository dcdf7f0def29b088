"""The comparison of choices in words: a sentence or two for each."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

from auralize.circuit.signals import ACROSS_WORDS
from auralize.figures.columns import WIDTH, three_digits
from auralize.units import rounded, show_frequency

if TYPE_CHECKING:
    from auralize.figures.against import Difference

_TRIAL: Final = "a blind trial would tell"
_VERDICTS: Final = {
    "none": "no difference that two decimals would show",
    "under": f"nobody is likely to hear this on programme; {_TRIAL}",
    "open": "what is not known of lay or loudspeaker may change this by {open} dB, so that whether it can be "
    "heard cannot be told; say more of them in the rig file, or measure",
    "level": "the level may be noticed; with levels matched nobody is likely to hear the rest on "
    f"programme; {_TRIAL}",
    "over": f"this may be heard; {_TRIAL}",
    "silent": "one of the two is silent: there is nothing to compare",
    "elsewhere": "it is heard at another loudspeaker, and not compared",
}
_LEAST_BRIGHTER: Final = 0.1
# dB under which nobody would call a sound brighter (common practice, no source).
_SOURCES: Final = (
    "Likely or not: held against {limit:g} dB, the smallest step of steady white noise that listeners were "
    "shown to hear (Miller 1947, value from memory); for one part of a spectrum they needed more (Green "
    "1988, value from memory). That is no proof of what you hear."
)


def as_comparison(found: Sequence[Difference]) -> str:
    """A head that says against what and by which programme, and a paragraph for each choice."""
    lines = []
    for head, told in comparisons(found):
        lines.append(_wrapped(head, ""))
        lines += [_wrapped(f"  {choice}: {sentence}") for choice, sentence in told]
    lines.append(_wrapped(held_against(), ""))
    return "\n".join(lines)


def comparisons(found: Sequence[Difference]) -> list[tuple[str, list[tuple[str, str]]]]:
    """For what arrives, and for the drop, a head and each choice with its sentence; not wrapped."""
    groups = []
    for across in dict.fromkeys(one.across for one in found):
        group = [one for one in found if one.across == across]
        groups.append((_head(group[0]), [(one.choice, f"{_told(one)}.") for one in group]))
    return groups


def held_against() -> str:
    """What the verdicts rest on."""
    from auralize.figures.against import SMALLEST_DB

    return _SOURCES.format(limit=SMALLEST_DB)


def matched_words(one: Difference) -> str:
    """How small the difference is once both are equally loud, as one clause."""
    if one.largest_db is None or one.largest_hz is None:
        return "there is nothing to compare: one of the two is silent, or heard elsewhere"
    size = rounded(abs(one.largest_db), ".2f")
    if size == "0.00":
        return f"equally loud, {one.choice} and {one.against} differ by less than 0.005 dB"
    more = "more" if one.largest_db > 0.0 else "less"
    return (
        f"equally loud, {one.choice} gives at most {size} dB {more} than {one.against} "
        f"({_where(one.region, one.largest_hz)}), from {one.programme}"
    )


def _where(region: str | None, hertz: float) -> str:
    return f"{region}, {show_frequency(three_digits(hertz))}"


def _wrapped(text: str, indent: str = "    ") -> str:
    return textwrap.fill(text, WIDTH, subsequent_indent=indent)


def _head(one: Difference) -> str:
    what = "What arrives" if one.signal == "receiving" else f"The drop {ACROSS_WORDS[one.across]}"
    return f"{what}, against {one.against}, weighted by {one.programme}:"


def _told(one: Difference) -> str:
    """A clause of what differs, what it means, and sentences of what else is to be known."""
    told = _VERDICTS[one.verdict].replace("{open}", rounded(one.open_db, ".2f"))
    if one.level_db is not None and one.verdict != "none":
        told = f"{_level(one.level_db)}{_shape(one)}: {told}"
    return ". ".join([told, *one.notes, *_open(one)])


def _level(level: float) -> str:
    size = rounded(abs(level), ".2f")
    return (
        "equally loud" if size == "0.00" else f"{size} dB {'louder' if level > 0.0 else 'softer'}"
    )


def _shape(one: Difference) -> str:
    """Where it differs once the levels are matched, and which is brighter."""
    if one.largest_db is None or one.largest_hz is None:
        return ""
    size = rounded(abs(one.largest_db), ".2f")
    if size == "0.00":
        return ", and nothing else"
    more = "more" if one.largest_db > 0.0 else "less"
    where = _where(one.region, one.largest_hz)
    text = f"; levels matched, at most {size} dB {more} ({where})"
    if one.brighter_db is None or abs(one.brighter_db) < _LEAST_BRIGHTER:
        return text
    word = "brighter" if one.brighter_db > 0.0 else "duller"
    return f"{text}, {word} by {rounded(abs(one.brighter_db), '.2f')} dB"


def _open(one: Difference) -> list[str]:
    """Whether what is left open is more than the difference, where the verdict does not say so."""
    from auralize.figures.against import NOTHING_DB

    if one.level_db is None or one.largest_db is None or one.verdict == "open":
        return []
    if one.open_db < max(NOTHING_DB, abs(one.level_db), abs(one.largest_db)):
        return []
    left = rounded(one.open_db, ".2f")
    return [f"What is not known of lay or loudspeaker, {left} dB, is more than this difference"]
