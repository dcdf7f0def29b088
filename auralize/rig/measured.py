"""Measured impedance and measured cable, from text tables and Touchstone files.

Touchstone: version 1 of the Touchstone File Format Specification, IBIS Open Forum, which is open. One
and two ports; S, Y and Z. In this version Y and Z are given relative to the reference resistance.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final, Literal, NoReturn, cast

import numpy as np
from numpy.typing import NDArray

from auralize.circuit import twoport
from auralize.circuit.cable import Dielectric
from auralize.circuit.conductor import Complex, Real
from auralize.circuit.sampled import (
    FEWEST,
    SampledCable,
    SampledImpedance,
    fitted_dielectric,
    line_constants,
)
from auralize.errors import AuralizeError
from auralize.files import write_text

Parameter = Literal["S", "Y", "Z"]

_REFERENCE: Final = 50.0
"""ohm; what a Touchstone file means where it names none, and what is written."""


class MeasurementError(AuralizeError, ValueError):
    """A measurement cannot be read, or cannot be what was measured."""


@dataclass(frozen=True, eq=False)
class ImpedanceFile:
    """Impedance in ohm at rising frequencies in Hz, as it stands in the file."""

    path: Path
    frequency: Real
    impedance: Complex

    def load(self, dc_resistance: float | None = None) -> SampledImpedance:
        """As a load; ``dc_resistance`` in ohm, where it was measured apart."""
        return SampledImpedance(self.frequency, self.impedance, dc_resistance)


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
        _all(over != 0.0, self.path, self.lines, "nothing flows here, which is no loudspeaker")
        z = whole / over
        _all(z.real > 0.0, self.path, self.lines, _NOT_PASSIVE)
        return z

    def chain(self) -> Complex:
        """Chain matrix of a two-port. Raises MeasurementError where nothing comes through."""
        n11, n12, n21, n22 = (self.values[:, i, j] for i in (0, 1) for j in (0, 1))
        _all(n21 != 0.0, self.path, self.lines, "nothing comes through, which is no cable")
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


def read_impedance(path: Path | str) -> ImpedanceFile:
    """Read a load: a Touchstone one-port (``.s1p``), or else a table of Hz, ohm and degrees.

    Tables have one frequency a line, separated by comma, semicolon, tab or space (a decimal comma
    where semicolon or tab separate); lines of text before the numbers, and those that begin with
    # * ! or ;, are comments. Raises MeasurementError: file, line, what was found, what would be right.
    """
    path = Path(path)
    if _ports(path) is not None:
        found = read_touchstone(path)
        if found.values.shape[1] != 1:
            raise MeasurementError(f"{path}: a load has one port; right is a file .s1p")
        return ImpedanceFile(path, found.frequency, found.impedance())
    lines, table = _table(path, ("a frequency in Hz", "ohm", "degrees"))
    frequency, modulus, degrees = table.T
    _all(modulus > 0.0, path, lines, "a modulus of zero or below; right is one above zero, in ohm")
    _all(
        np.abs(degrees) < 90.0,
        path,
        lines,
        "a phase of 90 degrees or more, which no loudspeaker has; right is one between -90 and 90",
    )
    return ImpedanceFile(path, frequency, modulus * np.exp(1j * np.radians(degrees)))


def read_cable(path: Path | str, length: float | None = None) -> SampledCable:
    """Read a cable: a Touchstone two-port (``.s2p``) of ``length`` m, or else a table per metre.

    The table has Hz, ohm/m (loop), H/m (loop) and F/m, written as `read_impedance` says. Capacitance
    is kept as the nearest constant loss angle. Raises MeasurementError, also for a length too much or
    too little.
    """
    path = Path(path)
    if _ports(path) is not None:
        if length is None:
            raise MeasurementError(f"{path}: the length of the measured cable is missing")
        return _cable_of_two_ports(read_touchstone(path), length)
    if length is not None:
        raise MeasurementError(f"{path}: this table is per metre; leave the length out")
    lines, table = _table(path, ("a frequency in Hz", "ohm/m", "H/m", "F/m"))
    frequency, resistance, inductance, capacitance = table.T
    _all(resistance > 0.0, path, lines, "a resistance of zero or below; right is one above zero")
    _all(inductance > 0.0, path, lines, "an inductance of zero or below; right is one above zero")
    _all(capacitance >= 0.0, path, lines, "a capacitance below zero; right is 0 or above")
    above = frequency > 0.0
    admittance = 2j * np.pi * frequency * capacitance
    dielectric = fitted_dielectric(frequency[above], admittance[above])
    frequency, resistance, inductance = _filled(frequency, resistance, inductance)
    return SampledCable(frequency, resistance + 2j * np.pi * frequency * inductance, dielectric)


def _filled(frequency: Real, *columns: Real) -> Iterator[Real]:
    """Frequency and columns with rows put between, up to 40 a decade: splines of ln column over ln f.

    R and L change slowly, and so a table of few rows will do; the Z that follows does not.
    """
    from scipy.interpolate import make_interp_spline  # 0.2 s that --help need not wait for

    f = frequency[frequency > 0.0]
    at_dc = len(frequency) - len(f)
    steps = np.ceil(_ROWS_PER_DECADE * np.diff(np.log10(f))).astype(int)
    between = [np.geomspace(a, b, n + 1)[1:-1] for a, b, n in zip(f, f[1:], steps, strict=False)]
    dense = np.sort(np.concatenate([f, *between]))
    yield np.concatenate([frequency[:at_dc], dense])
    for column in columns:
        spline = make_interp_spline(np.log(f), np.log(column[at_dc:]), k=3)
        yield np.concatenate([column[:at_dc], np.exp(spline(np.log(dense)))])


_ROWS_PER_DECADE: Final = 40


def _cable_of_two_ports(found: Touchstone, length: float) -> SampledCable:
    if found.values.shape[1] != 2:
        raise MeasurementError(f"{found.path}: a cable has two ports; right is a file .s2p")
    try:
        constants = line_constants(found.chain(), length)
    except ValueError as error:
        if isinstance(error, MeasurementError):
            raise
        raise MeasurementError(f"{found.path}: {error}") from None
    wrong = "the resistance of the cable is not above zero here, which no cable has"
    _all(constants.series.real > 0.0, found.path, found.lines, wrong)
    above = found.frequency > 0.0
    dielectric: Dielectric = fitted_dielectric(found.frequency[above], constants.shunt[above])
    return SampledCable(found.frequency, constants.series, dielectric)


def write_impedance(path: Path | str, frequency: Real, impedance: Complex) -> None:
    """Write a load so that `read_impedance` reads the same: ``.s1p``, or else a table.

    Raises AuralizeError where the file cannot be written.
    """
    path = Path(path)
    if _ports(path) == 1:
        scattering = (impedance - _REFERENCE) / (impedance + _REFERENCE)
        write_touchstone(path, frequency, scattering[:, None, None])
        return
    columns = (frequency, np.abs(impedance), np.angle(impedance, deg=True))
    rows = (" ".join(repr(float(v)) for v in row) for row in zip(*columns, strict=True))
    write_text(path, "\n".join(["# Hz ohm degrees", *rows, ""]))


def write_touchstone(path: Path | str, frequency: Real, scattering: Complex) -> None:
    """Write S of shape (frequencies, ports, ports) at 50 ohm, one or two ports, in version 1."""
    path, ports = Path(path), scattering.shape[1]
    if _ports(path) != ports:
        raise MeasurementError(
            f"{path}: right for {ports} port(s) is a name that ends in .s{ports}p"
        )
    rows = []
    for f, matrix in zip(frequency, scattering, strict=True):
        parts = [x for value in matrix.T.ravel() for x in (value.real, value.imag)]
        rows.append(" ".join(repr(float(x)) for x in (f, *parts)))
    write_text(path, "\n".join([f"# HZ S RI R {_REFERENCE:g}", *rows, ""]))


def _ports(path: Path) -> int | None:
    """The number of ports that a Touchstone file's name says; None for any other name."""
    match = re.fullmatch(r"\.s(\d+)p", path.suffix, re.IGNORECASE)
    return int(match.group(1)) if match else None


