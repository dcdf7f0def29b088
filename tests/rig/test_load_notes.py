"""What the figures say of a measured load: no phase, too few points, another loudspeaker's file."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from auralize.circuit.loudspeaker import Driver
from support.rig_loads import MEASURED, flat, table, text, the

DENSE = 10.0 * 2.0 ** (np.arange(11 * 24 + 1) / 24.0)


def noted(
    folder: Path, ohm: float = 1.0, f: np.ndarray = DENSE, phase: bool = True
) -> tuple[str, ...]:
    """The notes on a box whose impedance is some times that of one of 8 ohm, at its lowest 6.9 ohm."""
    z = ohm * Driver(6.4, 38.0, 4.2, 0.42, 0.3e-3, 0.0, 1.5).impedance(f)
    columns = [f, np.abs(z), np.angle(z, deg=True)][: 3 if phase else 2]
    rows = "\n".join(" ".join(map(str, row)) for row in zip(*columns, strict=True))
    (folder / "box.txt").write_text(rows)
    choice = the(folder, text(MEASURED + 'file = "box.txt"'))
    assert all(note in flat(table(choice)) for note in choice.notes)
    return choice.notes


def test_a_load_as_it_should_be_needs_no_word(tmp_path: Path) -> None:
    assert noted(tmp_path) == ()


def test_that_the_phase_was_derived_is_told(tmp_path: Path) -> None:
    [note] = noted(tmp_path, phase=False)
    assert note.startswith(
        "load landing was measured without its phase: that is derived from the mag"
    )


@pytest.mark.parametrize("ohm", [0.6, 0.8, 2.0, 100.0])
def test_a_lowest_impedance_far_from_nominal_is_told_and_not_refused(
    ohm: float, tmp_path: Path
) -> None:
    """IEC 60268-5: no less than 80 % of the rated impedance, 6.4 ohm of 8 ohm (value from memory)."""
    [note] = noted(tmp_path, ohm)
    assert "at its lowest, which does not fit its nominal 8.00 ohm" in note
    assert "6.40 ohm or more by IEC 60268-5 (80 %, value from memory)" in note


@pytest.mark.parametrize("ohm", [0.99, 1.0, 1.5])
def test_what_loudspeakers_have_is_not(ohm: float, tmp_path: Path) -> None:
    assert noted(tmp_path, ohm) == ()


def test_what_is_coarse_is_told_with_what_to_measure(tmp_path: Path) -> None:
    """Thirds of an octave are coarse, sixths are not."""
    [note] = noted(tmp_path, f=20.0 * 2.0 ** (np.arange(31) / 3.0))
    assert "measured coarsely (3 points an octave where they lie farthest apart)" in note
    assert note.endswith("measure 12 points or more an octave, from 10 Hz to 20 kHz")
    assert noted(tmp_path, f=20.0 * 2.0 ** (np.arange(61) / 6.0)) == ()
