"""What a rig leaves out is what the reference says: given or not, the circuit is the same; changed, not."""

from __future__ import annotations

from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pytest

from auralize.circuit.cable import Dielectric
from auralize.circuit.solution import solve
from auralize.figures.numbers import figures
from auralize.rig.choice import Choice
from auralize.rig.reading import load_rig

FREQUENCY = np.array([20.0, 41.0, 200.0, 1e3, 20e3, 90e3])
SIZE = 'conductor = "2.5 mm2"\n'
TWIN = 'construction = "twin"\ninsulation = "0.8 mm"\n'
CORES = 'construction = "single cores"\nspacing = "12 mm"\n'
FOUR = 'construction = "four-core"\ninsulation = "0.8 mm"\nlay_length = "9 cm"\n'
COAXIAL = (
    'construction = "coaxial"\ninsulation = "1.2 mm"\nshield = "0.2 mm"\n'
    'shield_resistance = "9 mohm/m"\n'
)
MEASURED = 'construction = "measured"\nresistance = "14 mohm/m"\ninductance = "0.6 uH/m"\n'
RESISTOR = 'type = "resistor"\nresistance = "8 ohm"\n'
DRIVER = 'type = "driver"\nnominal = "8 ohm"\nRe = "5.6 ohm"\nfs = "38 Hz"\nQms = 4.2\nQes = 0.42\n'
VENTED = DRIVER + 'Vas = "90 l"\nbox = "60 l"\ntuning = "41 Hz"\n'
LAY = "[runs.pond.lay]\n"
COIL = LAY + 'shape = "coiled"\nmean_diameter = "40 cm"\n'
APART = LAY + 'shape = "split coils"\nmean_diameter = "40 cm"\ndistance = "1 m"\nturns = 12\n'
IRON = '[runs.pond.lay.iron]\ndiameter = "3 cm"\nlength = "40 cm"\n'
TAP = '[transformers.tap]\nfrom = "pond"\nline = "100 V"\ntap = "30 W"\nsecondary = "8 ohm"\n'
DRIVEN = '[programme]\nvoltage = "28 V"\n'


def read(
    folder: Path,
    amplifier: str = "",
    cable: str = SIZE + TWIN,
    run: str = "",
    load: str = RESISTOR,
    rest: str = "",
) -> Choice:
    path = folder / "mill.toml"
    path.write_text(
        f'[amplifier]\nresistance = "50 mohm"\n{amplifier}\n[cables.reel]\n{cable}\n'
        f'[runs.pond]\ncable = "reel"\nlength = "62 m"\n{run}\n[loads.stage]\n{load}\n{rest}\n',
        encoding="utf-8",
    )
    (choice,) = load_rig(path).choices.values()
    return choice


def heard(choice: Choice) -> Any:
    """Everything that a default could move: response, powers, and the shunt of the cable."""
    solution = solve(choice.network, FREQUENCY)
    found = figures(choice, (1e3,))
    driven = found.driven
    peak = (0.0, 0.0) if driven is None else (driven.peak_volts, driven.drawn_watts)
    return np.concatenate(
        [
            solution.receiving["stage"],
            solution.sent_current,
            1e6 * choice.network.runs["pond"].cable.shunt(FREQUENCY),
            [*peak, found.lines[0].damping],
        ]
    )


class Default(NamedTuple):
    """A key with the value the reference gives it, another value, and where in the rig it stands."""

    key: str
    stated: str
    other: str
    place: str
    around: dict[str, str]


def in_cable(key: str, stated: str, other: str, cable: str) -> Default:
    return Default(key, stated, other, "cable", {"cable": cable})


def in_load(key: str, stated: str, other: str, load: str) -> Default:
    return Default(key, stated, other, "load", {"load": load})


def in_rest(key: str, stated: str, other: str, rest: str, load: str = RESISTOR) -> Default:
    return Default(key, stated, other, "rest", {"rest": rest, "load": load})