# Lines of text.


def _refuse(path: Path, line: int, sentence: str) -> NoReturn:
    raise MeasurementError(f"{path}, line {line}: {sentence}")


def _all(good: NDArray[np.bool_], path: Path, lines: Sequence[int], sentence: str) -> None:
    if not good.all():
        _refuse(path, lines[int(np.argmin(good))], sentence)


def _lines(path: Path) -> Iterator[tuple[int, str]]:
    """Lines of a text file, stripped, with their numbers."""
    try:
        content = path.read_bytes()
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise MeasurementError(f"{path}: this file cannot be read: {reason}") from None
    if b"\0" in content:
        raise MeasurementError(f"{path}: this is no plain text; export the measurement as text")
    # Comments may be in any old encoding; numbers are ASCII in all of them.
    text = content.decode("utf-8-sig", errors="replace")
    yield from enumerate((line.strip() for line in text.splitlines()), start=1)


def _values(path: Path, line: int, fields: Sequence[str]) -> list[float]:
    values = []
    for field in fields:
        try:
            value = float(field)
        except ValueError:
            _refuse(path, line, f"{field!r} was found where a number is right")
        if not np.isfinite(value):
            _refuse(path, line, f"{field!r} was found where a finite number is right")
        values.append(value)
    return values


def _rising(path: Path, line: int, frequency: float, before: list[float]) -> None:
    if frequency < 0.0:
        _refuse(path, line, f"a frequency of {frequency:g} Hz cannot be; right is 0 Hz or above")
    if before and frequency <= before[-1]:
        _refuse(
            path,
            line,
            f"{frequency:g} Hz follows {before[-1]:g} Hz; right is one frequency a line, rising",
        )


def _enough(path: Path, frequency: Sequence[float]) -> None:
    above = sum(f > 0.0 for f in frequency)
    if above < FEWEST:
        raise MeasurementError(
            f"{path}: {above} frequencies above 0 Hz were found; right is {FEWEST} or more"
        )


# Tables.

