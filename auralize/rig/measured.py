"""Measured impedance and measured cable, from text tables and Touchstone files."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Final

import numpy as np

from auralize.circuit.cable import Dielectric
from auralize.circuit.conductor import Complex, Real
from auralize.circuit.derived_phase import derived_phase
from auralize.circuit.sampled import (
    LineConstants,
    SampledCable,
    SampledImpedance,
    fitted_dielectric,
    line_constants,
)
from auralize.circuit.spline import Spline
from auralize.errors import MeasurementError
from auralize.files import write_text
from auralize.rig.bounds import CAPACITANCE, INDUCTANCE, MODULUS, RESISTANCE, most_resistance
from auralize.rig.impedance_table import MeasuredImpedance, read_impedance_table
from auralize.rig.rows import check_all, read_table
from auralize.rig.touchstone import (
    REFERENCE,
    Touchstone,
    ports_of,
    read_touchstone,
    write_touchstone,
)
from auralize.units import show, show_frequency


@dataclass(frozen=True, eq=False)
class ImpedanceFile:
    """Impedance in ohm at rising frequencies in Hz, as it stands in the file."""

    path: Path
    frequency: Real
    impedance: Complex
    derived: bool = False
    """Whether the file has the magnitude alone, and the phase was derived from it."""

    def load(self, dc_resistance: float | None = None) -> SampledImpedance:
        """As a load; ``dc_resistance`` in ohm, where it was measured apart."""
        return SampledImpedance(self.frequency, self.impedance, dc_resistance)


def read_impedance(path: Path | str) -> ImpedanceFile:
    """Read a load: a Touchstone one-port (``.s1p``), or else a table of any program.

    Tables have one frequency a line, separated by comma, semicolon, tab or space (a decimal comma
    where semicolon or tab separate). Lines of text before the numbers name the columns, in any order, and
    their units ("Hz", "kHz"; "ohm", "mohm", "dB re 1 ohm"; "degrees", "radians"; or real and imaginary
    part); without such a line they are Hz, ohm and degrees. Lines that begin with # * ! ; ' // % or --
    are comments. Without phase that of minimum phase is taken. Raises MeasurementError: file, line, what
    was found, what would be right.
    """
    path = Path(path)
    if ports_of(path) is not None:
        found = read_touchstone(path)
        if found.values.shape[1] != 1:
            raise MeasurementError(f"{path}: a load has one port; right is a file .s1p")
        impedance = found.impedance()
        MODULUS.check(np.abs(impedance), path, found.lines)
        return ImpedanceFile(path, found.frequency, impedance)
    table = read_impedance_table(path)
    angle = _derived(table) if table.angle is None else table.angle
    impedance = table.modulus * np.exp(1j * angle)
    return ImpedanceFile(path, table.frequency, impedance, table.angle is None)


def _derived(table: MeasuredImpedance) -> Real:
    """Radians of minimum phase; 0 at 0 Hz."""
    above = table.frequency > 0.0
    angle = np.zeros_like(table.modulus)
    angle[above] = derived_phase(table.frequency[above], table.modulus[above])
    return angle


def read_cable(path: Path | str, length: float | None = None) -> SampledCable:
    """Read a cable: a Touchstone two-port (``.s2p``) of ``length`` m, or else a table per metre.

    The table has Hz, ohm/m (loop), H/m (loop) and F/m, written as `read_impedance` says. Capacitance
    is kept as the nearest constant loss angle. Raises MeasurementError, also for a length too much or
    too little.
    """
    path = Path(path)
    return _cable(path, changed_at(path), length)


def changed_at(path: Path) -> int:
    """ns; 0 for a file that cannot be looked at, of which reading it says why."""
    try:
        return path.stat().st_mtime_ns
    except (OSError, ValueError):
        return 0


@lru_cache(maxsize=32)
def _cable(path: Path, _changed: int, length: float | None) -> SampledCable:
    """Read once, so that choices with the same file compare equal; again where the file was changed."""
    if ports_of(path) is not None:
        if length is None:
            raise MeasurementError(f"{path}: the length of the measured cable is missing")
        return _cable_of_two_ports(read_touchstone(path), length)
    if length is not None:
        raise MeasurementError(f"{path}: this table is per metre; leave the length out")
    lines, table = read_table(path, ("a frequency in Hz", "ohm/m", "H/m", "F/m"))
    frequency, resistance, inductance, capacitance = table.T
    check_all(
        resistance > 0.0, path, lines, "a resistance of zero or below; right is one above zero"
    )
    check_all(
        inductance > 0.0, path, lines, "an inductance of zero or below; right is one above zero"
    )
    check_all(capacitance >= 0.0, path, lines, "a capacitance below zero; right is 0 or above")
    RESISTANCE.check(resistance, path, lines, most_resistance(frequency))
    INDUCTANCE.check(inductance, path, lines)
    CAPACITANCE.check(capacitance, path, lines)
    above = frequency > 0.0
    admittance = 2j * np.pi * frequency * capacitance
    dielectric = fitted_dielectric(frequency[above], admittance[above])
    filled, *columns = _filled(frequency, resistance, inductance)
    for what, given, column in zip(
        ("resistance", "inductance"), (resistance, inductance), columns, strict=True
    ):
        _check_smooth(path, what, given, filled, column)
    resistance, inductance = columns
    return SampledCable(filled, resistance + 2j * np.pi * filled * inductance, dielectric)


def _check_smooth(path: Path, what: str, given: Real, frequency: Real, filled: Real) -> None:
    """Refuse rows so far apart in value, and so near in frequency, that what is put between runs away."""
    away = np.maximum(filled / given.max(), given.min() / np.maximum(filled, np.finfo(float).tiny))
    worst = int(np.argmax(away))
    if away[worst] > _MOST_OVERSHOOT:
        raise MeasurementError(
            f"{path}: the {what} jumps near {show_frequency(frequency[worst])}, so nothing can be told "
            "between its rows; right is a table that changes smoothly"
        )


def _filled(frequency: Real, *columns: Real) -> Iterator[Real]:
    """Frequency and columns with rows put between, up to 40 a decade: splines of ln column over ln f.

    R and L change slowly, and so a table of few rows will do; the Z that follows does not.
    """
    f = frequency[frequency > 0.0]
    at_dc = len(frequency) - len(f)
    steps = np.ceil(_ROWS_PER_DECADE * np.diff(np.log10(f))).astype(int)
    between = [np.geomspace(a, b, n + 1)[1:-1] for a, b, n in zip(f, f[1:], steps, strict=False)]
    dense = np.sort(np.concatenate([f, *between]))
    yield np.concatenate([frequency[:at_dc], dense])
    for column in columns:
        spline = Spline(np.log(f), np.log(column[at_dc:]), 3)
        with np.errstate(over="ignore"):  # of what runs away, which is refused
            yield np.concatenate([column[:at_dc], np.exp(spline(np.log(dense)))])


_ROWS_PER_DECADE: Final = 40
_MOST_OVERSHOOT: Final = 2.0
# A smooth table's spline leaves the range of its rows by a few per cent.


def _cable_of_two_ports(found: Touchstone, length: float) -> SampledCable:
    if found.values.shape[1] != 2:
        raise MeasurementError(f"{found.path}: a cable has two ports; right is a file .s2p")
    try:
        with np.errstate(all="ignore"):  # what is no number then is refused below
            constants = line_constants(found.chain(), length)
    except ValueError as error:
        if isinstance(error, MeasurementError):
            raise
        raise MeasurementError(f"{found.path}: {error}") from None
    wrong = "the resistance of the cable is not above zero here, which no cable has"
    check_all(constants.series.real > 0.0, found.path, found.lines, wrong)
    _check_size(found, constants)
    above = found.frequency > 0.0
    dielectric: Dielectric = fitted_dielectric(found.frequency[above], constants.shunt[above])
    return SampledCable(found.frequency, constants.series, dielectric)


def _check_size(found: Touchstone, constants: LineConstants) -> None:
    """Refuse what no cable of that length has; the noise of a reactance or susceptance is let pass."""
    f, z, y = found.frequency, constants.series, constants.shunt
    RESISTANCE.check(z.real, found.path, found.lines, most_resistance(f))
    omega = 2.0 * np.pi * f
    most = "right is a cable of the length that is given as measured_length"
    wrong = f"an inductance of more than {show(INDUCTANCE.high, 'H/m')} was found; {most}"
    check_all(np.abs(z.imag) <= omega * INDUCTANCE.high + z.real, found.path, found.lines, wrong)
    wrong = f"a capacitance of more than {show(CAPACITANCE.high, 'F/m')} was found; {most}"
    noise = _ADMITTANCE_NOISE / found.reference
    check_all(np.abs(y) <= omega * CAPACITANCE.high + noise, found.path, found.lines, wrong)


_ADMITTANCE_NOISE: Final = 0.1
"""Per metre, times the reference: what an analyser right within 1 % finds in 10 cm of nothing."""


def write_impedance(path: Path | str, frequency: Real, impedance: Complex) -> None:
    """Write a load so that `read_impedance` reads the same: ``.s1p``, or else a table.

    Raises AuralizeError where the file cannot be written.
    """
    path = Path(path)
    if ports_of(path) == 1:
        scattering = (impedance - REFERENCE) / (impedance + REFERENCE)
        write_touchstone(path, frequency, scattering[:, None, None])
        return
    columns = (frequency, np.abs(impedance), np.angle(impedance, deg=True))
    rows = (" ".join(repr(float(v)) for v in row) for row in zip(*columns, strict=True))
    write_text(path, "\n".join(["# Hz ohm degrees", *rows, ""]))
