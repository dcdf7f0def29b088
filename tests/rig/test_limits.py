"""The limits of every quantity: at them it is read, a hundredth beyond them refused with both of them.

Which limits a rig file has is this program's own choice; here they stand in SI once more, so that none
moves unnoticed.
"""

from __future__ import annotations

import copy
from pathlib import Path
from typing import Any

import pytest

from auralize.errors import RigError
from auralize.rig.reading import read_rig

TWIN = {"construction": "twin", "conductor": "2.5 mm2", "spacing": "4 mm"}
COAXIAL = {
    "construction": "coaxial",
    "conductor": "2.5 mm2",
    "insulation": "1 mm",
    "shield": "0.2 mm",
    "shield_resistance": "10 mohm/m",
}
TABLED = {"construction": "measured", "resistance": "14 mohm/m", "inductance": "0.6 uH/m"}
DRIVER = {
    "type": "driver",
    "nominal": "8 ohm",
    "Re": "5.6 ohm",
    "fs": "40 Hz",
    "Qms": 4.0,
    "Qes": 0.4,
    "box": "60 l",
    "Vas": "90 l",
    "tuning": "45 Hz",
    "L2": "1 mH",
    "R2": "5 ohm",
}
COIL = {"shape": "coiled", "mean_diameter": "40 cm", "coiled": "20 m"}
IRON = {"diameter": "2 cm", "length": "20 cm", "wall": "1 mm"}


def rig(
    cable: dict[str, Any] = TWIN, load: dict[str, Any] | None = None, **more: Any
) -> dict[str, Any]:
    base = {
        "amplifier": {"resistance": "20 mohm"},
        "cables": {"reel": cable},
        "runs": {"pond": {"cable": "reel", "length": "60 m"}},
        "loads": {"stage": {"at": "pond", **(load or {"type": "resistor", "resistance": "8 ohm"})}},
    }
    return copy.deepcopy(base | more)


def laid(**lay: Any) -> dict[str, Any]:
    return rig(runs={"pond": {"cable": "reel", "length": "60 m", "lay": lay}})


def driven(**programme: Any) -> dict[str, Any]:
    return rig(programme={"voltage": "20 V", **programme})


def transformed(**part: Any) -> dict[str, Any]:
    return rig(transformers={"tap": part})


TAP = transformed(line="100 V", tap="10 W", secondary="8 ohm")
UP = transformed(input="20 V", output="100 V", power="100 W")
PLAIN = rig()
JOINTED = rig(runs={"pond": {"cable": "reel", "length": "60 m", "far": {}}})
REEL = laid(shape="coiled", barrel="20 cm", width="30 cm", coiled="20 m")
SPLIT = laid(**(COIL | {"shape": "split coils", "distance": "1 m"}))
EIGHT = laid(shape="figure of eight", lobe_length="50 cm", lobe_width="30 cm", coiled="20 m")
ROUND_IRON = laid(**COIL, iron=IRON)
SPEAKER = rig(load=DRIVER)

