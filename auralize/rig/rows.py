"""Rows of numbers in a text file of a measurement: every refusal names file and line."""

from __future__ import annotations

import codecs
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final, NoReturn

import numpy as np
from numpy.typing import NDArray

from auralize.circuit.sampled import FEWEST
from auralize.errors import MeasurementError
from auralize.files import read_bounded
from auralize.units import quoted

MOST_BYTES: Final = 3_000_000
"""A table of 200 000 lines, ten times what an analyser gives, in memory at one stroke."""
LOWEST_FREQUENCY, HIGHEST_FREQUENCY = 1e-3, 1e10
"""Hz between which an impedance can be measured, and the arithmetic is sound."""


def refuse_line(path: Path, line: int, sentence: str) -> NoReturn:
    raise MeasurementError(f"{path}, line {line}: {sentence}")


def check_all(good: NDArray[np.bool_], path: Path, lines: Sequence[int], sentence: str) -> None:
    if not good.all():
        refuse_line(path, lines[int(np.argmin(good))], sentence)


def numbered_lines(path: Path) -> Iterator[tuple[int, str]]:
    """Lines of a text file, stripped, with their numbers."""
    try:
        content = read_bounded(path, MOST_BYTES)
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise MeasurementError(f"{path}: this file cannot be read: {reason}") from None
    text = _decoded(content)
    if "\0" in text:
        raise MeasurementError(f"{path}: this is no plain text; export the measurement as text")
    yield from enumerate((line.strip() for line in text.splitlines()), start=1)


_MARKS: Final = (
    (codecs.BOM_UTF8, "utf-8"),
    (codecs.BOM_UTF32_LE, "utf-32"),  # begins as UTF-16's does
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)


def _decoded(content: bytes) -> str:
    """Text by its byte order mark, by where UTF-16 has its zeros, as UTF-8, or else as one byte a letter.

    Numbers are ASCII in all old encodings; what a comment says in one of them does not count.
    """
    for mark, encoding in _MARKS:
        if content.startswith(mark):
            return content.decode(encoding, errors="replace").removeprefix("\ufeff")
    if content[1:2] == b"\0" or content[:1] == b"\0":
        encoding = "utf-16-le" if content[1:2] == b"\0" else "utf-16-be"
        return content.decode(encoding, errors="replace")
    try:
        return content.decode("utf-8")
    except UnicodeDecodeError:
        return content.decode("cp1252", errors="replace")


def numbers_of(path: Path, line: int, fields: Sequence[str]) -> list[float]:
    values = []
    for field in fields:
        try:
            value = float(field)
        except ValueError:
            refuse_line(path, line, f"{quoted(field)} was found where a number is right")
        if not np.isfinite(value):
            refuse_line(path, line, f"{quoted(field)} was found where a finite number is right")
        values.append(value)
    return values


def check_rising(path: Path, line: int, frequency: float, before: list[float]) -> None:
    if frequency < 0.0:
        refuse_line(
            path, line, f"a frequency of {frequency:g} Hz cannot be; right is 0 Hz or above"
        )
    if frequency > 0.0 and not LOWEST_FREQUENCY <= frequency <= HIGHEST_FREQUENCY:
        refuse_line(
            path,
            line,
            f"a frequency of {frequency:g} Hz was found; right is one from 1 mHz to 10 GHz, or 0 Hz",
        )
    if before and frequency <= before[-1]:
        refuse_line(
            path,
            line,
            f"{frequency:g} Hz follows {before[-1]:g} Hz; right is one frequency a line, rising",
        )


def check_enough(path: Path, frequency: Sequence[float]) -> None:
    above = sum(f > 0.0 for f in frequency)
    if above < FEWEST:
        raise MeasurementError(
            f"{path}: {above} frequencies above 0 Hz were found; right is {FEWEST} or more"
        )


def is_number(field: str) -> bool:
    try:
        float(field)
    except ValueError:
        return False
    return True


# --- tables ---------------------------------------------------------------------------------------

_COMMENT: Final = ("#", "*", "!", ";", "'", "//", "%", "--")


@dataclass(frozen=True, eq=False)
class Sheet:
    """Rows of numbers with their lines, and what is written above them without marks of comments."""

    path: Path
    lines: list[int]
    values: NDArray[np.float64]
    above: list[tuple[int, str]]


def read_sheet(path: Path, wanted: str = "") -> Sheet:
    """All rows of a table, as many numbers in each as in the first; ``wanted`` says what is right."""
    above: list[tuple[int, str]] = []
    numbers: list[int] = []
    rows: list[list[float]] = []
    for number, whole in numbered_lines(path):
        line = whole.replace('"', "").strip()
        fields = [] if line.startswith(_COMMENT) else _fields(re.split(r"[#!]", line)[0])
        if not rows and line and not (fields and is_number(fields[0])):
            above.append((number, line.lstrip("".join(_COMMENT)).strip()))
            continue
        if not line or not fields or (whole.startswith('"') and not is_number(fields[0])):
            continue
        values = numbers_of(path, number, fields)
        if rows and len(values) != len(rows[0]):
            refuse_line(
                path, number, count_sentence(len(values), f"{len(rows[0])}, as above", wanted)
            )
        numbers.append(number)
        rows.append(values)
    if not rows:
        check_enough(path, [])
    return Sheet(path, numbers, np.array(rows), above)


def count_sentence(found: int, right: str, wanted: str) -> str:
    return (
        f"{found} numbers were found; right are {right}{': ' if wanted else ''}{wanted} (with a "
        "decimal point; a decimal comma only where semicolon or tab separate)"
    )


def check_frequencies(sheet: Sheet, frequency: NDArray[np.float64]) -> None:
    """Refuse what is out of bounds, does not rise, or is too little to go by."""
    for i, (line, hertz) in enumerate(zip(sheet.lines, frequency, strict=True)):
        check_rising(sheet.path, line, float(hertz), [float(f) for f in frequency[:i][-1:]])
    check_enough(sheet.path, list(frequency))


_WRONG_UNIT: Final = re.compile(r"\b(?:f|freq\w*)\s*[(\[/]\s*(k|m|g)hz", re.IGNORECASE)


def read_table(path: Path, columns: tuple[str, ...]) -> tuple[list[int], NDArray[np.float64]]:
    """Line numbers, and rows of as many numbers as columns, the first ones rising."""
    wanted = ", ".join(columns)
    sheet = read_sheet(path, wanted)
    for number, line in sheet.above:
        if _WRONG_UNIT.search(line):
            refuse_line(path, number, f"{quoted(line)} names other units; right is Hz")
    if sheet.values.shape[1] != len(columns):
        sentence = count_sentence(sheet.values.shape[1], str(len(columns)), wanted)
        refuse_line(path, sheet.lines[0], sentence)
    check_frequencies(sheet, sheet.values[:, 0])
    return sheet.lines, sheet.values


def _fields(line: str) -> list[str]:
    """What stands between the separators; the last separator may be left hanging."""
    if not line.strip():
        return []
    return [re.sub(r",(?=\d)", ".", part) for part in split(line)]


def split(line: str) -> list[str]:
    """The cells of a line, as they are; only where semicolon or tab separate may a comma be in one."""
    for separator in (";", "\t"):
        if separator in line.strip():
            cells = line.strip().removesuffix(separator).split(separator)
            return [cell.strip().rstrip(",") for cell in cells]
    return re.split(r"\s*,\s*|\s+", line.strip().removesuffix(","))
