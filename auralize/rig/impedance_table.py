"""A table of impedance from any program: its columns by their headings, its units held against the values."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Final, NoReturn

import numpy as np
from numpy.typing import NDArray

from auralize.circuit.conductor import Complex, Real
from auralize.rig.bounds import MODULUS
from auralize.rig.headings import USUAL_WORDS, Heading, Kind, heading_of
from auralize.rig.rows import Sheet, check_all, check_frequencies, read_sheet, refuse_line


@dataclass(frozen=True, eq=False)
class MeasuredImpedance:
    """Rising frequencies in Hz, |Z| in ohm, and the angle of Z in radians; None where it is not told."""

    frequency: Real
    modulus: Real
    angle: Real | None


def read_impedance_table(path: Path) -> MeasuredImpedance:
    """Columns in any order, named above the numbers; without names Hz, ohm and (if any) degrees.

    Raises MeasurementError: file, line, what was found, what would be right.
    """
    sheet = read_sheet(path, USUAL_WORDS)
    with np.errstate(all="ignore"):  # what is no number then is refused
        return _table(sheet, heading_of(sheet))


def _table(sheet: Sheet, heading: Heading) -> MeasuredImpedance:
    frequency = _frequency(sheet, heading)
    given = {kind for kind in _PARTS if heading.of(kind) is not None}
    if given >= {"magnitude", "real", "imaginary"}:
        _check_agrees(sheet, heading)
    if given >= {"real", "imaginary"}:
        z = _ohm(sheet, heading, "real") + 1j * _ohm(sheet, heading, "imaginary")
        return _checked(sheet, frequency, np.abs(z), np.angle(z))
    if given not in ({"magnitude"}, {"magnitude", "phase"}):
        _refuse(sheet, heading, f"{_listed(given)} alone tells no impedance")
    angle = _angle(sheet, heading) if "phase" in given else None
    return _checked(sheet, frequency, _modulus(sheet, heading), angle)


_PARTS: Final[tuple[Kind, ...]] = ("magnitude", "phase", "real", "imaginary")
_AUDIBLE: Final = (20.0, 20e3)
"""Hz; a loudspeaker's impedance that lies outside altogether is in another unit."""
_SLOW: Final = (1.0, 200.0)
"""Hz; nobody measures from below the first and to no more than the second."""


def _listed(given: set[Kind]) -> str:
    return " and ".join(kind for kind in _PARTS if kind in given) or "a frequency"


def _refuse(sheet: Sheet, heading: Heading, sentence: str) -> NoReturn:
    refuse_line(
        sheet.path,
        heading.line or sheet.lines[0],
        f'{sentence}; right is magnitude ("ohm") with or without phase ("degrees"), or real and '
        "imaginary part",
    )


def _column(sheet: Sheet, heading: Heading, kind: Kind) -> NDArray[np.float64]:
    place = heading.of(kind)
    assert place is not None  # whoever asks has looked
    return np.asarray(sheet.values[:, place])


def _frequency(sheet: Sheet, heading: Heading) -> Real:
    column = next(c for c in heading.columns if c.kind == "frequency")
    frequency = _column(sheet, heading, "frequency") * column.factor
    check_frequencies(sheet, frequency)
    low, high = float(frequency[frequency > 0.0][0]), float(frequency[-1])
    in_khz = high <= _AUDIBLE[0] or (low < _SLOW[0] and high <= _SLOW[1])
    if in_khz or low >= _AUDIBLE[1]:
        stated = "by its heading" if column.unit else "in Hz, as no unit is named"
        hint = "kHz" if in_khz else "Hz"
        refuse_line(
            sheet.path,
            heading.line or sheet.lines[0],
            f"the frequencies go from {low:.4g} Hz to {high:.4g} Hz ({stated}), where none is "
            f'measured; are they in {hint}? Right is a heading that says so, such as "{hint}, ohm, degrees"',
        )
    return frequency


def _modulus(sheet: Sheet, heading: Heading) -> Real:
    column = next(c for c in heading.columns if c.kind == "magnitude")
    values = _column(sheet, heading, "magnitude")
    if column.unit != "dB":
        return values * column.factor
    if column.factor == 0.0:
        refuse_line(
            sheet.path,
            heading.line or sheet.lines[0],
            'a magnitude in dB says nothing without its reference; right is "dB re 1 ohm", or ohm',
        )
    return np.asarray(column.factor * 10.0 ** (np.clip(values, -400.0, 400.0) / 20.0))


def _ohm(sheet: Sheet, heading: Heading, kind: Kind) -> Real:
    column = next(c for c in heading.columns if c.kind == kind)
    if column.unit not in ("", "ohm"):
        _refuse(sheet, heading, f"a {kind} part in {column.unit} cannot be")
    return _column(sheet, heading, kind) * column.factor


def _angle(sheet: Sheet, heading: Heading) -> Real:
    """Radians, by the unit that is named; degrees, where none is and the values are no radians."""
    column = next(c for c in heading.columns if c.kind == "phase")
    values = _column(sheet, heading, "phase")
    largest = float(np.abs(values).max())
    line = sheet.lines[int(np.argmax(np.abs(values)))]
    if column.unit == "radians":
        if largest > np.pi:
            refuse_line(
                sheet.path,
                line,
                f"a phase of {largest:.4g} radians cannot be, as they end at 3.14; is it in degrees?",
            )
        return values
    if not column.unit and 0.0 < largest <= np.pi / 2.0 and np.ptp(values) > _NO_RESISTOR:
        refuse_line(
            sheet.path,
            heading.line or sheet.lines[0],
            f"the phase stays within {largest:.3g} and has no unit; right is a heading that says which, "
            'such as "Hz, ohm, degrees" or "Hz, ohm, radians"',
        )
    if largest > 180.0:
        refuse_line(
            sheet.path,
            line,
            f"a phase of {largest:.4g} degrees was found; right is one from -180 to 180, not unwrapped",
        )
    return np.radians(values)


_NO_RESISTOR: Final = 0.5
"""By which the phase of any loudspeaker changes over frequency if it is in radians."""


def _check_agrees(sheet: Sheet, heading: Heading) -> None:
    """Where magnitude and both parts are given: they must be of one impedance."""
    z: Complex = _ohm(sheet, heading, "real") + 1j * _ohm(sheet, heading, "imaginary")
    good = np.abs(_modulus(sheet, heading) - np.abs(z)) <= _AGREES * np.abs(z)
    check_all(
        good,
        sheet.path,
        sheet.lines,
        "magnitude, real and imaginary part do not belong together; right is one of both, or the same",
    )


_AGREES: Final = 0.02
"""Share by which rounding may part them."""


def _checked(sheet: Sheet, f: Real, modulus: Real, angle: Real | None) -> MeasuredImpedance:
    path, lines = sheet.path, sheet.lines
    zero = "a modulus of zero or below; right is one above zero, in ohm"
    check_all(modulus > 0.0, path, lines, zero)
    MODULUS.check(modulus, path, lines)
    if float(modulus.min()) < _LEAST:
        refuse_line(
            path,
            lines[int(np.argmin(modulus))],
            f"a modulus of {modulus.min():.3g} ohm, which no loudspeaker has; is the heading's unit right?",
        )
    if angle is not None:
        active = "a phase of 90 degrees or more, which no loudspeaker has; right is one between -90 and 90"
        check_all(np.abs(angle) < np.pi / 2.0, path, lines, active)
    return MeasuredImpedance(f, modulus, angle)


_LEAST: Final = 0.05
"""ohm; many loudspeakers of 1 ohm side by side have as much (common practice, no source)."""
