"""The rig file: one installation and the choices to compare, read and checked into circuits.

A choice states only what differs from the common part: its tables are laid over those of the file.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final, cast

from auralize.circuit.network import Amplifier, Contact, Network, Placed, Run
from auralize.circuit.power import Drive, pink_noise, sine
from auralize.circuit.solution import solve
from auralize.circuit.transformer import Transformer, make_line_transformer, make_transformer
from auralize.errors import RigError
from auralize.rig.cables import ReadCable, read_cable
from auralize.rig.lays import ReadLay, read_lay
from auralize.rig.loads import FAULTS, ReadLoad, read_contact, read_loads
from auralize.rig.table import Table, dotted
from auralize.units import parse, quoted, show, show_length

ONLY_CHOICE: Final = "as-described"
"""Name of the single choice in a rig file that lists none."""

# Where a choice gives one of these, what the common part gave of the other side is dropped.
_ALTERNATIVES: Final = (
    (("resistance",), ("damping_factor", "into")),
    (("spacing",), ("insulation",)),
    (("dielectric",), ("permittivity", "loss_tangent")),
    (("permittivity",), ("capacitance",)),
    (("turns",), ("coiled",)),
    (("line", "tap", "secondary"), ("input", "output", "power")),
    (("barrel",), ("mean_diameter",)),
    (("file",), ("resistance", "inductance", "capacitance", "loss_tangent")),
)
# A choice that changes one of these starts that table afresh.
_KINDS: Final = ("construction", "type", "shape")
# ... but for these, which say where it stands.
_PLACES: Final = ("at",)
# Where a fault takes a loudspeaker's place, what that was rated is kept.
_RATED: Final = ("nominal", "resistance")


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
    lays: Mapping[str, ReadLay]
    """What the lay adds, for those runs where it adds anything."""
    cables: Mapping[str, ReadCable]
    """The cable of each run."""
    cable_names: Mapping[str, str]
    """What it is called in the rig file."""
    taps: Mapping[str, float]
    """W that each transformer of a constant-voltage line takes at its tap."""
    rating: float | None = None
    """W that the amplifier can deliver."""
    programme: Drive | None = None
    """What the rig is driven with, where it says so."""
    notes: tuple[str, ...] = ()
    """What is to be known of measured data and of faults."""

    def at(self, load: str | None) -> Choice:
        """The same, heard at another loudspeaker (None: as it is); raises RigError."""
        if load is None:
            return self
        if load not in self.network.loads:
            known = ", ".join(self.network.loads)
            raise RigError(f"choice {self.name!r} has no load {load!r}; right is one of {known}")
        return replace(self, listen=load)


@dataclass(frozen=True)
class Rig:
    """A rig file that was read and found right."""

    path: Path
    title: str
    choices: Mapping[str, Choice]
    data: Mapping[str, Any]
    """The file's contents as they were read."""

    def pick(self, names: list[str]) -> list[Choice]:
        """The choices of these names, all of them for an empty list; raises RigError."""
        for name in names:
            if name not in self.choices:
                known = ", ".join(self.choices)
                raise RigError(
                    f"{self.path}: choice {name!r} is not in it; right is one of {known}"
                )
        return [self.choices[name] for name in dict.fromkeys(names or self.choices)]

    def of(self, choice: Choice) -> Mapping[str, Any]:
        """The file's contents as a choice has them."""
        return _overlay(_common(self.data), self.data.get("choices", {}).get(choice.name, {}))

    def changed(self, choice: Choice, values: Mapping[Any, Any]) -> Choice:
        """The choice with other values at some places (tuples of keys); raises RigError."""
        overlay: dict[str, Any] = dict(self.data.get("choices", {}).get(choice.name, {}))
        for place, value in values.items():
            for key in reversed(place):
                value = {key: value}
            overlay = _overlay(overlay, value)
        found = read_rig({**self.data, "choices": {choice.name: overlay}}, self.path)
        return replace(found.choices[choice.name], listen=choice.listen)


def load_rig(path: Path | str) -> Rig:
    """Read and check a rig file. Raises RigError: file, field, what was found, what would be right."""
    path = Path(path)
    return read_rig(_toml(path), path)