LIMITS: list[tuple[dict[str, Any], str, float, float, str]] = [
    (PLAIN, "amplifier.resistance", 0.0, 1e3, "ohm"),
    (PLAIN, "amplifier.inductance", 0.0, 1e-3, "H"),
    (PLAIN, "amplifier.rating", 0.1, 1e5, "W"),
    (rig(amplifier={"into": "8 ohm", "damping_factor": 100}), "amplifier.into", 0.5, 1e4, "ohm"),
    (
        rig(amplifier={"into": "8 ohm", "damping_factor": 100}),
        "amplifier.damping_factor",
        0.1,
        1e6,
        "",
    ),
    (PLAIN, "runs.pond.length", 0.01, 1e4, "m"),
    (PLAIN, "runs.pond.temperature", -60.0, 200.0, "degC"),
    (PLAIN, "runs.pond.near", 0.0, 1e3, "ohm"),
    (
        rig(runs={"pond": {"cable": "reel", "length": "60 m", "far": {}}}),
        "runs.pond.far.minus",
        0.0,
        1e3,
        "ohm",
    ),
    (TAP, "transformers.tap.insertion_loss", 0.0, 6.0, "dB"),
    (TAP, "transformers.tap.lowest", 1.0, 1e3, "Hz"),
    (TAP, "transformers.tap.highest", 2e3, 1e6, "Hz"),
    (TAP, "transformers.tap.line", 10.0, 400.0, "V"),
    (TAP, "transformers.tap.tap", 0.1, 1e4, "W"),
    (TAP, "transformers.tap.secondary", 0.5, 1e3, "ohm"),
    (UP, "transformers.tap.input", 1.0, 1e3, "V"),
    (UP, "transformers.tap.output", 1.0, 1e3, "V"),
    (UP, "transformers.tap.power", 0.1, 1e5, "W"),
    (driven(), "programme.voltage", 1e-3, 1e3, "V"),
    (driven(), "programme.crest_factor", 1.4, 20.0, ""),
    (driven(signal="sine"), "programme.frequency", 1.0, 1e5, "Hz"),
    (PLAIN, "cables.reel.conductor", 0.03, 120.0, "mm2"),
    (PLAIN, "cables.reel.spacing", 1e-4, 10.0, "m"),
    (PLAIN, "cables.reel.sheath", 0.0, 0.02, "m"),
    (PLAIN, "cables.reel.fill", 0.5, 1.0, ""),
    (PLAIN, "cables.reel.permittivity", 1.0, 20.0, ""),
    (PLAIN, "cables.reel.loss_tangent", 0.0, 1.0, ""),
    (PLAIN, "cables.reel.capacitance", 0.0, 1e5, "pF/m"),
    (rig(TWIN | {"construction": "single cores"}), "cables.reel.insulation", 5e-5, 0.02, "m"),
    (rig(TWIN | {"construction": "twisted pair"}), "cables.reel.lay_length", 5e-3, 10.0, "m"),
    (rig(COAXIAL), "cables.reel.insulation", 5e-5, 0.05, "m"),
    (rig(COAXIAL), "cables.reel.shield", 2e-5, 0.01, "m"),
    (rig(COAXIAL), "cables.reel.shield_resistance", 1e-5, 20.0, "ohm/m"),
    (rig(TABLED), "cables.reel.resistance", 1e-5, 20.0, "ohm/m"),
    (rig(TABLED), "cables.reel.inductance", 1e-3, 10.0, "uH/m"),
    (rig(TABLED), "cables.reel.measured_at", -60.0, 200.0, "degC"),
    (REEL, "runs.pond.lay.barrel", 0.01, 5.0, "m"),
    (REEL, "runs.pond.lay.width", 0.01, 5.0, "m"),
    (laid(**COIL), "runs.pond.lay.mean_diameter", 0.01, 10.0, "m"),
    (laid(**COIL), "runs.pond.lay.width", 1e-3, 5.0, "m"),
    (laid(**COIL), "runs.pond.lay.coiled", 0.1, 1e4, "m"),
    (laid(shape="coiled", mean_diameter="40 cm", turns=5), "runs.pond.lay.turns", 1.0, 1e3, ""),
    (SPLIT, "runs.pond.lay.distance", 0.0, 10.0, "m"),
    (EIGHT, "runs.pond.lay.lobe_length", 0.1, 10.0, "m"),
    (EIGHT, "runs.pond.lay.lobe_width", 0.05, 10.0, "m"),
    (ROUND_IRON, "runs.pond.lay.iron.diameter", 1e-3, 1.0, "m"),
    (ROUND_IRON, "runs.pond.lay.iron.wall", 1e-4, 0.5, "m"),
    (ROUND_IRON, "runs.pond.lay.iron.length", 5e-3, 5.0, "m"),
    (ROUND_IRON, "runs.pond.lay.iron.conductivity", 1e5, 1e8, ""),
    (ROUND_IRON, "runs.pond.lay.iron.permeability", 1.0, 1e4, ""),
    (PLAIN, "loads.stage.resistance", 0.5, 1e5, "ohm"),
    (PLAIN, "loads.stage.contact", 0.0, 1e3, "ohm"),
    (SPEAKER, "loads.stage.nominal", 0.5, 1e4, "ohm"),
    (SPEAKER, "loads.stage.Re", 0.5, 2e3, "ohm"),
    (SPEAKER, "loads.stage.fs", 5.0, 2e4, "Hz"),
    (SPEAKER, "loads.stage.Qms", 0.05, 100.0, ""),
    (SPEAKER, "loads.stage.Qes", 0.05, 100.0, ""),
    (SPEAKER, "loads.stage.Le", 0.0, 0.1, "H"),
    (SPEAKER, "loads.stage.semi_inductance", 0.0, 1.0, "sH"),
    (SPEAKER, "loads.stage.L2", 0.0, 0.1, "H"),
    (SPEAKER, "loads.stage.R2", 0.0, 1e3, "ohm"),
    (SPEAKER, "loads.stage.Vas", 1e-3, 1e4, "l"),
    (SPEAKER, "loads.stage.box", 0.01, 1e5, "l"),
    (SPEAKER, "loads.stage.tuning", 5.0, 500.0, "Hz"),
    (SPEAKER, "loads.stage.leakage_Q", 0.5, 1e3, ""),
    (SPEAKER, "loads.stage.coil_temperature", -40.0, 200.0, "degC"),
]


