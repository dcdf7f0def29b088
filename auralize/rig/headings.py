"""What the columns of a measured impedance are, by the words and units that stand above them."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final, Literal

from auralize.rig.rows import Sheet, count_sentence, is_number, refuse_line, split
from auralize.units import quoted

Kind = Literal["frequency", "magnitude", "phase", "real", "imaginary", "other"]


@dataclass(frozen=True)
class Column:
    """What a column holds: ``factor`` takes it to Hz or ohm; ``unit`` is "" where none is stated."""

    kind: Kind
    unit: str = ""
    factor: float = 1.0
    """Of "dB", the resistance in ohm that it refers to; 0 where that is not stated."""


@dataclass(frozen=True)
class Heading:
    """The columns from left to right, and the line that says so; None where none does."""

    columns: tuple[Column, ...]
    line: int | None = None

    def of(self, kind: Kind) -> int | None:
        """The place of the column of that kind."""
        places = [i for i, column in enumerate(self.columns) if column.kind == kind]
        return places[0] if places else None


_USUAL: Final = (Column("frequency"), Column("magnitude"), Column("phase"))
"""Where nothing stands above the numbers."""
USUAL_WORDS: Final = "a frequency in Hz, ohm, degrees"

# In this order: of "Re(Z)" and "phase of Z" the first word counts, as Z is in all of them.
_NAMES: Final[tuple[tuple[Kind, re.Pattern[str]], ...]] = (
    ("frequency", re.compile(r"f|fr[eé]q\w*")),
    ("phase", re.compile(r"phase\w*|angle|arg|phi|theta|winkel")),
    ("imaginary", re.compile(r"im|imag\w*|x|reactance\w*")),
    ("real", re.compile(r"re|real\w*|r|resistance\w*")),
    ("magnitude", re.compile(r"z|mag\w*|mod\w*|imp\w*|abs\w*|betrag|amplitude")),
)
_UNIT_OF: Final[dict[str, Kind]] = {
    "Hz": "frequency",
    "ohm": "magnitude",
    "dB": "magnitude",
    "degrees": "phase",
    "radians": "phase",
}
_WORD: Final = re.compile(r"[^\W\d_]+")
_DECIBELS: Final = re.compile(
    r"db\W*(?:rel?\b|ref\b)?\W*(\d+(?:\.\d+)?)?\s*([km]?)ohms?\b", re.IGNORECASE
)
_HERTZ: Final = re.compile(r"(?<![^\W\d_])([kKmM]?)hz(?![^\W\d_])", re.IGNORECASE)
_OHM: Final = re.compile(r"(?<![^\W\d_])([kKmM]?)ohms?(?![^\W\d_])", re.IGNORECASE)
_PREFIX: Final = {"": 1.0, "k": 1e3, "K": 1e3, "M": 1e6, "m": 1e-3}


def column_of(text: str) -> Column:
    """What one cell above the numbers names: "Freq (kHz)", "|Z| [mohm]", "dB re 1 ohm", "Im(Z)"."""
    for sign, word in (("\u03a9", "ohm"), ("\u2126", "ohm"), ("°", " deg "), ("_", " ")):
        text = text.replace(sign, word)
    unit, factor, rest = _unit(text)
    words = [word.lower() for word in _WORD.findall(rest)]
    for kind, name in _NAMES:
        if any(name.fullmatch(word) for word in words):
            return Column(kind, unit, factor)
    return Column(_UNIT_OF[unit], unit, factor) if unit and not words else Column("other")


def _unit(text: str) -> tuple[str, float, str]:
    """The unit, its factor, and the text without it."""
    if found := _DECIBELS.search(text):
        reference = float(found.group(1) or 1.0) * _PREFIX[found.group(2)]
        return "dB", reference, _DECIBELS.sub(" ", text)
    for unit, pattern in (("Hz", _HERTZ), ("ohm", _OHM)):
        if found := pattern.search(text):
            return unit, _PREFIX[found.group(1)], pattern.sub(" ", text)
    for unit, words in (
        ("dB", r"\bdb\b"),
        ("degrees", r"\bdeg\w*|\bgrad\b"),
        ("radians", r"\brad\w*"),
    ):
        if re.search(words, text, re.IGNORECASE):
            return unit, float(unit != "dB"), re.sub(words, " ", text, flags=re.IGNORECASE)
    return "", 1.0, text


def heading_of(sheet: Sheet) -> Heading:
    """The columns of a sheet; raises MeasurementError where the words do not fit the numbers."""
    count = sheet.values.shape[1]
    rows = {line: cells for line, text in sheet.above if (cells := _cells(text, count))}
    named = [
        line for line, cells in rows.items() if "frequency" in {column_of(c).kind for c in cells}
    ]
    if named:
        line = named[-1]
        columns = tuple(column_of(cell) for cell in _with_line_above(rows, line))
        _check_once(sheet, line, columns)
        return Heading(columns, line)
    for line, text in sheet.above:
        if _TOLD.search(text):
            refuse_line(
                sheet.path,
                line,
                f"{quoted(text)} names other columns than the {count} that follow; right is a name "
                'for each, such as "Hz, ohm, degrees"',
            )
    if count not in (2, 3):
        refuse_line(sheet.path, sheet.lines[0], count_sentence(count, "3", USUAL_WORDS))
    return Heading(_USUAL[:count])


_TOLD: Final = re.compile(
    r"\b(?:f|freq\w*)\s*[(\[/]\s*[kmg]?hz|\bphase\s*[(\[/]\s*rad", re.IGNORECASE
)
"""A line that names columns, however many."""


def _cells(text: str, count: int) -> list[str] | None:
    """The line as so many cells; None where it is another number, or has numbers in it."""
    together = _DECIBELS.sub(lambda found: found.group().replace(" ", _GLUE), text)
    together = re.sub(r"\s+(?=[(\[])", _GLUE, together)
    together = re.sub(
        r"[(\[][^)\]]*[)\]]", lambda found: found.group().replace(" ", _GLUE), together
    )
    for cells in (split(together), re.split(r"\s{2,}", text.strip())):
        if len(cells) == count and not any(is_number(cell) for cell in cells):
            return [cell.replace(_GLUE, " ") for cell in cells]
    return None


_GLUE: Final = "\0"
"""In place of a space that separates nothing; in no text that was read."""


def _with_line_above(rows: dict[int, list[str]], line: int) -> list[str]:
    """The cells of a line, with those of the line above where that has the names, and this the units."""
    above = rows.get(line - 1)
    if above is None or any(column_of(cell).kind == "other" for cell in rows[line]):
        return rows[line]
    if any(_unit(cell)[0] for cell in above) or not all(_unit(cell)[0] for cell in rows[line]):
        return rows[line]
    both = [f"{name} {unit}" for name, unit in zip(above, rows[line], strict=True)]
    return both if "frequency" in {column_of(cell).kind for cell in both} else rows[line]


def _check_once(sheet: Sheet, line: int, columns: tuple[Column, ...]) -> None:
    kinds = [column.kind for column in columns if column.kind != "other"]
    twice = [kind for kind in kinds if kinds.count(kind) > 1]
    if twice:
        refuse_line(
            sheet.path, line, f"two columns give the {twice[0]} here; right is one: leave one out"
        )