_COMMENT: Final = ("#", "*", "!", ";", '"', "'", "//", "%")
_WRONG_UNIT: Final = re.compile(
    r"\b(?:f|freq\w*)\s*[(\[/]\s*(k|m|g)hz|\bphase\s*[(\[/]\s*rad", re.IGNORECASE
)


def _table(path: Path, columns: tuple[str, ...]) -> tuple[list[int], NDArray[np.float64]]:
    """Line numbers, and rows of as many numbers as columns, the first ones rising."""
    numbers: list[int] = []
    rows: list[list[float]] = []
    for number, line in _lines(path):
        if _WRONG_UNIT.search(line) and not rows:
            _refuse(path, number, f"{line!r} names other units; right is Hz, and phase in degrees")
        if not line or line.startswith(_COMMENT):
            continue
        fields = _fields(re.split(r"[#!]", line)[0])
        if not rows and not _is_number(fields[0]):
            continue  # a heading
        values = _values(path, number, fields)
        if len(values) != len(columns):
            _refuse(
                path,
                number,
                f"{len(values)} numbers were found; right are {len(columns)}: {', '.join(columns)} "
                "(with a decimal point; a decimal comma only where semicolon or tab separate)",
            )
        _rising(path, number, values[0], [row[0] for row in rows[-1:]])
        numbers.append(number)
        rows.append(values)
    _enough(path, [row[0] for row in rows])
    return numbers, np.array(rows)


def _fields(line: str) -> list[str]:
    """What stands between the separators; the last separator may be left hanging."""
    for separator in (";", "\t"):
        if separator in line.strip():
            parts = [part.strip() for part in line.strip().removesuffix(separator).split(separator)]
            return [re.sub(r",(?=\d)", ".", part.rstrip(",")) for part in parts]
    return re.split(r"\s*,\s*|\s+", line.strip().removesuffix(","))


def _is_number(field: str) -> bool:
    try:
        float(field)
    except ValueError:
        return False
    return True


# Touchstone.

_UNITS: Final = {"HZ": 1.0, "KHZ": 1e3, "MHZ": 1e6, "GHZ": 1e9}
_FORMATS: Final = ("DB", "MA", "RI")


@dataclass(frozen=True)
class _Options:
    """The option line; its defaults are those of the specification."""

    unit: float = _UNITS["GHZ"]
    parameter: Parameter = "S"
    numbers: str = "MA"
    reference: float = _REFERENCE


def read_touchstone(path: Path | str) -> Touchstone:
    """Read a Touchstone file of one or two ports, version 1; noise parameters are passed over.

    Raises MeasurementError: file, line, what was found, what would be right.
    """
    path = Path(path)
    ports = _ports(path)
    if ports not in (1, 2):
        raise MeasurementError(f"{path}: right is a file of one port (.s1p) or two ports (.s2p)")
    options: _Options | None = None
    numbers: list[int] = []
    frequency: list[float] = []
    rows: list[list[float]] = []
    for number, whole in _lines(path):
        line = whole.partition("!")[0].strip()
        if not line:
            continue
        if line.startswith("["):
            _refuse(
                path,
                number,
                f"{line!r} belongs to version 2 of the format; right is version 1, without brackets",
            )
        if line.startswith("#"):  # all but the first are to be ignored
            options = options or _read_options(path, number, line)
            continue
        if options is None:
            _refuse(path, number, "the option line, like '# HZ S RI R 50', must be before the data")
        values = _values(path, number, line.split())
        hertz = values[0] * options.unit
        if ports == 2 and len(values) == 5 and frequency and hertz <= frequency[-1]:
            break  # noise parameters, which begin again at a lower frequency
        wanted = 1 + 2 * ports**2
        if len(values) != wanted:
            _refuse(
                path,
                number,
                f"{len(values)} numbers were found; right for {path.suffix} are {wanted}",
            )
        _rising(path, number, hertz, frequency)
        numbers.append(number)
        frequency.append(hertz)
        rows.append(values[1:])
    if options is None:
        raise MeasurementError(f"{path}: the option line, like '# HZ S RI R 50', is missing")
    _enough(path, frequency)
    flat = _complex(np.array(rows), options.numbers)
    # The order in a line is 11, 21, 12, 22.
    matrices = flat.reshape(-1, ports, ports).transpose(0, 2, 1)
    scale = {"S": 1.0, "Y": 1.0 / options.reference, "Z": options.reference}[options.parameter]
    return Touchstone(
        path=path,
        frequency=np.array(frequency),
        parameter=options.parameter,
        values=matrices * scale,
        reference=options.reference,
        lines=numbers,
    )


def _read_options(path: Path, number: int, line: str) -> _Options:
    words = line[1:].upper().split()
    unit, parameter, numbers, reference = 1e9, "S", "MA", _REFERENCE
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
            while words and _is_number(words[0]):
                ohms.append(float(words.pop(0)))
            if not ohms or not 0.0 < min(ohms) == max(ohms) < np.inf:
                _refuse(path, number, "right is one reference resistance above zero for all ports")
            reference = ohms[0]
        else:
            _refuse(
                path,
                number,
                f"{word!r} was found; right is a line like '# HZ S RI R 50', with Hz, kHz, MHz or "
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