def _toml(path: Path) -> dict[str, Any]:
    try:
        return tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise RigError(f"{path}: the rig file cannot be read: {reason}") from None
    except UnicodeDecodeError:
        raise RigError(f"{path}: this is no text in UTF-8; a rig file is a TOML text") from None
    except ValueError as error:  # TOMLDecodeError, or an integer beyond what Python reads
        raise RigError(f"{path}: this is no valid TOML: {error}") from None
    except RecursionError:
        raise RigError(f"{path}: this is no valid TOML: it is nested too deeply") from None


def read_rig(data: Mapping[str, Any], path: Path) -> Rig:
    """Check the contents of a rig file; ``path`` is named in errors."""
    top = Table(data, (), lambda place: f"{path}: {dotted(place)}")
    title = top.text("title", path.stem)
    overlays = {n: t.data for n, t in top.tables("choices").items()} or {ONLY_CHOICE: {}}
    for name in overlays:
        _check_name(top, name)
    common = _common(data)
    try:
        choices = {name: _read_choice(path, name, common, over) for name, over in overlays.items()}
    except RecursionError:
        raise RigError(f"{path}: choices: tables are nested too deeply") from None
    return Rig(path, title, choices, data)


def _common(data: Mapping[str, Any]) -> dict[str, Any]:
    """What all choices share."""
    return {key: value for key, value in data.items() if key not in ("title", "choices")}


_LONGEST_NAME: Final = 100
"""Bytes; a file name has room for 255 on the usual file systems, and the programme's is in it too."""


def _check_name(top: Table, name: str) -> None:
    """Refuse a choice whose name cannot be part of a file's name."""
    unfit = not name.strip(". ") or not name.isprintable() or set(name) & set("/\\")
    if unfit or len(name.encode()) > _LONGEST_NAME:
        raise top.refuse(
            "choices",
            f"the choice {quoted(name)} cannot be named so, as files are named after it; right is a "
            f"short name without slashes and line breaks",
        )


def _read_choice(
    path: Path, name: str, common: Mapping[str, Any], overlay: Mapping[str, Any]
) -> Choice:
    def locate(place: tuple[str, ...]) -> str:
        inside: Any = overlay
        for key in place:
            inside = inside.get(key) if isinstance(inside, Mapping) else None
        if inside is not None and place:
            return f"{path}: {dotted(('choices', name, *place))}"
        where = dotted(place) or "the rig"
        return f"{path}: {where} (choice {name!r})" if overlay else f"{path}: {where}"

    table = Table(_overlay(common, overlay), (), locate)
    label = table.text("label", name)
    amplifier, rating = _read_amplifier(table)
    cables = table.tables("cables")
    run_tables = table.tables("runs")
    if "amplifier" in run_tables:
        raise run_tables["amplifier"].refuse(
            None, "a run cannot be called amplifier, as runs are fed from it; give it another name"
        )
    places = [*run_tables, *table.tables("transformers")]
    folder = path.parent
    read = {n: _read_run(run, cables, places, folder) for n, run in run_tables.items()}
    for cable in cables.values():
        if not cable.asked:  # used by no run, but checked all the same
            read_cable(cable, 20.0, folder)
    runs = {n: run.run for n, run in read.items()}
    transformers, taps = _read_transformers(table, list(run_tables))
    loads = read_loads(table, [*runs, *transformers], folder)
    listen = _read_listen(table, loads)
    programme = _read_programme(table)
    table.finish()
    network = _network(table, amplifier, runs, transformers, loads)
    cable_names = {n: run_tables[n].text("cable") for n in network.runs}
    notes = [note for n in network.runs for note in read[n].cable.notes]
    notes += [note for load in loads.values() for note in load.notes]
    return Choice(
        name,
        label,
        network,
        listen,
        nominal={n: load.nominal for n, load in loads.items()},
        described={n: read[n].words for n in network.runs},
        lays={n: lay for n in network.runs if (lay := read[n].lay) is not None},
        cables={n: read[n].cable for n in network.runs},
        cable_names=cable_names,
        taps={n: taps[n] for n in network.transformers if n in taps},
        rating=rating,
        programme=programme,
        notes=tuple(dict.fromkeys(notes)),
    )