def refusal(data: dict[str, Any], place: str, value: float, unit: str) -> str:
    """What is said of a rig with this value there; nothing where it is read."""
    *way, last = place.split(".")
    inside = data = copy.deepcopy(data)
    for key in way:
        inside = inside[key]
    inside[last] = f"{value!r} {unit}" if unit else value
    try:
        read_rig(data, Path("mill.toml"))
    except RigError as error:
        return str(error)
    return ""


@pytest.mark.parametrize(
    ("data", "place", "low", "high", "unit"),
    LIMITS,
    ids=[f"{n} {t[1]}" for n, t in enumerate(LIMITS)],
)
def test_a_quantity_is_read_at_its_limits_and_refused_beyond(
    data: dict[str, Any], place: str, low: float, high: float, unit: str
) -> None:
    step = 0.01 * max(abs(low), abs(high)) if low <= 0.0 else 0.0
    for value in (low - (step or 0.01 * low), high + (step or 0.01 * high)):
        sentence = refusal(data, place, value, unit)
        assert sentence.startswith(f"mill.toml: {place}: ")
        assert "was found; right is " in sentence
        assert " from " in sentence
        assert " to " in sentence
    for value in (low, high):  # where it does not go together with others, that is another sentence
        assert "was found; right is " not in refusal(data, place, value, unit)


RUNGS = [
    ("{} mohm", 1.0, 1e8),
    ("{} nH", 1.0, 1e10),
    ("{} pF", 1.0, 1e12),
    ("1 mH {} ohm", 0.0, 1e3),
    ("10 uF {} ohm", 0.0, 1e3),
]


def of_rung(form: str, value: float) -> str:
    """What is said of a loudspeaker with this part in series."""
    load = {
        "type": "crossover",
        "nominal": "8 ohm",
        "drivers": {"woofer": {"resistance": "8 ohm"}},
        "ways": {"low": [f"series {form.format(value)}", "to woofer"]},
    }
    try:
        read_rig(rig(load=load), Path("mill.toml"))
    except RigError as error:
        return str(error)
    return ""


@pytest.mark.parametrize(("form", "low", "high"), RUNGS)
def test_a_part_of_a_crossover_is_read_at_its_limits_and_refused_beyond(
    form: str, low: float, high: float
) -> None:
    for value in (low - 0.01 * (low or high), 1.01 * high):
        assert of_rung(form, value).startswith("mill.toml: loads.stage.ways.low: ")
        assert " was found; right is a" in of_rung(form, value)
    assert of_rung(form, low) == of_rung(form, high) == ""
