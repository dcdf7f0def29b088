"""The loads of a rig file: drivers, whole loudspeakers, measured impedances, faults."""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Final

from auralize import units
from auralize.circuit import loudspeaker
from auralize.circuit.crossover import (
    Capacitor,
    Coil,
    Crossover,
    InParallel,
    InSeries,
    Ladder,
    Rung,
)
from auralize.circuit.loudspeaker import Load
from auralize.circuit.network import PERFECT, Connected, Contact
from auralize.circuit.sampled import SampledImpedance
from auralize.errors import RigError
from auralize.rig.folder import Folder
from auralize.rig.load_notes import measured_notes
from auralize.rig.table import Table
from auralize.rig.typical import read_typical, usual_band

TYPES: Final = ("resistor", "driver", "crossover", "measured", "typical", "open", "short")

LINE: Final = ("count", "spacing", "along", "through")
"""Keys of a load that make a line of it ..."""
OF_A_LOAD: Final = ("like", *LINE)
"""... and those that `chains` writes out before a load is read."""

FAULTS: Final = {
    "open": "is open: it takes no current and is silent, so that what is shown and rendered is the "
    "voltage at its terminals. Transistor amplifiers bear this; one with valves must not run without "
    "any load",
    "short": "is shorted: it is silent, and so is all that hangs at the same place. Caution: the "
    "amplifier feeds what is before it alone; its protection may act, or it or the cable may be damaged",
}
REVERSED: Final = (
    "has plus and minus swapped: it is rendered inverted, and where it is heard together with others "
    "that are right, low frequencies cancel"
)

LOWEST, HIGHEST = 20.0, 20_000.0
"""Hz between which all is judged, so that a measurement that ends earlier is worth a word."""
Band = tuple[float, float]
"""From Hz to Hz."""
WHOLE: Final[Band] = (LOWEST, HIGHEST)


@dataclass(frozen=True)
class ReadLoad:
    """A load in its place, its rated impedance in ohm, and sentences on what is to be known of it."""

    connected: Connected
    nominal: float
    notes: tuple[str, ...] = ()
    band: Band | None = None
    """Within which it plays, and is judged; None where the rig does not say."""


def read_loads(table: Table, places: Collection[str], folder: Folder) -> dict[str, ReadLoad]:
    """Loads by name; ``places`` are the runs and transformers they may stand at. Raises RigError.

    Files of measurements are looked for from ``folder``.
    """
    if "loads" not in table or not table.tables("loads"):
        raise table.refuse("loads", "no load is described; add a table [loads.NAME]")
    return {n: read_load(load, places, folder) for n, load in table.tables("loads").items()}


def read_load(load: Table, places: Collection[str], folder: Folder) -> ReadLoad:
    """One load, which may stand at ``places`` (or the amplifier)."""
    only = next(iter(places)) if len(places) == 1 else None
    at = load.one_of("at", ["amplifier", *places], only)
    kind = load.one_of("type", TYPES)
    impedance, nominal, notes = _read_impedance(load, kind, folder)
    if kind in FAULTS:
        notes = (FAULTS[kind],)
    series, parallel = (int(load.whole(key, 1, 100, 1)) for key in ("series", "parallel"))
    if (series, parallel) != (1, 1):
        impedance, nominal = (
            loudspeaker.Several(impedance, series, parallel),
            nominal * series / parallel,
        )
    contact = read_contact(load, "contact")
    swapped = load.flag("reversed", default=False)
    band = _read_band(load) or usual_band(load)
    if swapped:
        notes = (*notes, REVERSED)
    load.asked |= set(OF_A_LOAD)  # these were written out
    load.finish()
    place = None if at == "amplifier" else at
    sentences = tuple(f"load {load.place[-1]} {note}" for note in notes)
    return ReadLoad(Connected(impedance, place, contact, swapped), nominal, sentences, band)


def _read_band(load: Table) -> Band | None:
    text = load.text("band", "")
    try:
        return parse_band(text) if "band" in load else None
    except ValueError as error:
        raise load.refuse("band", str(error)) from None


def parse_band(text: str) -> Band:
    """ "30 Hz to 120 Hz", in a rig file and on a command line; raises ValueError."""
    try:
        low, high = (units.parse_frequency(part) for part in text.split(" to "))
    except ValueError:
        low = high = 0.0
    if not LOWEST <= low < high <= HIGHEST:
        raise ValueError(
            f'{units.quoted(text)} was found; right is a band such as "30 Hz to 120 Hz", from 20 Hz to '
            "20 kHz at most, the lower end first"
        )
    return low, high