DEFAULTS = [
    Default("inductance", '"0 H"', '"1.5 uH"', "amplifier", {}),
    in_cable("dielectric", '"PVC"', '"PE"', SIZE + TWIN),
    in_cable("dielectric", '"PVC"', '"rubber"', SIZE + FOUR),
    in_cable("dielectric", '"PE"', '"PVC"', SIZE + COAXIAL),
    in_cable("dielectric", '"air"', '"PE"', SIZE + CORES),
    in_cable("material", '"copper"', '"aluminium"', SIZE + TWIN),
    in_cable("strands", '"stranded"', '"class 5"', SIZE + TWIN),
    in_cable("fill", "0.75", "0.8", SIZE + TWIN),
    in_cable("fill", "0.75", "0.8", SIZE + TWIN + 'strands = "class 5"\n'),
    in_cable("joined", '"opposite cores"', '"cores side by side"', SIZE + FOUR),
    in_cable("capacitance", '"0 pF/m"', '"90 pF/m"', MEASURED),
    in_cable("loss_tangent", "0", "0.05", MEASURED + 'capacitance = "90 pF/m"\n'),
    Default("temperature", '"20 degC"', '"35 degC"', "run", {}),
    Default("measured_at", '"20 degC"', '"25 degC"', "cable", {"cable": MEASURED}),
    Default(
        "material",
        '"copper"',
        '"aluminium"',
        "cable",
        {"cable": MEASURED, "run": 'temperature = "40 degC"\n'},
    ),
    Default("near", '"0 ohm"', '"20 mohm"', "run", {}),
    Default("far", '"0 ohm"', '"20 mohm"', "run", {}),
    in_load("contact", '"0 ohm"', '"20 mohm"', RESISTOR),
    in_load("series", "1", "2", RESISTOR),
    in_load("parallel", "1", "2", RESISTOR),
    in_load("Le", '"0 H"', '"0.4 mH"', DRIVER),
    in_load("semi_inductance", '"0 sH"', '"0.02 sH"', DRIVER),
    in_load("coil_temperature", '"20 degC"', '"90 degC"', DRIVER),
    in_load("leakage_Q", "7", "15", VENTED),
    in_rest("signal", '"pink noise"', '"sine"', DRIVEN, DRIVER),
    in_rest("crest_factor", "4", "6", DRIVEN),
    in_rest("insertion_loss", '"1 dB"', '"0.5 dB"', TAP, RESISTOR + 'at = "tap"\n'),
    in_rest("lowest", '"40 Hz"', '"60 Hz"', TAP, RESISTOR + 'at = "tap"\n'),
    in_rest("highest", '"25 kHz"', '"18 kHz"', TAP, RESISTOR + 'at = "tap"\n'),
    in_rest("shape", '"straight"', '"coiled"\nmean_diameter = "40 cm"', LAY),
    in_rest("coiled", '"62 m"', '"31 m"', COIL),
    in_rest("facing", '"random"', '"stacked"', COIL),
    in_rest("packing", '"square"', '"hexagonal"', COIL + 'facing = "stacked"\n'),
    in_rest("arrangement", '"side by side"', '"coaxial"', APART),
    in_rest("wound", '"same way"', '"opposite ways"', APART),
    in_rest("material", '"mild steel"', '"cast iron"', APART + IRON),
    in_rest("wall", '"1.5 cm"', '"3 mm"', APART + IRON),
]


@pytest.mark.parametrize(
    "default", DEFAULTS, ids=[f"{d.key} {d.stated} {n}" for n, d in enumerate(DEFAULTS)]
)
def test_a_default_is_the_value_that_is_stated(tmp_path: Path, default: Default) -> None:
    def with_value(value: str | None) -> Any:
        parts = dict(default.around)
        base = parts.get(default.place, SIZE + TWIN if default.place == "cable" else "")
        parts[default.place] = base if value is None else f"{base}{default.key} = {value}\n"
        return heard(read(tmp_path, **parts))

    left_out = with_value(None)
    # Spelt out it goes through the same arithmetic, a last digit of a unit's factor apart.
    np.testing.assert_allclose(with_value(default.stated), left_out, rtol=1e-12)
    assert not np.allclose(with_value(default.other), left_out, rtol=1e-6, atol=0.0)


@pytest.mark.parametrize(
    ("name", "permittivity", "loss_tangent"),
    [("PVC", 3.5, 0.05), ("PE", 2.0, 0.0003), ("rubber", 3.0, 0.02), ("air", 1.0, 0.0)],
)
@pytest.mark.parametrize("construction", [TWIN, CORES, FOUR, COAXIAL])
def test_a_dielectric_by_name_is_its_two_numbers(
    tmp_path: Path, construction: str, name: str, permittivity: float, loss_tangent: float
) -> None:
    """Typical of the trade, no source; the shunt's angle is the loss angle at every frequency."""
    cable = SIZE + construction
    named = heard(read(tmp_path, cable=f'{cable}dielectric = "{name}"\n'))
    numbers = f"{cable}permittivity = {permittivity}\nloss_tangent = {loss_tangent}\n"
    np.testing.assert_array_equal(heard(read(tmp_path, cable=numbers)), named)
    shunt = read(tmp_path, cable=numbers).network.runs["pond"].cable.shunt(FREQUENCY)
    np.testing.assert_allclose(shunt.real / shunt.imag, loss_tangent, rtol=1e-9, atol=1e-15)


def test_a_permittivity_alone_has_no_loss(tmp_path: Path) -> None:
    cable = read(tmp_path, cable=SIZE + TWIN + "permittivity = 3.5\n").network.runs["pond"].cable
    assert isinstance(cable.dielectric, Dielectric)  # type: ignore[attr-defined]
    assert cable.dielectric.loss_tangent == 0.0  # type: ignore[attr-defined]


@pytest.mark.parametrize(
    ("strands", "fill"), [("solid", 1.0), ("class 1", 1.0), ("class 2", 7 / 9), ("class 5", 0.75)]
)
def test_metal_fills_its_circle_by_the_kind_of_strands(
    tmp_path: Path, strands: str, fill: float
) -> None:
    cable = read(tmp_path, cable=f'{SIZE}{TWIN}strands = "{strands}"\n').network.runs["pond"].cable
    radius = cable.conductor.radius  # type: ignore[attr-defined]
    assert 2.5e-6 / (np.pi * radius**2) == pytest.approx(fill, rel=1e-12)


def test_the_wall_of_single_cores_is_0_8_mm(tmp_path: Path) -> None:
    """It says how wide a core is: where the cores could not lie nearer than that, the lay is refused."""
    lay = APART.replace("turns = 12", 'turns = 12\npacking = "square"')
    told, left_out, other = (
        heard(read(tmp_path, cable=SIZE + CORES + wall, rest=lay))
        for wall in ('insulation = "0.8 mm"\n', "", 'insulation = "1.2 mm"\n')
    )
    np.testing.assert_allclose(told, left_out, rtol=1e-12)
    assert not np.allclose(other, left_out, rtol=1e-6, atol=0.0)
