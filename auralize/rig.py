"""The rig file: one installation and the choices to compare, read and checked into circuits.

A choice states only what differs from the common part: its tables are laid over those of the file.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, Literal, cast

from auralize.circuit import loudspeaker
from auralize.circuit.cable import Cable, Dielectric, MeasuredCable, make_pair
from auralize.circuit.conductor import (
    MATERIALS,
    SOLID_FILL,
    STRANDED_FILL,
    Conductor,
    StrandClass,
    make_conductor,
    temperature_factor,
)
from auralize.circuit.network import Amplifier, Connected, Network, Run
from auralize.errors import RigError
from auralize.rigtable import Table
from auralize.units import parse, show_area, show_length

ONLY_CHOICE: Final = "as-described"
"""Name of the single choice in a rig file that lists none."""

CONSTRUCTIONS: Final = ("twin", "twisted pair", "single cores", "measured")

# Effective relative permittivity (insulation and the air round a pair taken together) and loss
# tangent at audio frequencies: typical of the trade, no source; give your own where it matters.
DIELECTRICS: Final = {
    "PVC": (3.5, 0.05),
    "PE": (2.0, 0.0003),
    "rubber": (3.0, 0.02),
    "air": (1.0, 0.0),
}

# Where a choice gives one of these, what the common part gave of the other side is dropped.
_ALTERNATIVES: Final = (
    (("resistance",), ("damping_factor", "into")),
    (("spacing",), ("insulation",)),
    (("dielectric",), ("permittivity", "loss_tangent")),
)
# A choice that changes one of these starts that table afresh.
_KINDS: Final = ("construction", "type")


@dataclass(frozen=True)
class Choice:
    """One way to build the installation, ready to be solved."""

    name: str
    label: str
    network: Network
    listen: str
    """Name of the load whose terminals are the receiving end."""
    nominal: Mapping[str, float]
    """Rated impedance in ohm of each load."""
    described: Mapping[str, str]
    """What each run is, in a few words."""


@dataclass(frozen=True)
class Rig:
    """A rig file that was read and found right."""

    path: Path
    title: str
    choices: Mapping[str, Choice]

    def pick(self, names: list[str]) -> list[Choice]:
        """The choices of these names, all of them for an empty list; raises RigError."""
        for name in names:
            if name not in self.choices:
                known = ", ".join(self.choices)
                raise RigError(
                    f"{self.path}: choice {name!r} is not in it; right is one of {known}"
                )
        return [self.choices[name] for name in names or self.choices]


def load_rig(path: Path | str) -> Rig:
    """Read and check a rig file. Raises RigError: file, field, what was found, what would be right."""
    path = Path(path)
    return read_rig(_toml(path), path)


def _toml(path: Path) -> dict[str, Any]:
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise RigError(f"{path}: the rig file cannot be read: {reason}") from None
    except UnicodeDecodeError:
        raise RigError(f"{path}: this is no text in UTF-8; a rig file is a TOML text") from None
    except tomllib.TOMLDecodeError as error:
        raise RigError(f"{path}: this is no valid TOML: {error}") from None


def read_rig(data: Mapping[str, Any], path: Path) -> Rig:
    """Check the contents of a rig file; ``path`` is named in errors."""
    top = Table(data, (), lambda place: f"{path}: {'.'.join(place)}")
    title = top.text("title", path.stem)
    overlays = {n: t.data for n, t in top.tables("choices").items()} or {ONLY_CHOICE: {}}
    common = {key: value for key, value in data.items() if key not in ("title", "choices")}
    choices = {name: _read_choice(path, name, common, over) for name, over in overlays.items()}
    return Rig(path, title, choices)


def _read_choice(
    path: Path, name: str, common: Mapping[str, Any], overlay: Mapping[str, Any]
) -> Choice:
    def locate(place: tuple[str, ...]) -> str:
        inside: Any = overlay
        for key in place:
            inside = inside.get(key) if isinstance(inside, Mapping) else None
        if inside is not None and place:
            return f"{path}: choices.{name}.{'.'.join(place)}"
        where = ".".join(place) or "the rig"
        return f"{path}: {where} (choice {name!r})" if overlay else f"{path}: {where}"

    table = Table(_overlay(common, overlay), (), locate)
    label = table.text("label", name)
    amplifier = _read_amplifier(table)
    cables = table.tables("cables")
    runs: dict[str, Run] = {}
    described: dict[str, str] = {}
    run_tables = table.tables("runs")
    for run_name, run in run_tables.items():
        runs[run_name], described[run_name] = _read_run(run, cables, list(run_tables))
    for cable in cables.values():
        if not cable.asked:  # used by no run, but checked all the same
            _read_cable(cable, 20.0)
    loads, nominal = _read_loads(table, runs)
    listen = _read_listen(table, loads)
    table.finish()
    network = _network(table, amplifier, runs, loads)
    return Choice(name, label, network, listen, nominal, {n: described[n] for n in network.runs})


def _overlay(common: Mapping[str, Any], over: Mapping[str, Any]) -> dict[str, Any]:
    """``over`` laid on ``common``, table by table."""
    merged = dict(common)
    for one, other in _ALTERNATIVES:
        for given, dropped in ((one, other), (other, one)):
            if any(key in over for key in given):
                merged = {k: v for k, v in merged.items() if k not in dropped or k in over}
    if any(kind in over and over[kind] != common.get(kind) for kind in _KINDS):
        merged = {}
    for key, value in over.items():
        below = merged.get(key)
        both = isinstance(value, Mapping) and isinstance(below, Mapping)
        merged[key] = _overlay(cast(Mapping[str, Any], below), value) if both else value
    return merged


def _network(
    table: Table, amplifier: Amplifier, runs: dict[str, Run], loads: dict[str, Connected]
) -> Network:
    """The circuit, without the runs that lead to no load in this choice."""
    try:
        whole = Network(amplifier, runs, loads)
    except ValueError as error:
        raise table.refuse("runs", str(error)) from None
    used = {name for load in loads for name in whole.path(load)}
    return Network(amplifier, {n: r for n, r in runs.items() if n in used}, loads)


def _read_amplifier(table: Table) -> Amplifier:
    if "amplifier" not in table:
        raise table.refuse("amplifier", "the table [amplifier] is missing")
    amplifier = table.table("amplifier")
    amplifier.exclusive(("resistance",), ("damping_factor", "into"))
    inductance = amplifier.quantity("inductance", "inductance", "0 H", "1 mH", "0 H")
    if "damping_factor" in amplifier:
        factor = amplifier.number("damping_factor", 0.1, 1e6)
        resistance = amplifier.quantity("into", "resistance", "0.5 ohm", "10 kohm") / factor
    else:
        resistance = amplifier.quantity("resistance", "resistance", "0 ohm", "1 kohm")
    amplifier.asked |= {"damping_factor", "into", "resistance"}
    amplifier.finish()
    return Amplifier(resistance, inductance)


def _read_run(run: Table, cables: Mapping[str, Table], run_names: list[str]) -> tuple[Run, str]:
    cable_name = run.one_of("cable", cables)
    length = run.quantity("length", "length", "1 cm", "10 km")
    celsius = run.quantity("temperature", "temperature", "-60 degC", "200 degC", "20 degC")
    fed_from = run.one_of("from", ["amplifier", *run_names], "amplifier")
    run.finish()
    cable, description = _read_cable(cables[cable_name], celsius)
    words = f"{show_length(length)} of {description} at {celsius:g} degC"
    return Run(cable, length, None if fed_from == "amplifier" else fed_from), words


def _read_cable(cable: Table, celsius: float) -> tuple[Cable, str]:
    construction = cable.one_of("construction", CONSTRUCTIONS)
    if construction == "measured":
        return _read_measured(cable, celsius)
    conductor, words = _read_conductor(cable, celsius)
    spacing = _read_spacing(cable, conductor, construction)
    lay_length = None
    if construction == "twisted pair":
        lay_length = cable.quantity("lay_length", "length", "5 mm", "10 m")
        if lay_length < 2.0 * spacing:
            raise cable.refuse(
                "lay_length",
                f"{lay_length * 1e3:.3g} mm a turn is too tight for conductors {spacing * 1e3:.3g} mm "
                "apart; right is at least twice the spacing",
            )
    default = "air" if construction == "single cores" else "PVC"
    permittivity, loss_tangent = _read_dielectric(cable, default)
    capacitance = None
    if "capacitance" in cable:
        capacitance = _read_capacitance(cable)
    cable.finish()
    pair = make_pair(
        conductor,
        spacing,
        permittivity=permittivity,
        loss_tangent=loss_tangent,
        capacitance=capacitance,
        lay_length=lay_length,
    )
    return pair, f"{words} {construction}"


def _read_conductor(cable: Table, celsius: float) -> tuple[Conductor, str]:
    area = cable.quantity("conductor", "area", "0.03 mm2", "120 mm2")
    material = MATERIALS[cable.one_of("material", MATERIALS, "copper")]
    kinds = {"solid": None, "stranded": None, "class 1": 1, "class 2": 2, "class 5": 5}
    strands = cable.one_of("strands", kinds, "stranded")
    strand_class = cast(StrandClass | None, kinds[strands])
    usual = SOLID_FILL if strands == "solid" else STRANDED_FILL[strand_class or 5]
    fill = cable.number("fill", 0.5, 1.0, usual)
    if strands == "solid" and "fill" in cable:
        raise cable.refuse("fill", "a solid conductor has none; leave it out")
    try:
        conductor = make_conductor(area, material, strand_class, fill, celsius)
    except ValueError as error:
        raise cable.refuse("strands", str(error)) from None
    return conductor, f"{show_area(area)} {material.name}, {strands},"


def _read_spacing(cable: Table, conductor: Conductor, construction: str) -> float:
    """Distance between the centres of the conductors in m."""
    cable.exclusive(("spacing",), ("insulation",))
    diameter = 2.0 * conductor.radius
    if "insulation" in cable and construction != "single cores":
        wall = cable.quantity("insulation", "length", "0.05 mm", "2 cm")
        spacing, key = diameter + 2.0 * wall, "insulation"
    else:
        spacing, key = cable.quantity("spacing", "length", "0.1 mm", "10 m"), "spacing"
    cable.asked.add("insulation")
    if spacing < 1.01 * diameter:
        raise cable.refuse(
            key,
            f"{spacing * 1e3:.4g} mm between centres is too little for conductors "
            f"{diameter * 1e3:.4g} mm across (strands and the air between them counted); right is "
            f"more than {1.01 * diameter * 1e3:.4g} mm",
        )
    return spacing


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


def _read_measured(cable: Table, celsius: float) -> tuple[Cable, str]:
    resistance = cable.quantity("resistance", "resistance per length", "0.01 mohm/m", "20 ohm/m")
    inductance = cable.quantity("inductance", "inductance per length", "1 nH/m", "10 uH/m")
    capacitance = _read_capacitance(cable)
    loss_tangent = cable.number("loss_tangent", 0.0, 1.0, 0.0)
    material = MATERIALS[cable.one_of("material", MATERIALS, "copper")]
    at = cable.quantity("measured_at", "temperature", "-60 degC", "200 degC", "20 degC")
    cable.finish()
    warmer = temperature_factor(material, celsius) / temperature_factor(material, at)
    measured = MeasuredCable(resistance * warmer, inductance, Dielectric(capacitance, loss_tangent))
    return measured, f"measured cable ({resistance * 1e3:.4g} mohm/m, {inductance * 1e6:.3g} uH/m)"


def _read_loads(
    table: Table, runs: Mapping[str, Run]
) -> tuple[dict[str, Connected], dict[str, float]]:
    if "loads" not in table or not table.tables("loads"):
        raise table.refuse("loads", "no load is described; add a table [loads.NAME]")
    loads: dict[str, Connected] = {}
    nominal: dict[str, float] = {}
    for name, load in table.tables("loads").items():
        only_run = next(iter(runs)) if len(runs) == 1 else None
        at = load.one_of("at", ["amplifier", *runs], only_run)
        kind = cast(Literal["resistor", "driver"], load.one_of("type", ("resistor", "driver")))
        impedance, rated = _read_resistor(load) if kind == "resistor" else _read_driver(load)
        load.finish()
        loads[name] = Connected(impedance, None if at == "amplifier" else at)
        nominal[name] = rated
    return loads, nominal


def _read_resistor(load: Table) -> tuple[loudspeaker.Load, float]:
    resistance = load.quantity("resistance", "resistance", "0.5 ohm", "100 kohm")
    return loudspeaker.Resistor(resistance), resistance


def _read_driver(load: Table) -> tuple[loudspeaker.Load, float]:
    rated = load.quantity("nominal", "resistance", "0.5 ohm", "2 kohm")
    ratio = 0.0
    if "box" in load or "Vas" in load:
        ratio = load.quantity("Vas", "volume", "0.001 l", "10 m3") / load.quantity(
            "box", "volume", "0.01 l", "100 m3"
        )
    load.asked |= {"box", "Vas"}
    driver = loudspeaker.Driver(
        dc_resistance=load.quantity("Re", "resistance", "0.5 ohm", "2 kohm"),
        resonance=load.quantity("fs", "frequency", "5 Hz", "20 kHz"),
        q_mechanical=load.number("Qms", 0.05, 100.0),
        q_electrical=load.number("Qes", 0.05, 100.0),
        inductance=load.quantity("Le", "inductance", "0 H", "100 mH", "0 H"),
        semi_inductance=load.quantity("semi_inductance", "semi-inductance", "0 sH", "1 sH", "0 sH"),
        stiffness_ratio=ratio,
    )
    return driver, rated


def _read_listen(table: Table, loads: Mapping[str, Connected]) -> str:
    if len(loads) > 1 and "listen" not in table:
        names = ", ".join(loads)
        raise table.refuse(
            "listen", f"there are several loads; name the one to hear, out of {names}"
        )
    return table.one_of("listen", loads, next(iter(loads)))


def parse_frequency(text: str) -> float:
    """Frequency in Hz as a person types it on a command line ("1 kHz", "31.5", "10k")."""
    bare = text.strip().lower()
    unit = "" if bare.endswith("hz") else "Hz"
    return parse(text.strip() + unit, "frequency")
