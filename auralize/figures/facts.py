"""What a choice is, in one line: length, size, construction and lay of the cable on the way."""

from __future__ import annotations

import re
from typing import Final

from auralize.rig.choice import Choice
from auralize.rig.lays import ReadLay
from auralize.units import show_length

_STRANDS: Final = re.compile(r", (?:solid|stranded|class \d)(?=,)")
"""What matters least of a cable's words."""


def facts(choice: Choice) -> str:
    """Of the runs between the amplifier and the loudspeaker that is heard, the nearest one first.

    Cable of one kind is named once: ``2 runs, 80 m (262 ft) in all: pond 62 m (203 ft) of 2.5 mm2
    (13.2 AWG) copper, class 5, twin; path 18 m (59.1 ft) of the same``.
    """
    names = choice.network.path(choice.listen)
    if not names:
        return f"{choice.listen} stands at the amplifier, without cable"
    if len(names) == 1:
        return _run(choice, names[0], "")
    told: list[str] = []
    before = ""
    for name in names:
        told.append(f"{name} {_run(choice, name, before)}")
        before = choice.runs[name].cable.words
    return f"{_all(choice, names)}: {'; '.join(told)}"


def short_facts(choice: Choice) -> str:
    """The same where there is little room: of several runs how many, of one the lay in a word."""
    names = choice.network.path(choice.listen)
    if len(names) != 1:
        return _all(choice, names) if names else facts(choice)
    read = choice.runs[names[0]]
    lay = f" {_lay_word(read.lay)}" if read.lay and read.lay.coiled else ""
    length = show_length(choice.network.runs[names[0]].length)
    return f"{length}{lay}, {_STRANDS.sub('', read.cable.words)}"


def _all(choice: Choice, names: list[str]) -> str:
    whole = sum(choice.network.runs[name].length for name in names)
    return f"{len(names)} runs, {show_length(whole)} in all"


def _lay_word(lay: ReadLay) -> str:
    if "each conductor" in lay.words:
        return "each conductor coiled"
    return "in figures of eight" if "figures of eight" in lay.words else "coiled"


def _run(choice: Choice, name: str, before: str) -> str:
    """One run; of the same cable as the one ``before`` it, only how long and how laid."""
    read = choice.runs[name]
    cable = "the same" if read.cable.words == before else read.cable.words
    lay = f", lay: {read.lay.words}" if read.lay and read.lay.coiled else ""
    return f"{show_length(choice.network.runs[name].length)} of {cable}{lay}"