@dataclass(frozen=True)
class _ReadRun:
    run: Run
    words: str
    lay: ReadLay | None
    cable: ReadCable


def _overlay(
    common: Mapping[str, Any], over: Mapping[str, Any], place: tuple[str, ...] = ()
) -> dict[str, Any]:
    """``over`` laid on ``common``, table by table; ``place`` is where."""
    merged = dict(common)
    if place == ("amplifier",) or len(place) == 2 or place[-1:] == ("lay",):  # else keys are names
        merged = _without_alternatives(merged, over)
    for key, value in over.items():
        below = merged.get(key)
        both = isinstance(value, Mapping) and isinstance(below, Mapping)
        merged[key] = (
            _overlay(cast(Mapping[str, Any], below), value, (*place, key)) if both else value
        )
    return merged


def _without_alternatives(common: Mapping[str, Any], over: Mapping[str, Any]) -> dict[str, Any]:
    """What is left of ``common`` where ``over`` says the same otherwise, or makes it another thing."""
    if any(kind in over and over[kind] != common.get(kind) for kind in _KINDS):
        kept = {k: v for k, v in common.items() if k in _PLACES}
        rated = [common[k] for k in _RATED if k in common]
        return kept | {"nominal": rated[0]} if rated and over.get("type") in FAULTS else kept
    merged = dict(common)
    for one, other in _ALTERNATIVES:
        for given, dropped in ((one, other), (other, one)):
            if any(key in over for key in given):
                merged = {k: v for k, v in merged.items() if k not in dropped or k in over}
    return merged


def _network(
    table: Table,
    amplifier: Amplifier,
    runs: dict[str, Run],
    transformers: dict[str, Placed],
    loads: Mapping[str, ReadLoad],
) -> Network:
    """The circuit, without the runs and transformers that lead to no load in this choice."""
    connected = {n: load.connected for n, load in loads.items()}
    try:
        whole = Network(amplifier, runs, connected, transformers)
    except ValueError as error:
        raise table.refuse("runs", str(error)) from None
    used = {name for load in loads for name in whole.way(load)}
    network = Network(
        amplifier,
        {n: r for n, r in runs.items() if n in used},
        connected,
        {n: t for n, t in transformers.items() if n in used},
    )
    if amplifier.resistance == 0.0:
        try:
            solve(network, [0.0, 1000.0])
        except ValueError as error:  # it feeds a short circuit
            raise table.refuse("amplifier", str(error)) from None
    return network


def _read_amplifier(table: Table) -> tuple[Amplifier, float | None]:
    """The amplifier, and its rating in W where it is given."""
    if "amplifier" not in table:
        raise table.refuse("amplifier", "the table [amplifier] is missing")
    amplifier = table.table("amplifier")
    amplifier.exclusive(("resistance",), ("damping_factor", "into"))
    inductance = amplifier.quantity("inductance", "inductance", "0 H", "1 mH", "0 H")
    if "damping_factor" in amplifier or "into" in amplifier:
        factor = amplifier.number("damping_factor", 0.1, 1e6)
        resistance = amplifier.quantity("into", "resistance", "0.5 ohm", "10 kohm") / factor
    else:
        resistance = amplifier.quantity("resistance", "resistance", "0 ohm", "1 kohm")
    rating = None
    if "rating" in amplifier:
        rating = amplifier.quantity("rating", "power", "0.1 W", "100 kW")
    amplifier.asked |= {"damping_factor", "into", "resistance", "rating"}
    amplifier.finish()
    return Amplifier(resistance, inductance), rating


def _read_run(run: Table, cables: Mapping[str, Table], places: list[str], folder: Path) -> _ReadRun:
    """A run, in words, and what its lay adds."""
    cable_name = run.one_of("cable", cables)
    length = run.quantity("length", "length", "1 cm", "10 km")
    celsius = run.quantity("temperature", "temperature", "-60 degC", "200 degC", "20 degC")
    fed_from = run.one_of("from", ["amplifier", *places], "amplifier")
    near, far = read_contact(run, "near"), read_contact(run, "far")
    read = read_cable(cables[cable_name], celsius, folder)
    lay = read_lay(run, read, length)
    run.finish()
    words = f"{show_length(length)} of {read.words} at {celsius:g} degC{_joints(near, far)}"
    feeder = None if fed_from == "amplifier" else fed_from
    added = lay.nominal if lay else None
    return _ReadRun(Run(read.cable, length, feeder, added, near, far), words, lay, read)


