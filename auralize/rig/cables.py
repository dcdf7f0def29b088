"""The cables of a rig file: what each is made of, at the temperature of its run."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final, Protocol, cast

from auralize.circuit.cable import (
    SIDES,
    Cable,
    CoaxialCable,
    Dielectric,
    FourCoreCable,
    MeasuredCable,
    ParallelCores,
    Side,
    ThreeCoreCable,
    make_pair,
)
from auralize.circuit.coaxial import coaxial_capacitance
from auralize.circuit.conductor import (
    MATERIALS,
    SOLID_FILL,
    STRANDED_FILL,
    Conductor,
    Material,
    StrandClass,
    make_conductor,
    temperature_factor,
)
from auralize.circuit.lays import LaidCable
from auralize.circuit.pair import loop_capacitance, twist_factor
from auralize.circuit.sampled import WarmedCable
from auralize.rig.folder import Folder
from auralize.rig.loads import HIGHEST, LOWEST
from auralize.rig.table import Table
from auralize.rig.usual import SHIELD, assumed, usual_lay_length, usual_wall
from auralize.units import show_area

CONSTRUCTIONS: Final = (
    "twin",
    "twisted pair",
    "single cores",
    "three-core",
    "four-core",
    "coaxial",
    "measured",
)

# Effective relative permittivity (insulation and the air round a pair taken together) and loss
# tangent at audio frequencies: typical of the trade, no source; give your own where it matters.
DIELECTRICS: Final = {
    "PVC": (3.5, 0.05),
    "PE": (2.0, 0.0003),
    "rubber": (3.0, 0.02),
    "air": (1.0, 0.0),
}

ANY_SIZE: Final = "stranded"
"""Strands that a gauge or any area can have: no class of IEC 60228, with its list of sizes."""


@dataclass(frozen=True)
class ReadCable:
    """A cable as the circuit sees it, in words, and (two conductors only) as a shape that can be coiled."""

    cable: Cable
    words: str
    shape: LaidCable | None = None
    closed: bool = False
    """True where the field outside is (next to) nothing, so that coiling the whole adds nothing."""
    metal: Metal | None = None
    """What one conductor is made of; None where the cable was measured."""
    notes: tuple[str, ...] = ()
    """Sentences on what is to be known of it."""


@dataclass(frozen=True)
class Metal:
    """One of the two legs: ``area`` in m2, ``resistance`` in ohm/m at 20 degC (mean of both)."""

    area: float
    resistance: float
    material: Material


def read_cable(cable: Table, celsius: float, folder: Folder) -> ReadCable:
    """Read one [cables.NAME] at ``celsius``, a measurement from ``folder``; raises RigError."""
    construction = cable.one_of("construction", CONSTRUCTIONS)
    readers = {
        "measured": _read_measured,
        "three-core": _read_three_core,
        "four-core": _read_four_core,
        "coaxial": _read_coaxial,
    }
    if construction == "measured" and "file" in cable:
        read = _read_file(cable, celsius, folder)
    else:
        read = readers.get(construction, _read_pair)(cable, celsius)
    cable.finish()
    return replace(read, notes=(*read.notes, *assumed(cable, _taken(cable, construction, read))))


def _taken(cable: Table, construction: str, read: ReadCable) -> dict[str, float]:
    """The keys that may be left out for what is usual, and what was taken for each in m."""
    taken = {}
    if construction in ("twisted pair", "three-core", "four-core"):
        taken["lay_length"] = cast(_Twisted, read.cable).lay_length
    if construction not in ("single cores", "coaxial", "measured") and "spacing" not in cable:
        taken["insulation"] = usual_wall(cable)
    if construction == "coaxial":
        taken["shield"] = SHIELD
    return taken


class _Twisted(Protocol):
    lay_length: float


def _read_pair(cable: Table, celsius: float) -> ReadCable:
    construction = cable.text("construction")
    conductor, words, metal = _read_conductor(cable, celsius)
    minus, words, metal = _read_minus(cable, celsius, conductor, words, metal)
    thickest = max(conductor, minus or conductor, key=lambda wire: wire.radius)
    spacing, core_diameter = _read_spacing(cable, thickest, construction)
    sheath = 0.0
    if construction != "single cores":
        sheath = cable.quantity("sheath", "length", "0 mm", "2 cm", "0 mm")
    lay_length = None
    if construction == "twisted pair":
        lay_length = _read_lay_length(cable, spacing)
        factor = twist_factor(spacing, lay_length)
        conductor = _finished(cable, conductor, factor)
        minus = None if minus is None else _finished(cable, minus, factor)
    default = "air" if construction == "single cores" else "PVC"
    permittivity, loss_tangent = _read_dielectric(cable, default)
    cable.asked.add("capacitance")
    cable.exclusive(("permittivity",), ("capacitance",))
    pair = make_pair(
        conductor,
        spacing,
        permittivity=permittivity,
        loss_tangent=loss_tangent,
        capacitance=_read_capacitance(cable) if "capacitance" in cable else None,
        lay_length=lay_length,
        minus=minus,
    )
    shape = LaidCable(conductor, spacing, core_diameter, sheath, lay_length, minus)
    return ReadCable(pair, f"{words} {construction}", shape, metal=metal)


def _read_minus(
    cable: Table, celsius: float, conductor: Conductor, words: str, metal: Metal
) -> tuple[Conductor | None, str, Metal]:
    """The minus conductor where it has a size or metal of its own, with words and mean of both."""
    if "minus" not in cable and "minus_material" not in cable:
        cable.asked |= {"minus", "minus_material"}
        return None, words, metal
    minus, its_words, its_metal = _read_conductor(cable, celsius, minus=True)
    mean = Metal(
        0.5 * (metal.area + its_metal.area),
        0.5 * (metal.resistance + its_metal.resistance),
        metal.material,
    )
    return minus, f"{words} minus {its_words}", mean


def _finished(cable: Table, conductor: Conductor, factor: float) -> Conductor:
    """By a class of IEC 60228, whose resistance is that of finished cable, whatever its twist."""
    if not cable.text("strands", "stranded").startswith("class"):
        return conductor
    return replace(conductor, resistance=conductor.resistance / factor)


def _read_lay_length(cable: Table, across: float) -> float:
    """Length of one turn of the twist in m, of cores that lie ``across`` m apart."""
    usual = f"{usual_lay_length(across)!r} m"
    lay_length = cable.quantity("lay_length", "length", "5 mm", "10 m", usual)
    if lay_length < 4.0 * across:
        raise cable.refuse(
            "lay_length",
            f"{lay_length * 1e3:.3g} mm a turn is too tight for conductors {across * 1e3:.3g} mm "
            "apart; right is at least four times that distance",
        )
    return lay_length


def _read_four_core(cable: Table, celsius: float) -> ReadCable:
    conductor, words, metal = _read_conductor(cable, celsius)
    spacing, _ = _read_spacing(cable, conductor, "four-core")
    lay_length = _read_lay_length(cable, spacing * 2.0**0.5)
    joined = cable.one_of("joined", ("opposite cores", "cores side by side"), "opposite cores")
    four = FourCoreCable(conductor, spacing, _NONE_YET, lay_length, joined == "opposite cores")
    metal = replace(metal, area=2.0 * metal.area, resistance=metal.resistance / 2.0)
    words = f"4 x {words} four-core, {joined} joined"
    return ReadCable(_parallel(cable, four), words, closed=True, metal=metal)


def _read_three_core(cable: Table, celsius: float) -> ReadCable:
    """Three cores, of which two in parallel carry the current of plus, or of minus."""
    conductor, words, metal = _read_conductor(cable, celsius)
    spacing, _ = _read_spacing(cable, conductor, "three-core")
    lay_length = _read_lay_length(cable, spacing * 2.0 / 3.0**0.5)
    doubled = cast(Side, cable.one_of("doubled", SIDES, "minus"))
    three = ThreeCoreCable(conductor, spacing, _NONE_YET, lay_length, doubled)
    metal = replace(metal, area=1.5 * metal.area, resistance=0.75 * metal.resistance)
    return ReadCable(
        _parallel(cable, three), f"3 x {words} three-core, {doubled} doubled", metal=metal
    )


_NONE_YET: Final = Dielectric(0.0)


def _parallel(cable: Table, cores: FourCoreCable | ThreeCoreCable) -> ParallelCores:
    """With the capacitance of its geometry, and the resistance that a class promises."""
    permittivity, loss_tangent = _read_dielectric(cable, "PVC")
    radii = [cores.conductor.radius] * len(cores.centres)
    capacitance = loop_capacitance(cores.centres, radii, cores.shares, permittivity)
    return replace(
        cores,
        conductor=_finished(cable, cores.conductor, cores.lengthening),
        dielectric=Dielectric(capacitance, loss_tangent),
    )


def _read_coaxial(cable: Table, celsius: float) -> ReadCable:
    conductor, words, metal = _read_conductor(cable, celsius)
    inner = conductor.radius + cable.quantity("insulation", "length", "0.05 mm", "5 cm")
    outer = inner + cable.quantity("shield", "length", "0.02 mm", "1 cm", f"{SHIELD} m")
    at_20 = cable.quantity("shield_resistance", "resistance per length", "0.01 mohm/m", "20 ohm/m")
    shield = at_20 * temperature_factor(MATERIALS["copper"], celsius)
    permittivity, loss_tangent = _read_dielectric(cable, "PE")
    capacitance = coaxial_capacitance(conductor.radius, inner, permittivity)
    coaxial = CoaxialCable(conductor, inner, outer, shield, Dielectric(capacitance, loss_tangent))
    metal = replace(metal, resistance=(metal.resistance + at_20) / 2.0)
    return ReadCable(coaxial, f"{words} coaxial", closed=True, metal=metal)


def _read_conductor(
    cable: Table, celsius: float, minus: bool = False
) -> tuple[Conductor, str, Metal]:
    """The conductor of the cable, or that of ``minus``, which takes after it in what it does not say."""
    area = cable.quantity("conductor", "area", "0.03 mm2", "120 mm2")
    metal_name = cable.one_of("material", MATERIALS, "copper")
    if minus:
        area = cable.quantity("minus", "area", "0.03 mm2", "120 mm2", f"{area!r} m2")
        metal_name = cable.one_of("minus_material", MATERIALS, metal_name)
    material = MATERIALS[metal_name]
    kinds = {"solid": None, "stranded": None, "class 1": 1, "class 2": 2, "class 5": 5}
    strands = cable.one_of("strands", kinds, "stranded")
    strand_class = cast(StrandClass | None, kinds[strands])
    usual = SOLID_FILL if strands == "solid" else STRANDED_FILL[strand_class or 5]
    fill = cable.number("fill", 0.5, 1.0, usual)
    if strands in ("solid", "class 1") and "fill" in cable:
        raise cable.refuse("fill", "a solid conductor has none; leave it out")
    try:
        conductor = make_conductor(area, material, strand_class, fill, celsius)
    except ValueError as error:
        free = "solid" if strands == "class 1" else ANY_SIZE
        raise cable.refuse(
            "strands", f'{error}; strands = "{free}" takes a gauge or any other area'
        ) from None
    metal = Metal(area, conductor.resistance / temperature_factor(material, celsius), material)
    return conductor, f"{show_area(area)} {material.name}, {strands},", metal


def _read_spacing(cable: Table, conductor: Conductor, construction: str) -> tuple[float, float]:
    """Distance between the centres of the conductors, and diameter of one core with insulation, in m."""
    diameter = 2.0 * conductor.radius
    apart = construction == "single cores"
    if not apart:
        cable.exclusive(("spacing",), ("insulation",))
    usual = "0.8 mm" if apart else f"{usual_wall(cable)!r} m"
    wall = cable.quantity("insulation", "length", "0.05 mm", "2 cm", usual)
    core = diameter + 2.0 * wall
    if not apart and "spacing" not in cable:
        cable.asked.add("spacing")
        return core, core
    spacing = cable.quantity("spacing", "length", "0.1 mm", "10 m")
    if spacing < 1.01 * diameter:
        raise cable.refuse(
            "spacing",
            f"{spacing * 1e3:.4g} mm between centres is too little for conductors "
            f"{diameter * 1e3:.4g} mm across (strands and the air between them counted); right is "
            f"more than {1.01 * diameter * 1e3:.4g} mm",
        )
    return spacing, min(core, spacing) if apart else spacing


def _read_dielectric(cable: Table, default: str) -> tuple[float, float]:
    """Effective relative permittivity and loss tangent."""
    cable.exclusive(("dielectric",), ("permittivity", "loss_tangent"))
    permittivity, loss_tangent = DIELECTRICS[cable.one_of("dielectric", DIELECTRICS, default)]
    if "permittivity" in cable or "loss_tangent" in cable:
        loss_tangent = 0.0
    return (
        cable.number("permittivity", 1.0, 20.0, permittivity),
        cable.number("loss_tangent", 0.0, 1.0, loss_tangent),
    )


def _read_capacitance(cable: Table) -> float:
    return cable.quantity("capacitance", "capacitance per length", "0 pF/m", "100 nF/m", "0 pF/m")


def _read_measured(cable: Table, celsius: float) -> ReadCable:
    resistance = cable.quantity("resistance", "resistance per length", "0.01 mohm/m", "20 ohm/m")
    inductance = cable.quantity("inductance", "inductance per length", "1 nH/m", "10 uH/m")
    capacitance = _read_capacitance(cable)
    loss_tangent = cable.number("loss_tangent", 0.0, 1.0, 0.0)
    cable.asked.add("file")
    warmer = _warmer(cable, celsius)
    measured = MeasuredCable(resistance * warmer, inductance, Dielectric(capacitance, loss_tangent))
    words = f"measured cable ({resistance * 1e3:.4g} mohm/m, {inductance * 1e6:.3g} uH/m)"
    return ReadCable(measured, words)


def _warmer(cable: Table, celsius: float) -> float:
    """Resistance at ``celsius`` relative to that when it was measured."""
    material = MATERIALS[cable.one_of("material", MATERIALS, "copper")]
    at = cable.quantity("measured_at", "temperature", "-60 degC", "200 degC", "20 degC")
    return temperature_factor(material, celsius) / temperature_factor(material, at)


def _read_file(cable: Table, celsius: float, folder: Folder) -> ReadCable:
    """A cable from a table per metre, or from a two-port of a ``measured_length``."""
    from auralize.rig.measured import read_cable  # only where something was measured

    cable.exclusive(("file",), ("resistance", "inductance", "capacitance", "loss_tangent"))
    name = cable.text("file")
    length = None
    if name.lower().endswith(".s2p"):
        length = cable.quantity("measured_length", "length", "10 cm", "10 km")
    elif "measured_length" in cable:
        raise cable.refuse("measured_length", "a table is per metre of cable; leave this out")
    cable.asked.add("measured_length")
    path = folder.file(cable)
    try:
        sampled = read_cable(path, length)
    except ValueError as error:
        raise cable.refuse("file", str(error)) from None
    warmer = _warmer(cable, celsius)
    measured = sampled if warmer == 1.0 else WarmedCable(sampled, warmer)
    beyond = sampled.beyond(LOWEST, HIGHEST)
    notes = () if beyond is None else (f"cable {cable.place[-1]} is {beyond}",)
    return ReadCable(measured, f"cable measured in {name}", notes=notes)
