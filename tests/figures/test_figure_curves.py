"""What is drawn over frequency, against closed forms."""

import numpy as np
import pytest

from auralize.figures.curves import curve_range, curves
from auralize.figures.lays import lay_figures
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


def test_levels_re_the_amplifier_are_those_of_its_response(tmp_path):
    choice = the_choice(tmp_path, text("", amplifier(), MEASURED, run(), driver(Le='"0.35 mH"')))
    found = curves(choice, frequency=np.array([63.0, 1e3, 8e3]))
    for levels, signal in ((found.received_db, "receiving"), (found.kept_db, "drop")):
        ratio = np.abs(choice.response([63.0, 1e3, 8e3], signal))
        np.testing.assert_allclose(levels, 20 * np.log10(ratio), rtol=1e-9)


COILED = """
[cables.reel]
construction = "twin"
conductor = "2.5 mm2"
[runs.pond]
length = "62 m"
cable = "reel"
lay.shape = "coiled"
lay.mean_diameter = "40 cm"
lay.coiled = "50 m"
"""


def test_the_range_of_a_coil_holds_its_curve_and_is_as_wide_as_its_figures_say(tmp_path):
    """`lay_figures` solves the same run straight and coiled, and subtracts."""
    choice = the_choice(tmp_path, text("", amplifier(), COILED, "", driver(Le='"0.35 mH"')))
    found = curve_range(choice)
    assert found is not None
    low, high = found
    rendered = curves(choice)
    for name in ("loss_db", "drop_db", "received_db", "kept_db"):
        assert np.all(getattr(low, name) <= getattr(rendered, name))
        assert np.all(getattr(rendered, name) <= getattr(high, name))
    lay = choice.runs["pond"].lay
    told = lay_figures(choice, "pond", lay).db_20khz
    assert told.low < told.rendered < told.high
    width = rendered.loss_db[-1] - low.loss_db[-1]
    assert width == pytest.approx(told.rendered - told.low, rel=1e-9)
    width = high.loss_db[-1] - rendered.loss_db[-1]
    assert width == pytest.approx(told.high - told.rendered, rel=1e-9)


def test_the_range_of_a_drop_over_one_conductor_is_that_conductors(tmp_path):
    choice = the_choice(tmp_path, text("", amplifier(), COILED, "", driver(Le='"0.35 mH"')))
    found = curve_range(choice, "plus")
    assert found is not None
    low, high = found
    told = lay_figures(choice, "pond", choice.runs["pond"].lay).conductors["plus"].drop_db_10khz
    width = np.interp(4.0, np.log10(low.frequency), high.drop_db - low.drop_db)
    # 10 kHz lies between two points of the curve, 1.2 % apart.
    assert width == pytest.approx(told.high - told.low, rel=1e-4)


def test_what_leaves_nothing_open_has_no_range(tmp_path):
    rig = text("", amplifier(), MEASURED, run(), driver(Le='"0.35 mH"'))
    assert curve_range(the_choice(tmp_path, rig)) is None
