"""Touchstone files of one or two ports, read and written.

Version 1 of the Touchstone File Format Specification, IBIS Open Forum, which is open. S, Y and Z. In
this version Y and Z are given relative to the reference resistance.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final, Literal, cast

import numpy as np
from numpy.typing import NDArray

from auralize.circuit import twoport
from auralize.circuit.conductor import Complex, Real
from auralize.errors import MeasurementError
from auralize.files import write_text
from auralize.rig.rows import (
    check_all,
    check_enough,
    check_rising,
    is_number,
    numbered_lines,
    numbers_of,
    refuse_line,
)
from auralize.units import quoted

Parameter = Literal["S", "Y", "Z"]

REFERENCE: Final = 50.0
"""ohm; what a Touchstone file means where it names none, and what is written."""


@dataclass(frozen=True, eq=False)
class Touchstone:
    """``values`` of shape (frequencies, ports, ports): S, or Y in siemens, or Z in ohm.

    ``frequency`` in Hz, ``reference`` in ohm, and the ``lines`` of the file that each row came from.
    """

    path: Path
    frequency: Real
    parameter: Parameter
    values: Complex
    reference: float
    lines: Sequence[int]

    def impedance(self) -> Complex:
        """Of a one-port, in ohm. Raises MeasurementError where it is open, or no passive one."""
        value = self.values[:, 0, 0]
        over = {"S": 1.0 - value, "Y": value, "Z": np.ones_like(value)}[self.parameter]
        whole = {
            "S": self.reference * (1.0 + value),
            "Y": np.ones_like(value),
            "Z": value,
        }[self.parameter]
        check_all(over != 0.0, self.path, self.lines, "nothing flows here, which is no loudspeaker")
        with np.errstate(over="ignore", invalid="ignore"):  # refused below
            z = whole / over
        check_all(z.real > 0.0, self.path, self.lines, _NOT_PASSIVE)
        return z

    def chain(self) -> Complex:
        """Chain matrix of a two-port. Raises MeasurementError where nothing comes through."""
        n11, n12, n21, n22 = (self.values[:, i, j] for i in (0, 1) for j in (0, 1))
        check_all(n21 != 0.0, self.path, self.lines, "nothing comes through, which is no cable")
        if self.parameter == "Y":
            return twoport.chain(-n22, -np.ones_like(n21), n12 * n21 - n11 * n22, -n11) / _wide(n21)
        if self.parameter == "Z":
            return twoport.chain(n11, n11 * n22 - n12 * n21, np.ones_like(n21), n22) / _wide(n21)
        # Scattering parameters at one real reference resistance: Pozar, 'Microwave Engineering',
        # conversions between two-port parameters (from memory; checked against another library).
        through = n12 * n21
        a = (1.0 + n11) * (1.0 - n22) + through
        b = self.reference * ((1.0 + n11) * (1.0 + n22) - through)
        c = ((1.0 - n11) * (1.0 - n22) - through) / self.reference
        d = (1.0 - n11) * (1.0 + n22) + through
        return twoport.chain(a, b, c, d) / (2.0 * _wide(n21))


_NOT_PASSIVE: Final = "the real part of the impedance is not above zero, which no loudspeaker has"


def _wide(value: Complex) -> Complex:
    return value[:, None, None]


_UNITS: Final = {"HZ": 1.0, "KHZ": 1e3, "MHZ": 1e6, "GHZ": 1e9}
_FORMATS: Final = ("DB", "MA", "RI")
_MOST: Final = 1e9
"""Modulus of a parameter relative to the reference: nothing that can be measured is more."""
_REFERENCES: Final = (1e-3, 1e6)
"""ohm"""


@dataclass(frozen=True)
class _Options:
    """The option line; its defaults are those of the specification."""

    unit: float = _UNITS["GHZ"]
    parameter: Parameter = "S"
    numbers: str = "MA"
    reference: float = REFERENCE


def read_touchstone(path: Path | str) -> Touchstone:
    """Read a Touchstone file of one or two ports, version 1; noise parameters are passed over.

    Raises MeasurementError: file, line, what was found, what would be right.
    """
    path = Path(path)
    ports = ports_of(path)
    if ports not in (1, 2):
        raise MeasurementError(f"{path}: right is a file of one port (.s1p) or two ports (.s2p)")
    options, lines, rows = _read_rows(path, ports)
    frequency = rows[:, 0]
    with np.errstate(over="ignore", invalid="ignore"):  # refused below
        flat = _complex(rows[:, 1:], options.numbers)
    sizes = np.abs(flat).max(axis=1)
    wrong = f"a value beyond {_MOST:g} was found; right are those of the option line"
    check_all(sizes <= _MOST, path, lines, f"{wrong}, {options.numbers}")
    # The order in a line is 11, 21, 12, 22.
    matrices = flat.reshape(-1, ports, ports).transpose(0, 2, 1)
    scale = {"S": 1.0, "Y": 1.0 / options.reference, "Z": options.reference}[options.parameter]
    return Touchstone(
        path, frequency, options.parameter, matrices * scale, options.reference, lines
    )


def _read_rows(path: Path, ports: int) -> tuple[_Options, list[int], NDArray[np.float64]]:
    """Options, line numbers, and rows as they stand there, but for frequencies, which are in Hz."""
    options: _Options | None = None
    numbers: list[int] = []
    rows: list[list[float]] = []
    wanted = 1 + 2 * ports**2
    for number, line in _without_comments(path):
        if line.startswith("#"):  # all but the first are to be ignored
            options = options or _read_options(path, number, line)
            continue
        if options is None:
            refuse_line(
                path, number, "the option line, like '# HZ S RI R 50', must be before the data"
            )
        found, *values = numbers_of(path, number, line.split())
        hertz, before = found * options.unit, [row[0] for row in rows[-1:]]
        if ports == 2 and len(values) == 4 and before and hertz <= before[0]:
            break  # noise parameters, which begin again at a lower frequency
        if 1 + len(values) != wanted:
            refuse_line(
                path,
                number,
                f"{1 + len(values)} numbers were found; right for {path.suffix} are {wanted}",
            )
        check_rising(path, number, hertz, before)
        numbers.append(number)
        rows.append([hertz, *values])
    if options is None:
        raise MeasurementError(f"{path}: the option line, like '# HZ S RI R 50', is missing")
    check_enough(path, [row[0] for row in rows])
    return options, numbers, np.array(rows)


def _without_comments(path: Path) -> Iterator[tuple[int, str]]:
    for number, whole in numbered_lines(path):
        line = whole.partition("!")[0].strip()
        if line.startswith("["):
            refuse_line(
                path,
                number,
                f"{quoted(line)} belongs to version 2 of the format; right is version 1, without brackets",
            )
        if line:
            yield number, line


def _read_options(path: Path, number: int, line: str) -> _Options:
    words = line[1:].upper().split()
    unit, parameter, numbers, reference = 1e9, "S", "MA", REFERENCE
    while words:
        word = words.pop(0)
        if word in _UNITS:
            unit = _UNITS[word]
        elif word in ("S", "Y", "Z"):
            parameter = word
        elif word in _FORMATS:
            numbers = word
        elif word == "R":
            ohms = []
            while words and is_number(words[0]):
                ohms.append(float(words.pop(0)))
            if not ohms or not _REFERENCES[0] <= min(ohms) == max(ohms) <= _REFERENCES[1]:
                refuse_line(
                    path,
                    number,
                    "right is one reference resistance above zero for all ports, 1 mohm to 1 Mohm",
                )
            reference = ohms[0]
        else:
            refuse_line(
                path,
                number,
                f"{quoted(word)} was found; right is a line like '# HZ S RI R 50', with Hz, kHz, MHz or "
                "GHz, S, Y or Z, and DB, MA or RI",
            )
    return _Options(unit, cast(Parameter, parameter), numbers, reference)


def _complex(pairs: NDArray[np.float64], numbers: str) -> Complex:
    """Complex numbers out of columns in pairs: real and imaginary, or modulus (dB) and degrees."""
    one, other = pairs[:, 0::2], pairs[:, 1::2]
    if numbers == "RI":
        return one + 1j * other
    modulus = 10.0 ** (one / 20.0) if numbers == "DB" else one
    return np.asarray(modulus * np.exp(1j * np.radians(other)), dtype=np.complex128)


def write_touchstone(path: Path | str, frequency: Real, scattering: Complex) -> None:
    """Write S of shape (frequencies, ports, ports) at 50 ohm, one or two ports, in version 1."""
    path, ports = Path(path), scattering.shape[1]
    if ports_of(path) != ports:
        raise MeasurementError(
            f"{path}: right for {ports} port(s) is a name that ends in .s{ports}p"
        )
    rows = []
    for f, matrix in zip(frequency, scattering, strict=True):
        parts = [x for value in matrix.T.ravel() for x in (value.real, value.imag)]
        rows.append(" ".join(repr(float(x)) for x in (f, *parts)))
    write_text(path, "\n".join([f"# HZ S RI R {REFERENCE:g}", *rows, ""]))


def ports_of(path: Path) -> int | None:
    """The number of ports that a Touchstone file's name says; None for any other name."""
    match = re.fullmatch(r"\.s(\d+)p", path.suffix, re.IGNORECASE)
    return int(match.group(1)) if match else None