def _joints(near: Contact, far: Contact) -> str:
    """The joints at both ends of a run in words; nothing for perfect ones."""
    plus, minus = near.plus + far.plus, near.minus + far.minus
    if plus == minus:
        return f", joints of {show(plus, 'ohm')} in each conductor" if plus else ""
    return f", joints of {show(plus, 'ohm')} in plus and {show(minus, 'ohm')} in minus"


def _read_transformers(table: Table, runs: list[str]) -> tuple[dict[str, Placed], dict[str, float]]:
    """Transformers by name, and the power in W of those that are taps of a line."""
    tables = table.tables("transformers")
    placed: dict[str, Placed] = {}
    taps: dict[str, float] = {}
    for name, part in tables.items():
        if name == "amplifier" or name in runs:
            raise part.refuse(None, f"{name!r} is the name of something else; give it another name")
        fed_from = part.one_of("from", ["amplifier", *runs, *tables], "amplifier")
        transformer, tap = _read_transformer(part)
        part.finish()
        placed[name] = Placed(transformer, None if fed_from == "amplifier" else fed_from)
        if tap is not None:
            taps[name] = tap
    return placed, taps


def _read_transformer(part: Table) -> tuple[Transformer, float | None]:
    """A tap of a line ("line", "tap", "secondary"), or a step-up ("input", "output", "power")."""
    part.exclusive(("line", "tap", "secondary"), ("input", "output", "power"))
    losses = {
        "insertion_loss": part.quantity("insertion_loss", "level", "0 dB", "6 dB", "1 dB"),
        "low_frequency": part.quantity("lowest", "frequency", "1 Hz", "1 kHz", "40 Hz"),
        "high_frequency": part.quantity("highest", "frequency", "2 kHz", "1 MHz", "25 kHz"),
    }
    part.asked |= {"line", "tap", "secondary", "input", "output", "power"}
    if "input" in part or "output" in part:
        up = make_transformer(
            part.quantity("input", "voltage", "1 V", "1 kV"),
            part.quantity("output", "voltage", "1 V", "1 kV"),
            part.quantity("power", "power", "0.1 W", "100 kW"),
            **losses,
        )
        return up, None
    tap = part.quantity("tap", "power", "0.1 W", "10 kW")
    line = part.quantity("line", "voltage", "10 V", "400 V")
    secondary = part.quantity("secondary", "resistance", "0.5 ohm", "1 kohm")
    return make_line_transformer(line, tap, secondary, **losses), tap


def _read_programme(table: Table) -> Drive | None:
    """What the rig is driven with: pink noise or a sine of some voltage at the amplifier's terminals."""
    if "programme" not in table:
        table.asked.add("programme")
        return None
    programme = table.table("programme")
    volts = programme.quantity("voltage", "voltage", "1 mV", "1 kV")
    kind = programme.one_of("signal", ("pink noise", "sine"), "pink noise")
    if kind == "sine":
        found = sine(
            volts, programme.quantity("frequency", "frequency", "1 Hz", "100 kHz", "1 kHz")
        )
    else:
        found = pink_noise(volts, programme.number("crest_factor", 1.4, 20.0, 4.0))
    programme.finish()
    return found


def _read_listen(table: Table, loads: Mapping[str, ReadLoad]) -> str:
    if len(loads) > 1 and "listen" not in table:
        names = ", ".join(loads)
        raise table.refuse(
            "listen", f"there are several loads; name the one to hear, out of {names}"
        )
    return table.one_of("listen", loads, next(iter(loads)))


def parse_frequency(text: str) -> float:
    """Frequency in Hz as a person types it on a command line ("1 kHz", "31.5", "10k")."""
    bare = re.sub(r"hz$", "", text.strip(), flags=re.IGNORECASE).rstrip()
    try:
        return parse(re.sub(r"K$", "k", bare) + "Hz", "frequency")
    except ValueError:
        raise ValueError(f'{quoted(text)} is not a frequency; write it like "1 kHz"') from None
