"""A key that is not known is told with all that are, whichever of them were given."""

import copy
from typing import Any

import pytest
from test_limits import (
    COAXIAL,
    COIL,
    DRIVER,
    EIGHT,
    PLAIN,
    REEL,
    ROUND_IRON,
    SPEAKER,
    SPLIT,
    TABLED,
    TAP,
    UP,
    driven,
    laid,
    rig,
)

from auralize.errors import RigError
from auralize.rig.reading import read_rig

FACTOR = rig(amplifier={"into": "8 ohm", "damping_factor": 100})
FREE_AIR = rig(
    load={k: v for k, v in DRIVER.items() if k not in ("box", "Vas", "tuning", "L2", "R2")}
)
TURNS = laid(shape="coiled", mean_diameter="40 cm", turns=5)
AMPLIFIER = "damping_factor, inductance, into, rating, resistance"
TRANSFORMER = "from, highest, input, insertion_loss, line, lowest, output, power, secondary, tap"
COILED = "barrel, coiled, facing, iron, mean_diameter, packing, shape, turns, width"
OF_A_DRIVER = (
    "L2, Le, Qes, Qms, R2, Re, Vas, along, at, band, box, coil_temperature, contact, count, fs, "
    "leakage_Q, like, nominal, parallel, reversed, semi_inductance, series, spacing, through, tuning, type"
)

CASES: list[tuple[dict[str, Any], str, str]] = [
    (PLAIN, "amplifier", AMPLIFIER),
    (FACTOR, "amplifier", AMPLIFIER),
    (PLAIN, "runs.pond", "cable, far, from, lay, length, near, temperature"),
    (TAP, "transformers.tap", TRANSFORMER),
    (UP, "transformers.tap", TRANSFORMER),
    (driven(), "programme", "crest_factor, signal, voltage"),
    (driven(signal="sine"), "programme", "frequency, signal, voltage"),
    (
        PLAIN,
        "cables.reel",
        "capacitance, conductor, construction, dielectric, fill, insulation, loss_tangent, material, "
        "minus, minus_material, permittivity, sheath, spacing, strands",
    ),
    (
        rig(COAXIAL),
        "cables.reel",
        "conductor, construction, dielectric, fill, insulation, loss_tangent, material, permittivity, "
        "shield, shield_resistance, strands",
    ),
    (
        rig(TABLED),
        "cables.reel",
        "capacitance, construction, file, inductance, loss_tangent, material, measured_at, resistance",
    ),
    (REEL, "runs.pond.lay", COILED),
    (laid(**COIL), "runs.pond.lay", COILED),
    (TURNS, "runs.pond.lay", COILED),
    (
        SPLIT,
        "runs.pond.lay",
        "arrangement, coiled, distance, iron, mean_diameter, packing, second, shape, turns, width, wound",
    ),
    (EIGHT, "runs.pond.lay", "coiled, facing, lobe_length, lobe_width, shape"),
    (
        ROUND_IRON,
        "runs.pond.lay.iron",
        "conductivity, diameter, length, material, permeability, wall",
    ),
    (
        PLAIN,
        "loads.stage",
        "along, at, band, contact, count, like, parallel, resistance, reversed, series, spacing, through, "
        "type",
    ),
    (SPEAKER, "loads.stage", OF_A_DRIVER),
    (FREE_AIR, "loads.stage", OF_A_DRIVER),
    (
        PLAIN,
        "",
        "amplifier, cables, label, listen, loads, programme, runs, transformers",
    ),
]


@pytest.mark.parametrize(
    ("data", "place", "known"), CASES, ids=[f"{n} {case[1]}" for n, case in enumerate(CASES)]
)
def test_an_unknown_key_is_told_with_all_known_ones(
    data: dict[str, Any], place: str, known: str
) -> None:
    inside = data = copy.deepcopy(data)
    for key in place.split(".") if place else ():
        inside = inside[key]
    inside["xyz"] = 1
    with pytest.raises(RigError) as caught:
        read_rig(data)
    where = f"{place}.xyz" if place else "xyz"
    assert str(caught.value) == f"rig: {where}: this key is not known here; known are {known}"


def test_the_lay_of_a_cable_without_a_shape_is_checked_too() -> None:
    data = rig(TABLED, runs={"pond": {"cable": "reel", "length": "60 m", "lay": {"xyz": 1}}})
    with pytest.raises(RigError, match=r"^rig: runs\.pond\.lay\.xyz: this key is not known here"):
        read_rig(data)


@pytest.mark.parametrize("key", ["semi_" + 500 * "inductance_", "semi " + 500 * "inductance "])
def test_a_key_longer_than_a_sentence_is_cut(key: str) -> None:
    """The harness of spoilt files found one that filled a screen."""
    rig = {"loads": {"stage": {"type": "resistor", "resistance": "8 ohm", key: 1}}}
    cable = {"construction": "twin", "conductor": "2.5 mm2", "insulation": "1 mm"}
    rig |= {"cables": {"reel": cable}, "runs": {"pond": {"cable": "reel", "length": "9 m"}}}
    with pytest.raises(
        RigError, match=r"loads\.stage\..*inductance.*\.\.\..*: this key is not known"
    ) as told:
        read_rig({"amplifier": {"resistance": "20 mohm"}, **rig})
    assert len(str(told.value)) < 300
