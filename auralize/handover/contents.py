"""What a page says beside its player: what is compared in words, drawings, curves, figures, cautions."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Final

from auralize.circuit.signals import signal_words
from auralize.figures.against import differences
from auralize.figures.against_text import comparisons, held_against
from auralize.figures.columns import MANY
from auralize.figures.facts import short_facts
from auralize.figures.loudspeakers_text import loudspeaker_rows, loudspeakers_head
from auralize.figures.numbers import Figures, figures
from auralize.figures.panels import Panel, panels
from auralize.figures.sentences import is_caution, sentences
from auralize.figures.text import comparison_rows, frequency_rows
from auralize.filters.quality import caution, goal_of
from auralize.handover.installation import installation
from auralize.handover.plots import COLOURS, plot
from auralize.rig.choice import Choice
from auralize.rig.work import working_out
from auralize.units import show_frequency

_COLUMNS: Final = 6
"""Choices beside each other in a table, which a sheet of paper has room for."""
_HYPHEN: Final = re.compile(r"^-(?=\d)")


def contents(
    data: Mapping[str, Any], choices: Sequence[Choice], first: Choice, texts: Mapping[str, Any]
) -> dict[str, Any]:
    """What the template shows, by its names: words and rows as they are, drawings as SVG.

    The choices, all of ``data``, are compared with the ``first``, as `auralize figures` does.
    """
    found = []
    for choice in choices:
        with working_out(f"the figures of choice {choice.name}"):
            found.append(figures(choice))
    compared = differences(choices, first)
    shown = _panels(choices, first)
    words, programme = texts["page"], data["programme"]
    names = [choice.name for choice in choices]
    return {
        "about": words["made"].format(version=data["version"], date=data["date"]),
        "programme": words["programme_words"].format(
            name=programme["name"], seconds=programme["seconds"], start=programme["from"]
        ),
        "matches": list(_matches(data, words)),
        "sides": list(dict.fromkeys(s["across"] for s in data["signals"] if s["signal"] == "drop")),
        "told": [
            _of_choice(one, choice, figured, texts)
            for one, choice, figured in zip(data["choices"], choices, found, strict=True)
        ],
        "compared": comparisons(compared),
        "held_against": held_against(),
        "plots": [plot(panel, names, texts["drawing"]) for panel in shown],
        "colours": COLOURS,
        "bands": any(curve.low is not None for panel in shown for curve in panel.curves),
        "tables": [_signed(comparison_rows(part)) for part in _parts(found)],
        "cautions": [*_cautions(found), *_of_filters(data)],
    }


def _of_choice(
    one: Mapping[str, Any], choice: Choice, found: Figures, texts: Mapping[str, Any]
) -> dict[str, Any]:
    """What the page says of a choice."""
    return {
        "name": one["name"],
        "label": one["label"],
        "facts": one["facts"] if len(found.runs) <= MANY else short_facts(choice),
        "drawing": installation(choice, texts["drawing"]),
        "sentences": sentences(found),
        "frequencies": _signed(frequency_rows(found)),
        "loudspeakers": _signed(loudspeaker_rows(found.loudspeakers)) if found.loudspeakers else [],
        "loudspeakers_head": loudspeakers_head(found.loudspeakers) if found.loudspeakers else "",
    }


def _matches(data: Mapping[str, Any], words: Mapping[str, str]) -> Iterator[dict[str, Any]]:
    """The ways of matching: "installed", "loudness", or a frequency in Hz."""
    for way in data["ways"]["match"]:
        if isinstance(way, str):
            told = words[f"match_{way}"]
        else:
            told = words["match_level"].format(hertz=show_frequency(way))
        yield {"words": told, "offered": way == data["offered"]["match"]}


def _panels(choices: Sequence[Choice], first: Choice) -> list[Panel]:
    """Loss, drop, and where there are others what they differ by from the first."""
    loss, drop, *_ = panels(choices, "both", None, None)
    if len(choices) == 1:
        return [loss, drop]
    return [loss, drop, *panels(choices, "both", first, None)]


def _signed(rows: Sequence[Sequence[str]]) -> list[list[str]]:
    """The same rows with a true minus, which is read aloud, before numbers."""
    return [[_HYPHEN.sub("\u2212", cell) for cell in row] for row in rows]


def _parts(found: Sequence[Figures]) -> Iterator[Sequence[Figures]]:
    """As many choices at a time as a table has columns for."""
    for start in range(0, len(found), _COLUMNS):
        yield found[start : start + _COLUMNS]


def _cautions(found: Sequence[Figures]) -> Iterator[tuple[str, str]]:
    for figured in found:
        for sentence in sentences(figured):
            if is_caution(sentence):
                yield figured.choice, sentence.strip()


def _of_filters(data: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    """Where what is heard is not what was worked out."""
    for one in data["signals"]:
        signal, error = one["signal"], one["filter_error"]
        words = signal_words(signal, one["across"])
        if error is not None and (told := caution(words, error, goal_of(signal))):
            yield data["choices"][one["choice"]]["name"], told
