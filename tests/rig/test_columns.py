"""Tables of impedance as any program writes them: one driver in its box, and every table gives it back."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from auralize.circuit.loudspeaker import Driver
from auralize.errors import MeasurementError
from auralize.rig.headings import column_of
from auralize.rig.measured import read_impedance

BOX = Driver(5.6, 38.0, 4.2, 0.42, 0.5e-3, 0.02, 1.5)
F = 20.0 * 2.0 ** (np.arange(121) / 12.0)
Z = BOX.impedance(F)
HZ, OHM, DEG = F, np.abs(Z), np.angle(Z, deg=True)


def rows(*columns: np.ndarray, separator: str = " ", comma: bool = False) -> str:
    lines = [separator.join(f"{value:.9g}" for value in row) for row in zip(*columns, strict=True)]
    text = "\n".join(lines) + "\n"
    return text.replace(".", ",") if comma else text


PLAIN = rows(HZ, OHM, DEG)
TABLES: dict[str, str] = {
    "nothing above": PLAIN,
    "kilohertz": "Freq [kHz]  |Z| [ohm]  Phase [deg]\n" + rows(HZ / 1e3, OHM, DEG),
    "milliohm": "Hz, mOhm, deg\n" + rows(HZ, 1e3 * OHM, DEG, separator=", "),
    "kiloohm": "f/Hz |Z|/kohm phi/deg\n" + rows(HZ, OHM / 1e3, DEG),
    "dB re 1 ohm": "Frequency (Hz), Impedance (dB re 1 ohm), Phase (°)\n"
    + rows(HZ, 20.0 * np.log10(OHM), DEG, separator=","),
    "dB over 8 ohm, no brackets": "Hz  dB re 8 ohm  degrees\n"
    + rows(HZ, 20.0 * np.log10(OHM / 8.0), DEG),
    "dBohm": "Hz dBohm degrees\n" + rows(HZ, 20.0 * np.log10(OHM), DEG),
    "radians": "Frequency\tImpedance\tPhase (rad)\n" + rows(HZ, OHM, np.angle(Z), separator="\t"),
    "another order": "Phase(deg);Z(Ohm);Frequency(Hz)\n"
    + rows(DEG, OHM, HZ, separator=";", comma=True),
    "real and imaginary": "Hz;Re(Z);Im(Z)\n" + rows(HZ, Z.real, Z.imag, separator=";"),
    "R and X": "* f [Hz]  R [ohm]  X [ohm]\n" + rows(HZ, Z.real, Z.imag),
    "both": "Freq(Hz) Z(ohm) Phase(deg) R(ohm) X(ohm)\n" + rows(HZ, OHM, DEG, Z.real, Z.imag),
    "both, roughly": "Freq(Hz) Z(ohm) Phase(deg) R(ohm) X(ohm)\n"
    + rows(HZ, 1.015 * OHM, DEG, Z.real, Z.imag),
    "columns besides": "No. Freq(Hz) SPL(dB) Z(ohm) Phase(deg)\n"
    + rows(np.arange(121), HZ, 90.0 + 0.0 * HZ, OHM, DEG),
    "names and units in two lines": "Frequency\tImpedance\tPhase\nkHz\tohm\trad\n"
    + rows(HZ / 1e3, OHM, np.angle(Z), separator="\t"),
    "in quotes": '"Freq (Hz)","Z (ohm)","Phase (deg)"\n"'
    + rows(HZ, OHM, DEG, separator='","').replace("\n", '"\n"').removesuffix('"'),
    "comments of all kinds": f"% one\n// two\n-- three\n; four\n' five\nHz ohm degrees\n{PLAIN}# end\n",
    "signs of the units": "f (Hz)\t|Z| (Ω)\t∠ (°)\n" + rows(HZ, OHM, DEG, separator="\t"),
}


@pytest.mark.parametrize("name", TABLES)
def test_every_table_gives_the_same_impedance(name: str, tmp_path: Path) -> None:
    """Nine digits are written; those of dB and angle are off by a few in the last one of the value."""
    path = tmp_path / "landing.txt"
    path.write_text(TABLES[name], encoding="utf-8")
    found = read_impedance(path)
    assert not found.derived
    np.testing.assert_allclose(found.frequency, F, rtol=1e-8)
    np.testing.assert_allclose(found.impedance, Z, rtol=1e-7)


@pytest.mark.parametrize(
    "encoding", ["utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "utf-32", "cp1252"]
)
def test_every_encoding_gives_the_same_impedance(encoding: str, tmp_path: Path) -> None:
    path = tmp_path / "landing.txt"
    path.write_bytes(("Frequenz (Hz)\tImpedanz (ohm)\tPhase (°)\r\n" + PLAIN).encode(encoding))
    np.testing.assert_allclose(read_impedance(path).impedance, Z, rtol=1e-7)


REFUSED = {
    "kHz that are Hz": ("kHz ohm degrees", PLAIN, r"line 1: .* from 2e\+04 Hz .* are they in Hz\?"),
    "Hz that are kHz": ("Hz ohm degrees", rows(HZ / 1e3, OHM, DEG), r"to 20.48 Hz .* in kHz\?"),
    "kHz without a word": ("", rows(HZ / 1e3, OHM, DEG), r"no unit is named.* in kHz\?"),
    "mohm that are ohm": (
        "Hz mohm degrees",
        PLAIN,
        r"a modulus of 0.00\d+ ohm, which no loudspeaker",
    ),
    "ohm that are dB": ("Hz ohm degrees", rows(HZ, -OHM, DEG), r"a modulus of zero or below"),
    "dB alone": ("Hz dB degrees", PLAIN, r"line 1: a magnitude in dB .* right is \"dB re 1 ohm\""),
    "two magnitudes": ("Hz ohm dB", PLAIN, r"line 1: two columns give the magnitude here"),
    "two frequencies": ("Hz kHz ohm", PLAIN, r"line 1: two columns give the frequency"),
    "radians that are degrees": ("Hz ohm rad", PLAIN, r"a phase of \d+.* radians .* in degrees\?"),
    "radians without a word": (
        "",
        rows(HZ, OHM, np.angle(Z)),
        r"the phase stays within .* no unit",
    ),
    "a little over what a resistor has": (
        "",
        rows(HZ, OHM, 0.3 * np.cos(np.arange(121))),
        r"the phase stays within 0.3 and has no unit",
    ),
    "unwrapped": ("Hz ohm deg", rows(HZ, OHM, DEG - 360.0), r"degrees was found; .* -180 to 180"),
    "radians a little beyond": (
        "Hz ohm rad",
        rows(HZ, OHM, 3.2 + 0.0 * HZ),
        r"line 2: a phase of 3.2 radians cannot be",
    ),
    "a coil alone": (
        "Hz ohm deg",
        rows(HZ, OHM, 90.0 + 0.0 * HZ),
        r"a phase of 90 degrees or more",
    ),
    "half a turn": (
        "Hz ohm deg",
        rows(HZ, OHM, 180.0 + 0.0 * HZ),
        r"a phase of 90 degrees or more",
    ),
    "no higher than 20": ("", rows(np.linspace(1.0, 20.0, 121), OHM), r"to 20 Hz .* in kHz\?"),
    "no lower than 20 kHz": ("kHz ohm", rows(HZ, OHM), r"from 2e\+04 Hz .* in Hz\?"),
    "less than is measured": ("Hz ohm", rows(HZ, 0.045 + 0.0 * HZ), r"a modulus of 0.045 ohm"),
    "active": ("Hz ohm deg", rows(HZ, OHM, DEG + 90.0), r"a phase of 90 degrees or more"),
    "phase alone": ("Hz deg", rows(HZ, DEG), r"line 1: phase alone tells no impedance"),
    "real part alone": ("Hz Re(Z)", rows(HZ, Z.real), r"line 1: real alone tells no impedance"),
    "a phase in ohm": ("Hz Re(deg) Im(ohm)", PLAIN, r"line 1: a real part in degrees cannot be"),
    "magnitude 3 % off": (
        "Hz Z R X",
        rows(HZ, 1.03 * OHM, Z.real, Z.imag),
        r"line 2: magnitude, real",
    ),
    "magnitude and parts of two": (
        "Hz Z R X",
        rows(HZ, OHM, 2.0 * Z.real, Z.imag),
        r"line 2: magnitude, real and imaginary part do not belong together",
    ),
    "names for fewer columns": ("Freq(Hz) Z(ohm)", PLAIN, r"line 1: .* other columns than the 3"),
    "four numbers and no names": (
        "",
        rows(HZ, OHM, DEG, DEG),
        r"4 numbers were found; right are 3",
    ),
}


@pytest.mark.parametrize("fault", REFUSED)
def test_what_contradicts_itself_is_refused_in_one_sentence(fault: str, tmp_path: Path) -> None:
    heading, numbers, said = REFUSED[fault]
    path = tmp_path / "landing.txt"
    path.write_text(f"{heading}\n{numbers}", encoding="utf-8")
    with pytest.raises(MeasurementError, match=said) as caught:
        read_impedance(path)
    assert str(caught.value).startswith(f"{path}, line ")
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("Frequency (Hz)", ("frequency", "Hz", 1.0)),
        ("f/kHz", ("frequency", "kHz", 1e3)),
        ("|Z| [Ω]", ("magnitude", "ohm", 1.0)),
        ("Z phase", ("phase", "", 1.0)),
        ("Z_real (mOhm)", ("real", "ohm", 1e-3)),
        ("MOhm", ("magnitude", "ohm", 1e6)),
        ("coherence", ("other", "", 1.0)),
    ],
)
def test_a_cell_above_the_numbers(text: str, expected: tuple[str, str, float]) -> None:
    column = column_of(text)
    kind, unit, factor = expected
    assert (column.kind, column.unit, column.factor) == (kind, unit.removeprefix("k"), factor)


def test_small_phases_without_a_unit_that_hardly_change_are_degrees(tmp_path: Path) -> None:
    """Of a resistor."""
    path, degrees = tmp_path / "landing.txt", 0.24 * np.cos(np.arange(121))
    path.write_text(rows(HZ, 8.0 + 0.0 * HZ, degrees), encoding="utf-8")
    found = np.angle(read_impedance(path).impedance, deg=True)
    np.testing.assert_allclose(found, degrees, atol=1e-8)


def test_a_frequency_of_0_says_nothing_of_the_unit(tmp_path: Path) -> None:
    path = tmp_path / "landing.txt"
    path.write_text("0 6 0\n50 8 10\n100 9 20\n150 8 -10\n200 7 -5\n", encoding="utf-8")
    np.testing.assert_array_equal(read_impedance(path).frequency[-4:], [50.0, 100.0, 150.0, 200.0])


# ---- magnitude alone -----------------------------------------------------------------------------

ALONE: dict[str, Callable[[], str]] = {
    "a heading": lambda: "Frequency (Hz), Impedance (ohm)\n" + rows(HZ, OHM, separator=","),
    "none": lambda: rows(HZ, OHM),
}


@pytest.mark.parametrize("name", ALONE)
def test_magnitude_alone_gives_the_phase_of_the_circuit(name: str, tmp_path: Path) -> None:
    """Within 2.5 degrees at the lowest octave and 1 degree above it, from 20 Hz, 12 points an octave."""
    path = tmp_path / "landing.txt"
    path.write_text(ALONE[name](), encoding="utf-8")
    found = read_impedance(path)
    assert found.derived
    np.testing.assert_allclose(np.abs(found.impedance), OHM, rtol=1e-8)
    off = np.abs(np.angle(found.impedance, deg=True) - DEG)
    assert off.max() < 2.5
    assert off[F > 40.0].max() < 1.0
