"""Rows of numbers in a text file of a measurement: every refusal names file and line."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Final, NoReturn

import numpy as np
from numpy.typing import NDArray

from auralize.circuit.sampled import FEWEST
from auralize.errors import MeasurementError
from auralize.files import read_bounded
from auralize.units import quoted

MOST_BYTES: Final = 20_000_000
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
    if b"\0" in content:
        raise MeasurementError(f"{path}: this is no plain text; export the measurement as text")
    # Comments may be in any old encoding; numbers are ASCII in all of them.
    text = content.decode("utf-8-sig", errors="replace")
    yield from enumerate((line.strip() for line in text.splitlines()), start=1)


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

_COMMENT: Final = ("#", "*", "!", ";", '"', "'", "//", "%")
_WRONG_UNIT: Final = re.compile(
    r"\b(?:f|freq\w*)\s*[(\[/]\s*(k|m|g)hz|\bphase\s*[(\[/]\s*rad", re.IGNORECASE
)


def read_table(path: Path, columns: tuple[str, ...]) -> tuple[list[int], NDArray[np.float64]]:
    """Line numbers, and rows of as many numbers as columns, the first ones rising."""
    numbers: list[int] = []
    rows: list[list[float]] = []
    for number, line in numbered_lines(path):
        if _WRONG_UNIT.search(line) and not rows:
            refuse_line(
                path, number, f"{quoted(line)} names other units; right is Hz, and phase in degrees"
            )
        if not line or line.startswith(_COMMENT):
            continue
        fields = _fields(re.split(r"[#!]", line)[0])
        if not rows and not is_number(fields[0]):
            continue  # a heading
        values = numbers_of(path, number, fields)
        if len(values) != len(columns):
            refuse_line(
                path,
                number,
                f"{len(values)} numbers were found; right are {len(columns)}: {', '.join(columns)} "
                "(with a decimal point; a decimal comma only where semicolon or tab separate)",
            )
        check_rising(path, number, values[0], [row[0] for row in rows[-1:]])
        numbers.append(number)
        rows.append(values)
    check_enough(path, [row[0] for row in rows])
    return numbers, np.array(rows)


def _fields(line: str) -> list[str]:
    """What stands between the separators; the last separator may be left hanging."""
    for separator in (";", "\t"):
        if separator in line.strip():
            parts = [part.strip() for part in line.strip().removesuffix(separator).split(separator)]
            return [re.sub(r",(?=\d)", ".", part.rstrip(",")) for part in parts]
    return re.split(r"\s*,\s*|\s+", line.strip().removesuffix(","))
