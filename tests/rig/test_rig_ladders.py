"""What ladders, boxes and groups of loads in a rig file mean: by hand."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from auralize.circuit.loudspeaker import Driver, Vent
from support.rig_loads import DRIVER, F, beside, crossover, text, the

S = 2j * np.pi * F


def impedance(folder: Path, *rungs: str) -> np.ndarray:
    """ohm of a one-way crossover that ends in 6 ohm."""
    load = crossover(*rungs).split("[loads.landing.drivers.woofer]")[0]
    choice = the(folder, text(f'{load}[loads.landing.drivers.woofer]\nresistance = "6 ohm"'))
    return choice.network.loads["landing"].load.impedance(F)


C22, L1 = 1.0 / (S * 22e-6), S * 1e-3
LADDERS = {
    "nothing but the driver": ((), 6.0 + 0 * S),
    "a coil": (("series 1 mH",), L1 + 6.0),
    "a coil with its winding": (("series 1 mH 0.3 ohm",), L1 + 0.3 + 6.0),
    "a winding in milliohm": (("series 1 mH 300 mohm",), L1 + 0.3 + 6.0),
    "a capacitor with its own resistance": (("series 22 uF 0.1 ohm",), C22 + 0.1 + 6.0),
    "a capacitor across": (("shunt 22 uF",), beside(C22, 6.0)),
    "order: coil before capacitor": (("series 1 mH", "shunt 22 uF"), L1 + beside(C22, 6.0)),
    "order: capacitor before coil": (("shunt 22 uF", "series 1 mH"), beside(C22, L1 + 6.0)),
    "+ puts one behind the other": (("shunt 8 ohm + 22 uF",), beside(8.0 + C22, 6.0)),
    "| puts side by side": (("series 1 mH | 22 uF | 20 ohm",), beside(L1, C22, 20.0) + 6.0),
    "+ is taken together before |": (
        ("series 1 ohm + 1 mH 0.2 ohm | 22 uF",),
        beside(1.0 + L1 + 0.2, C22) + 6.0,
    ),
    "without spaces": (("shunt 8ohm+22uF", "series 1mH 0.3ohm"), beside(8 + C22, L1 + 6.3)),
    "with powers of ten": (("series 1e-3 H", "series 1e+1 ohm"), L1 + 16.0),
    "other spellings": (("series 22 µF", "series 8 Ω", "series 2 ohms"), C22 + 16.0),
    "L-pad": (("series 2.7 ohm", "shunt 12 ohm"), 2.7 + beside(12.0, 6.0) + 0 * S),
}


@pytest.mark.parametrize("name", LADDERS)
def test_ladders_by_hand(name: str, tmp_path: Path) -> None:
    rungs, expected = LADDERS[name]
    np.testing.assert_allclose(impedance(tmp_path, *rungs), expected, rtol=1e-12)


def test_ways_are_side_by_side_and_may_end_in_drivers_of_one_kind(tmp_path: Path) -> None:
    content = crossover("series 1 mH").replace(
        "[loads.landing.drivers", 'high = ["series 22 uF", "to  woofer"]\n[loads.landing.drivers'
    )
    found = the(tmp_path, text(content)).network.loads["landing"].load.impedance(F)
    driver = Driver(5.5, 42.0, 5.0, 0.38).impedance(F)
    np.testing.assert_allclose(found, beside(L1 + driver, C22 + driver), rtol=1e-12)


def test_loads_in_series_and_parallel_have_the_rating_that_follows(tmp_path: Path) -> None:
    choice = the(tmp_path, text(DRIVER + "series = 2\nparallel = 3"))
    one = Driver(5.5, 42.0, 5.0, 0.38).impedance(F)
    found = choice.network.loads["landing"].load.impedance(F)
    np.testing.assert_allclose(found, one * 2.0 / 3.0, rtol=1e-12)
    assert choice.loads["landing"].nominal == pytest.approx(8.0 * 2.0 / 3.0)


def test_a_vented_box_and_a_hot_coil_are_the_driver_s(tmp_path: Path) -> None:
    lines = 'Vas = "70 l"\nbox = "45 l"\ntuning = "44 Hz"\ncoil_temperature = "150 degC"'
    found = the(tmp_path, text(DRIVER + lines)).network.loads["landing"].load
    same = Driver(
        5.5, 42.0, 5.0, 0.38, stiffness_ratio=70 / 45, vent=Vent(44.0, 7.0), coil_celsius=150.0
    )
    np.testing.assert_allclose(found.impedance(F), same.impedance(F), rtol=1e-12)
    # 0.393 % a kelvin, IEC 60028
    assert found.impedance(np.zeros(1))[0].real == pytest.approx(5.5 * (1 + 0.00393 * 130))
