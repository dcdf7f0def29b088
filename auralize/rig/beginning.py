"""A first rig file from four answers: one run, two sizes of cable to compare, a comment on every line."""

from __future__ import annotations

import json
import tomllib
from dataclasses import dataclass
from typing import Final

from auralize.circuit.conductor import MATERIALS, standard_resistance
from auralize.errors import RigError
from auralize.rig.cables import ANY_SIZE
from auralize.rig.keys import key_of
from auralize.rig.reading import read_rig
from auralize.units import parse

# What nobody knows at first: common practice, no source. Each is marked as assumed in the file.
_ASSUMED: Final[dict[str, dict[str, str]]] = {
    "twin": {"insulation": "0.8 mm"},
    "twisted pair": {"insulation": "0.8 mm", "lay_length": "90 mm"},
    "single cores": {"insulation": "0.8 mm", "spacing": "2 cm"},
    "four-core": {"insulation": "0.8 mm", "lay_length": "90 mm"},
}
STARTERS: Final = tuple(_ASSUMED)
"""Constructions that need no data sheet to begin with."""
_DAMPING: Final = 200
_TYPICAL: Final = 'type = "typical"'
_KIND: Final = "small two-way"
_ASSUMED_WORD: Final = "assumed; "
_COMMENT_AT: Final = 32
"""Column where comments begin."""


@dataclass(frozen=True)
class Beginning:
    """The answers, as they were typed; ``thick`` is the size that is compared with ``size``."""

    size: str
    thick: str
    length: str
    speaker: str
    construction: str = "twin"


def first_rig(begun: Beginning) -> str:
    """The text of a rig file; raises RigError where an answer cannot be."""
    text = "\n".join(_lines(begun))
    try:
        read_rig(tomllib.loads(text))
    except tomllib.TOMLDecodeError:  # a control character
        raise RigError("rig: an answer has characters that are no print") from None
    return text


def _lines(begun: Beginning) -> list[str]:
    over = f"{begun.length} to a loudspeaker of {begun.speaker}"
    lines = [
        "# One run of cable to one loudspeaker, and two sizes to compare. Change what is not so:",
        "# `auralize keys` lists all that can be said here, `auralize sizes` the usual conductors.",
        "",
        f"title = {_quoted(over)}",
        "",
        "[amplifier]",
        _line("[amplifier]", "damping_factor", str(_DAMPING), assumed=True),
        _line("[amplifier]", "into", _quoted(begun.speaker)),
        "",
    ]
    for name, size in (("thin", begun.size), ("thick", begun.thick)):
        lines += [f"[cables.{name}]", *_cable(begun.construction, size), ""]
    lines += [
        "[runs.line]",
        _line("[runs.NAME]", "length", _quoted(begun.length)),
        "",
        "[loads.speaker]",
        f"{_TYPICAL:<{_COMMENT_AT - 1}} # invented, until more is known: `auralize keys loads`",
        _line("[loads.NAME]", "kind", _quoted(_KIND), assumed=True),
        f"nominal = {_quoted(begun.speaker)}",
        "",
    ]
    for name, size in (("thin", begun.size), ("thick", begun.thick)):
        label = _quoted(f"{size} {begun.construction}")
        lines += [f"[choices.{name}]", f"label = {label}", f'runs.line.cable = "{name}"', ""]
    return lines


def _cable(construction: str, size: str) -> list[str]:
    table = "[cables.NAME]"
    return [
        f'construction = "{construction}"',
        _line(table, "conductor", _quoted(size)),
        _line(table, "strands", _quoted(_strands(size))),
        *(
            _line(table, key, _quoted(value), assumed=True)
            for key, value in _ASSUMED[construction].items()
        ),
    ]


def _strands(size: str) -> str:
    """The class of flexible cable where the standard has the size, else by area."""
    try:
        standard_resistance(parse(size, "area"), 5, MATERIALS["copper"])
    except ValueError:
        return ANY_SIZE
    return "class 5"


def _line(table: str, name: str, value: str, assumed: bool = False) -> str:
    """A key with what the reference says of it."""
    words = f"{_ASSUMED_WORD if assumed else ''}{key_of(table, name).words}".removesuffix("; ")
    return f"{f'{name} = {value}':<{_COMMENT_AT - 1}} # {words}"


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)
