"""What is drawn over frequency, against closed forms."""

import numpy as np
import pytest

from auralize.figures.curves import curves
from support.rig_text import amplifier, driver, run, text, the_choice

RE, LE, FS, QMS, QES = 5.6, 0.35e-3, 38.0, 4.2, 0.42
OHM, HENRY = 62 * 16e-3, 62 * 1e-6
MEASURED = """
[cables.reel]
construction = "measured"
resistance = "16 mohm/m"
inductance = "1 uH/m"
"""


def test_loss_drop_and_load_are_those_of_a_driver_behind_a_resistance_and_a_coil(tmp_path):
    """A driver of Re, Le and its motional branch, R. H. Small, 'Direct-radiator loudspeaker system
    analysis', J. Audio Eng. Soc. 20 (1972): Res = Re Qms / Qes (value from memory)."""
    rig = text("", amplifier(), MEASURED, run(), driver(Le='"0.35 mH"'))
    found = curves(the_choice(tmp_path, rig))
    f = found.frequency
    assert f[0] == pytest.approx(20.0)
    assert f[-1] == pytest.approx(20_000.0)
    load = RE + 2j * np.pi * f * LE + RE * QMS / QES / (1 + 1j * QMS * (f / FS - FS / f))
    cable = OHM + 2j * np.pi * f * HENRY
    # Rounding of the chain of matrices; all of it is exact.
    exact = {"rtol": 1e-9, "atol": 1e-9}
    np.testing.assert_allclose(found.load_ohm, np.abs(load), **exact)
    np.testing.assert_allclose(found.load_degrees, np.degrees(np.angle(load)), **exact)
    whole = load + cable
    np.testing.assert_allclose(found.loss_db, 20 * np.log10(np.abs(load / whole)), **exact)
    np.testing.assert_allclose(found.drop_db, 20 * np.log10(np.abs(cable / whole)), **exact)