def show_band(band: Band) -> str:
    """As `parse_band` reads it."""
    return " to ".join(map(units.show_frequency, band))


def read_contact(table: Table, key: str) -> Contact:
    """Resistance of a joint: one value for each conductor, or a table with plus and minus."""
    if isinstance(table.data.get(key), Mapping):
        legs = table.table(key)
        plus, minus = (legs.quantity(leg, "resistance", "0 ohm", "1 kohm", "0 ohm") for leg in LEGS)
        legs.finish()
        return Contact(plus, minus)
    if key not in table:
        table.asked.add(key)
        return PERFECT
    each = table.quantity(key, "resistance", "0 ohm", "1 kohm")
    return Contact(each, each)


LEGS: Final = ("plus", "minus")


def _read_impedance(load: Table, kind: str, folder: Folder) -> tuple[Load, float, tuple[str, ...]]:
    if kind == "resistor":
        resistor = _read_resistor(load)
        return resistor, resistor.resistance, ()
    rated = load.quantity("nominal", "resistance", "0.5 ohm", "10 kohm")
    if kind == "driver":
        return read_driver(load), rated, ()
    if kind == "crossover":
        return _read_crossover(load), rated, ()
    if kind == "measured":
        return _read_measured(load, rated, folder)
    if kind == "typical":
        typical, notes = read_typical(load, rated)
        return typical, rated, notes
    return (loudspeaker.Open() if kind == "open" else loudspeaker.Short()), rated, ()


def _read_resistor(load: Table) -> loudspeaker.Resistor:
    return loudspeaker.Resistor(load.quantity("resistance", "resistance", "0.5 ohm", "100 kohm"))


def read_driver(load: Table) -> loudspeaker.Driver:
    """A moving-coil driver in free air, in a closed or in a vented box."""
    ratio = 0.0
    if "box" in load or "Vas" in load or "tuning" in load:
        ratio = load.quantity("Vas", "volume", "0.001 l", "10 m3") / load.quantity(
            "box", "volume", "0.01 l", "100 m3"
        )
    load.asked |= {"box", "Vas"}
    for one, other in (("L2", "R2"), ("R2", "L2")):
        if one in load and other not in load:
            raise load.refuse(other, f"it is missing; {one} alone says nothing, right is both")
    try:
        return loudspeaker.Driver(
            dc_resistance=load.quantity("Re", "resistance", "0.5 ohm", "2 kohm"),
            resonance=load.quantity("fs", "frequency", "5 Hz", "20 kHz"),
            q_mechanical=load.number("Qms", 0.05, 100.0),
            q_electrical=load.number("Qes", 0.05, 100.0),
            inductance=load.quantity("Le", "inductance", "0 H", "100 mH", "0 H"),
            semi_inductance=load.quantity(
                "semi_inductance", "semi-inductance", "0 sH", "1 sH", "0 sH"
            ),
            stiffness_ratio=ratio,
            step_inductance=load.quantity("L2", "inductance", "0 H", "100 mH", "0 H"),
            step_resistance=load.quantity("R2", "resistance", "0 ohm", "1 kohm", "0 ohm"),
            vent=_read_vent(load),
            coil_celsius=load.quantity(
                "coil_temperature", "temperature", "-40 degC", "200 degC", "20 degC"
            ),
        )
    except RigError:
        raise
    except ValueError as error:  # what does not go together
        raise load.refuse(None, str(error)) from None


def _read_vent(load: Table) -> loudspeaker.Vent | None:
    if "tuning" not in load:
        load.asked |= {"tuning", "leakage_Q"}
        if "leakage_Q" in load:
            raise load.refuse("leakage_Q", "there is no vent; give its tuning, or leave this out")
        return None
    tuning = load.quantity("tuning", "frequency", "5 Hz", "500 Hz")
    return loudspeaker.Vent(tuning, q_leakage=load.number("leakage_Q", 0.5, 1000.0, 7.0))


def _read_measured(
    load: Table, rated: float, folder: Folder
) -> tuple[Load, float, tuple[str, ...]]:
    from auralize.rig.measured import changed_at  # only where something was measured

    at_dc = None
    if "dc_resistance" in load:
        at_dc = load.quantity("dc_resistance", "resistance", "0.01 ohm", "10 kohm")
    load.asked.add("dc_resistance")
    path = folder.file(load)
    try:
        sampled, derived = _sampled(path, changed_at(path), at_dc)
    except RigError:
        raise
    except ValueError as error:  # MeasurementError too
        raise load.refuse("file", str(error)) from None
    return sampled, rated, measured_notes(sampled, derived, rated, WHOLE)


