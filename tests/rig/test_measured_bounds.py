"""Measured values out of all physical sense: told with the line, the bounds and the unit that was meant.

The bounds are this program's own; that a loop of 2.5 mm2 has 7.98 ohm/km times two at most is IEC 60228,
class 5 (value from memory).
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from auralize.errors import MeasurementError, RigError
from auralize.rig.measured import read_cable, read_impedance
from auralize.rig.reading import load_rig
from support.rig_loads import text, written

PER_METRE = {20.0: 0.0148, 200.0: 0.0148, 2e3: 0.015, 2e4: 0.03}
"""Hz to ohm/m."""


def cable(folder: Path, r: float = 1.0, x: float = 1.0, c: float = 1.0, f: float = 1.0) -> Path:
    """A table per metre with its columns in other units: each times a factor."""
    path = folder / "pond.txt"
    rows = (f"{hz * f} {ohm * r} {6e-7 * x} {6e-11 * c}\n" for hz, ohm in PER_METRE.items())
    path.write_text("".join(rows), encoding="utf-8")
    return path


def test_a_table_within_bounds_is_read(tmp_path: Path) -> None:
    assert np.isfinite(read_cable(cable(tmp_path)).series(np.array([1e3]))).all()


@pytest.mark.parametrize(
    ("factors", "said"),
    [
        ({"r": 1e3}, r"line 1: a loop resistance of 14.8 ohm/m .* 5.00 ohm/m, .*ohm/km"),
        ({"r": 540.0}, r"line 1: a loop resistance of 7.992 ohm/m .*is it in ohm/km"),
        ({"r": 1e-6}, r"line 1: a loop resistance of 1.48e-08 ohm/m .* from 10.0 uohm/m"),
        ({"x": 1e3}, r"line 1: a loop inductance of 0.0006 H/m .* 10.0 uH/m, .*is it in H/km"),
        ({"x": 1e-4}, r"line 1: a loop inductance of 6e-11 H/m .* from 1.00 nH/m"),
        ({"c": 1e3}, r"line 1: a capacitance of 6e-08 F/m .* 10.0 nF/m, .*is it in F/km"),
        ({"f": 1e6}, r"line 4: a frequency of 2e\+10 Hz was found; right is .* 10 GHz"),
        ({"f": 1e-5}, r"line 1: a frequency of 0.0002 Hz was found; right is .* 1 mHz"),
    ],
)
def test_columns_in_other_units_are_refused(
    factors: dict[str, float], said: str, tmp_path: Path
) -> None:
    with pytest.raises(MeasurementError, match=said):
        read_cable(cable(tmp_path, **factors))


def test_per_km_in_a_rig_file_is_one_sentence(tmp_path: Path) -> None:
    cable(tmp_path, 540.0, 1e3, 1e3)
    lines = 'construction = "measured"\nfile = "pond.txt"'
    with pytest.raises(RigError, match=r"cables.reel.file: .*pond.txt, line 1: .*ohm/km"):
        load_rig(written(tmp_path, text(cable=lines)))


@pytest.mark.parametrize("modulus", [1e-4, 1e8, 1e300])
def test_an_impedance_that_no_loudspeaker_has(modulus: float, tmp_path: Path) -> None:
    path = tmp_path / "lawn.txt"
    path.write_text("".join(f"{f} {modulus} 5\n" for f in (20, 40, 80, 160)))
    with pytest.raises(MeasurementError, match=r"line 1: a modulus of .*1.00 mohm to 10000 kohm"):
        read_impedance(path)


@pytest.mark.parametrize(
    ("options", "row", "said"),
    [
        ("HZ S DB R 50", "8000 0", r"a value beyond 1e\+09"),
        ("HZ S DB R 50", "181 0", r"a value beyond 1e\+09"),
        ("HZ Z RI R 50", "1e300 0", r"a value beyond 1e\+09"),
        ("HZ Z RI R 50", "1e-7 0", r"a modulus of 5e-06 ohm"),
        ("HZ S RI R 1e9", "0.1 0", r"1 mohm to 1 Mohm"),
        ("HZ Y RI R 50", "1e-300 0", r"a modulus of|not above zero"),
    ],
)
@pytest.mark.filterwarnings("error")
def test_a_one_port_of_no_size(options: str, row: str, said: str, tmp_path: Path) -> None:
    path = tmp_path / "lawn.s1p"
    path.write_text(f"# {options}\n" + "".join(f"{f} {row}\n" for f in (20, 40, 80, 160)))
    with pytest.raises(MeasurementError, match=said):
        read_impedance(path)


def two_port(folder: Path, metres: float) -> Path:
    """20 m of a uniform line as S at 50 ohm: matched to a little, by its series impedance alone."""
    path, rows = folder / "pond.s2p", []
    for f in (20.0, 200.0, 2e3, 2e4):
        z = metres * (0.0148 + 2j * np.pi * f * 6e-7) / 50.0
        s11, s21 = z / (z + 2.0), 2.0 / (z + 2.0)
        values = (s11, s21, s21, s11)
        rows.append(" ".join(str(v) for v in (f, *(p for s in values for p in (s.real, s.imag)))))
    path.write_text("# HZ S RI R 50\n" + "\n".join(rows))
    return path


@pytest.mark.filterwarnings("error")
def test_a_two_port_of_another_length_is_refused(tmp_path: Path) -> None:
    path = two_port(tmp_path, 1000.0)
    assert read_cable(path, 1000.0).highest == 2e4
    with pytest.raises(MeasurementError, match=r"a loop resistance of 148 ohm/m"):
        read_cable(path, 0.1)


@pytest.mark.filterwarnings("error")
def test_a_run_through_which_nothing_comes_is_refused(tmp_path: Path) -> None:
    """sinh of 9879 nepers is beyond a double; 10 km of such a cable gave no numbers at all."""
    values = 'resistance = "20 ohm/m"\ninductance = "10 uH/m"\ncapacitance = "100 nF/m"'
    lines = f'construction = "measured"\n{values}'
    whole = text(cable=lines).replace("62 m", "10 km")
    with pytest.raises(RigError, match=r"runs.quay.length: .* pass nothing: .* per km\?"):
        load_rig(written(tmp_path, whole))
