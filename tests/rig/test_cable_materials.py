"""Dielectrics against the closed form of two round wires; irons as the rig file names them."""

import math
from typing import Any

import numpy as np
import pytest
from scipy.constants import epsilon_0
from test_limits import COIL, IRON, laid, rig

from auralize.errors import RigError
from auralize.rig.lays import IRONS
from auralize.rig.reading import ONLY_CHOICE, read_rig

WIRE = {"construction": "single cores", "conductor": "2.5 mm2", "strands": "solid"}
APART = COIL | {"shape": "split coils", "distance": "1 m"}
"""Each conductor in a coil of its own, so that iron is magnetised."""


@pytest.mark.parametrize(
    ("more", "permittivity", "loss_tangent"),
    [
        ({}, 1.0, 0.0),
        ({"dielectric": "air"}, 1.0, 0.0),
        ({"dielectric": "PVC"}, 3.5, 0.05),
        ({"dielectric": "PE"}, 2.0, 0.0003),
        ({"dielectric": "rubber"}, 3.0, 0.02),
        ({"permittivity": 4.0}, 4.0, 0.0),
        ({"permittivity": 4.0, "loss_tangent": 0.1}, 4.0, 0.1),
    ],
)
def test_two_wires_far_apart_have_the_capacitance_of_the_closed_form(
    more: dict[str, Any], permittivity: float, loss_tangent: float
) -> None:
    """C = pi eps / arcosh(D / d), exact for two round wires in one dielectric (any textbook on fields).

    At 1 kHz, where the modulus of the admittance is omega C; only rounding is left.
    """
    found = read_rig(rig({**WIRE, "spacing": "1 m", **more}))[ONLY_CHOICE].runs["pond"].run.cable
    admittance = found.shunt(np.array([1e3]))[0]
    diameter = 2.0 * math.sqrt(2.5e-6 / math.pi)
    wanted = math.pi * permittivity * epsilon_0 / math.acosh(1.0 / diameter)
    assert abs(admittance) / (2e3 * math.pi * wanted) == pytest.approx(1.0, rel=1e-9)
    assert admittance.real / admittance.imag == pytest.approx(loss_tangent, rel=1e-9)


@pytest.mark.parametrize(
    ("material", "conductivity", "permeability"),
    [("mild steel", 6.0e6, 200.0), ("stainless steel", 1.4e6, 1.05), ("cast iron", 1.5e6, 100.0)],
)
def test_an_iron_is_what_its_name_says(
    material: str, conductivity: float, permeability: float
) -> None:
    """Common practice, no source: the same as when both figures are given."""
    assert material in IRONS

    def added(**iron: Any) -> complex:
        found = read_rig(laid(**APART, iron=IRON | iron))[ONLY_CHOICE].runs["pond"]
        assert found.lay is not None
        return complex(found.lay.nominal(np.array([1e4])).sum())

    given = added(conductivity=conductivity, permeability=permeability)
    assert added(material=material) == given
    assert added(material=material, conductivity=2.0 * conductivity) != given


def test_a_bar_without_a_wall_is_solid() -> None:
    def added(**iron: Any) -> complex:
        bar = {"diameter": "2 cm", "length": "20 cm", **iron}
        found = read_rig(laid(**APART, iron=bar))[ONLY_CHOICE].runs["pond"]
        assert found.lay is not None
        return complex(found.lay.nominal(np.array([100.0])).sum())

    assert added() == added(wall="1 cm", material="mild steel")
    assert added() != added(wall="1 mm")


def test_a_spacing_that_is_too_small_is_told_the_smallest_that_fits() -> None:
    """A hundredth more than a solid conductor's own diameter, sqrt(4 A / pi)."""
    smallest = 1.01 * math.sqrt(4.0 * 2.5 / math.pi)
    close = WIRE | {"spacing": f"{0.999 * smallest} mm"}
    with pytest.raises(RigError) as caught:
        read_rig(rig(close))
    sentence = str(caught.value)
    assert sentence.startswith(
        "rig: cables.reel.spacing: 1.8 mm between centres is too little for "
    )
    assert " conductors 1.784 mm across " in sentence
    assert sentence.endswith(f"right is more than {smallest:.4g} mm")
    assert read_rig(rig(WIRE | {"spacing": f"{1.001 * smallest} mm"}))


@pytest.mark.parametrize("lay", [COIL, APART], ids=["coiled", "apart"])
def test_the_words_of_a_coil_name_the_iron_in_it_and_no_other(lay: dict[str, Any]) -> None:
    for more, named in (({}, False), ({"iron": IRON}, True)):
        found = read_rig(laid(**lay, **more))[ONLY_CHOICE].runs["pond"].lay
        assert found is not None
        assert ("round iron" in found.words) is named


def test_the_words_of_a_coil_say_how_it_lies() -> None:
    """20 m / (pi 0.4 m) are 15.9 turns; 20 m / 0.3048 m are 65.6 ft."""
    found = read_rig(laid(**COIL))[ONLY_CHOICE].runs["pond"].lay
    assert found is not None
    assert found.words == "20 m (65.6 ft) in 15.9 turns, 40 cm mean diameter"
