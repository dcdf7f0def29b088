"""Tables of measurements: rows between those given, and what cannot be written."""

from pathlib import Path

import numpy as np
import pytest

from auralize.rig.measured import read_cable, write_impedance


def test_a_few_rows_tell_the_inductance_between_them_from_the_lowest_frequency_on(
    tmp_path: Path,
) -> None:
    """L is the same in all rows, and so between them; X = 2 pi f L grows 400-fold in the first gap.

    Rows are put between 40 times a decade; a cubic through X so far apart is then within 1e-4 of it.
    """
    path = tmp_path / "pond.txt"
    rows = [(0.05, 0.01), (20.0, 0.0101), (200.0, 0.0102), (2e3, 0.011), (2e4, 0.03)]
    path.write_text("".join(f"{f} {r} 6e-7 6e-11\n" for f, r in rows))
    f = np.geomspace(0.06, 1e3, 200)
    inductance = read_cable(path).series(f).imag / (2.0 * np.pi * f)
    assert inductance == pytest.approx(np.full(200, 6e-7), rel=1e-4)


def test_an_impedance_needs_a_frequency_for_each_value(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="zip"):
        write_impedance(tmp_path / "z.txt", np.array([20.0, 200.0]), np.full(3, 8.0 + 0j))
    assert list(tmp_path.iterdir()) == []