@lru_cache(maxsize=32)
def _sampled(path: Path, _changed: int, at_dc: float | None) -> tuple[SampledImpedance, bool]:
    """Read once, so that choices with the same file compare equal; again where the file was changed.

    With whether the phase was derived.
    """
    from auralize.rig.measured import read_impedance

    found = read_impedance(path)
    return found.load(at_dc), found.derived


# ---- crossovers -----------------------------------------------------------------------------------


def _read_crossover(load: Table) -> Crossover:
    """Ways as ladders of text: "series 0.68 mH 0.3 ohm", "shunt 22 uF", ..., "to woofer"."""
    ends: dict[str, Load] = {}
    for name, driver in load.tables("drivers").items():
        ends[name] = _read_resistor(driver) if "resistance" in driver else read_driver(driver)
        driver.finish()
    ways = load.table("ways")
    if not ways.data:
        raise load.refuse(
            "ways", 'a list of rungs is missing, such as ["series 6.8 uF", "to tweeter"]'
        )
    ladders = {way: _read_way(ways, way, ends) for way in ways.data}
    for name, end in ends.items():
        if all(ladder.end is not end for ladder in ladders.values()):
            raise load.refuse(
                "ways", f'none leads to the driver {name!r}; end one with "to {name}"'
            )
    return Crossover(ladders)


def _read_way(ways: Table, way: str, ends: Mapping[str, Load]) -> Ladder:
    ways.asked.add(way)
    texts = ways.data[way]
    if not (isinstance(texts, list) and texts and all(isinstance(t, str) for t in texts)):
        raise ways.refuse(
            way, f"{units.quoted(texts)} was found where a list of rungs in quotes is right"
        )
    *rungs, last = texts
    word, _, name = last.partition(" ")
    name = name.strip()
    if word != "to" or name not in ends:
        known = (
            ", ".join(f'"to {end}"' for end in ends) or "a driver, which [drivers.NAME] describes"
        )
        raise ways.refuse(way, f"{units.quoted(last)} ends the ladder; right is {known}")
    return Ladder(tuple(_read_rung(ways, way, text) for text in rungs), ends[name])


def _read_rung(ways: Table, way: str, text: str) -> Rung:
    place, _, parts = text.partition(" ")
    if place not in ("series", "shunt"):
        raise ways.refuse(
            way, f'{units.quoted(text)} was found; a rung begins with "series" or "shunt"'
        )
    try:
        return Rung(place, _part(parts))  # type: ignore[arg-type]
    except ValueError as error:
        raise ways.refuse(way, f"{units.quoted(text)}: {error}") from None


_PLUS: Final = re.compile(r"(?<![eE])\+")
_VALUE: Final = re.compile(r"[-+]?[\d.,]+(?:[eE][-+]?\d+)?\s*[^\W\d_]+")
_FORM: Final = 'a part is written like "8 ohm", "0.68 mH 0.3 ohm" or "22 uF"'


def _part(text: str) -> Load:
    """R, L, C or several: "8 ohm + 10 uF" one behind the other, "0.3 mH | 10 uF" side by side.

    What is joined by + is taken together before what is joined by |. The second value of a coil or
    capacitor is its own resistance.
    """
    for pieces, join in ((text.split("|"), InParallel), (_PLUS.split(text), InSeries)):
        if len(pieces) > 1:
            return join(tuple(_part(piece) for piece in pieces))
    values = _VALUE.findall(text)
    if not values or _VALUE.sub("", text).strip() or len(values) > 2:
        raise ValueError(_FORM)
    own = _value(values[1], "resistance", "0 ohm", "1 kohm") if len(values) == 2 else 0.0
    unit = values[0][-1].upper()
    if unit == "H":
        return Coil(_value(values[0], "inductance", "1 nH", "10 H"), own)
    if unit == "F":
        return Capacitor(_value(values[0], "capacitance", "1 pF", "1000 mF"), own)
    if len(values) == 2:
        raise ValueError(f"{units.quoted(text.strip())} has two values, and a resistor has one")
    return loudspeaker.Resistor(_value(values[0], "resistance", "1 mohm", "100 kohm"))


def _value(text: str, kind: units.Quantity, low: str, high: str) -> float:
    found = units.parse(text, kind)
    if not units.parse(low, kind) <= found <= units.parse(high, kind):
        raise ValueError(
            f"{units.quoted(text)} was found; right is {units.a(kind)} from {low} to {high}"
        )
    return found
