"""The parts of a rig file between amplifier and loads: amplifier, runs, transformers; what drives it."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping
from typing import Final

import numpy as np

from auralize.circuit.cable import TABLE_TOP, Cable
from auralize.circuit.network import Amplifier, Contact, Network, Placed, Run
from auralize.circuit.power import Drive, pink_noise, sine
from auralize.circuit.solution import solve
from auralize.circuit.transformer import Transformer, make_line_transformer, make_transformer
from auralize.rig.cables import read_cable
from auralize.rig.choice import ReadRun, ReadTransformer
from auralize.rig.folder import Folder
from auralize.rig.lays import read_lay
from auralize.rig.loads import WHOLE, ReadLoad, read_contact
from auralize.rig.table import Table
from auralize.units import decibels, show, show_length


def read_amplifier(table: Table) -> tuple[Amplifier, float | None, float | None]:
    """The amplifier, and where they are given its rating in W and the load in ohm that it refers to."""
    if "amplifier" not in table:
        raise table.refuse("amplifier", "the table [amplifier] is missing")
    amplifier = table.table("amplifier")
    amplifier.exclusive(("resistance",), ("damping_factor",))
    inductance = amplifier.quantity("inductance", "inductance", "0 H", "1 mH", "0 H")
    rating = into = None
    if "rating" in amplifier:
        rating = amplifier.quantity("rating", "power", "0.1 W", "100 kW")
    if "resistance" in amplifier:
        resistance = amplifier.quantity("resistance", "resistance", "0 ohm", "1 kohm")
        if "into" in amplifier:
            into = amplifier.quantity("into", "resistance", "0.5 ohm", "10 kohm")
    elif "damping_factor" in amplifier or "into" in amplifier:
        factor = amplifier.number("damping_factor", 0.1, 1e6)
        into = amplifier.quantity("into", "resistance", "0.5 ohm", "10 kohm")
        resistance = into / factor
    else:
        resistance = amplifier.quantity("resistance", "resistance", "0 ohm", "1 kohm")
    amplifier.asked |= {"damping_factor", "into", "resistance", "rating"}
    amplifier.finish()
    return Amplifier(resistance, inductance), rating, into


def read_runs(table: Table, folder: Folder) -> dict[str, ReadRun]:
    """Runs by name; measurements of cables are looked for from ``folder``."""
    cables = table.tables("cables")
    tables = table.tables("runs")
    if "amplifier" in tables:
        raise tables["amplifier"].refuse(
            None, "a run cannot be called amplifier, as runs are fed from it; give it another name"
        )
    places = [*tables, *table.tables("transformers")]
    read = {name: read_run(run, cables, places, folder) for name, run in tables.items()}
    for cable in cables.values():
        if not cable.asked:  # used by no run, but checked all the same
            read_cable(cable, 20.0, folder)
    return read


def read_run(
    run: Table, cables: Mapping[str, Table], places: Collection[str], folder: Folder
) -> ReadRun:
    """A run, in words, and what it is made from; it may be fed from ``places`` (or the amplifier)."""
    cable_name = run.one_of("cable", cables)
    length = run.quantity("length", "length", "1 cm", "10 km")
    celsius = run.quantity("temperature", "temperature", "-60 degC", "200 degC", "20 degC")
    fed_from = run.one_of("from", ["amplifier", *places], "amplifier")
    near, far = read_contact(run, "near"), read_contact(run, "far")
    read = read_cable(cables[cable_name], celsius, folder)
    _check_passes(run, read.cable, length)
    lay = read_lay(run, read, length)
    run.finish()
    words = f"{show_length(length)} of {read.words} at {celsius:g} degC{_joints(near, far)}"
    feeder = None if fed_from == "amplifier" else fed_from
    added = lay.nominal if lay else None
    made = Run(read.cable, length, feeder, added, near, far)
    return ReadRun(made, words, read, cable_name, lay)


_MOST_NEPERS: Final = 300.0
"""Over which the arithmetic would overflow; a run of ordinary cable, 10 km long, has some 50 at 1 MHz."""


def _check_passes(run: Table, cable: Cable, length: float) -> None:
    """Refuse a run through which, at the top of all tables, nothing comes."""
    top = np.array([TABLE_TOP])
    nepers = float(np.sqrt(cable.series(top) * cable.shunt(top))[0].real) * length
    if not nepers <= _MOST_NEPERS:
        raise run.refuse(
            "length",
            f"{show_length(length)} of this cable pass nothing: they weaken 1 MHz by "
            f"{nepers * decibels(math.e):.3g} dB; right is a shorter run, or a cable with less "
            "resistance and capacitance (were they given per km?)",
        )


def _joints(near: Contact, far: Contact) -> str:
    """The joints at both ends of a run in words; nothing for perfect ones."""
    plus, minus = near.plus + far.plus, near.minus + far.minus
    if plus == minus:
        return f", joints of {show(plus, 'ohm')} in each conductor" if plus else ""
    return f", joints of {show(plus, 'ohm')} in plus and {show(minus, 'ohm')} in minus"


def read_transformers(table: Table, runs: Collection[str]) -> dict[str, ReadTransformer]:
    """Transformers by name."""
    tables = table.tables("transformers")
    read: dict[str, ReadTransformer] = {}
    for name, part in tables.items():
        if name == "amplifier" or name in runs:
            raise part.refuse(None, f"{name!r} is the name of something else; give it another name")
        read[name] = read_transformer(part, [*runs, *tables])
    return read


def read_transformer(part: Table, places: Collection[str]) -> ReadTransformer:
    """A transformer; it may be fed from ``places`` (or the amplifier)."""
    fed_from = part.one_of("from", ["amplifier", *places], "amplifier")
    transformer, tap = _read_windings(part)
    part.finish()
    return ReadTransformer(Placed(transformer, None if fed_from == "amplifier" else fed_from), tap)


def _read_windings(part: Table) -> tuple[Transformer, float | None]:
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


def read_drive(table: Table, loads: Mapping[str, ReadLoad]) -> Drive | None:
    """What the rig is driven with: pink noise or a sine of some voltage at the amplifier's terminals.

    Noise goes as low and as high as any of the loads is meant to play.
    """
    if "programme" not in table:
        table.asked.add("programme")
        return None
    drive = table.table("programme")
    volts = drive.quantity("voltage", "voltage", "1 mV", "1 kV")
    kind = drive.one_of("signal", ("pink noise", "sine"), "pink noise")
    if kind == "sine":
        found = sine(volts, drive.quantity("frequency", "frequency", "1 Hz", "100 kHz", "1 kHz"))
    else:
        lows, highs = zip(*(load.band or WHOLE for load in loads.values()), strict=True)
        crest_factor = drive.number("crest_factor", 1.4, 20.0, 4.0)
        found = pink_noise(volts, crest_factor, min(lows), max(highs))
    drive.finish()
    return found


def read_listen(table: Table, loads: Mapping[str, ReadLoad]) -> str:
    if len(loads) > 1 and "listen" not in table:
        names = ", ".join(loads)
        raise table.refuse(
            "listen", f"there are several loads; name the one to hear, out of {names}"
        )
    return table.one_of("listen", loads, next(iter(loads)))


def build_network(
    table: Table,
    amplifier: Amplifier,
    runs: Mapping[str, ReadRun],
    transformers: Mapping[str, ReadTransformer],
    loads: Mapping[str, ReadLoad],
) -> Network:
    """The circuit, without the runs and transformers that lead to no load in this choice."""
    connected = {name: load.connected for name, load in loads.items()}
    made = {name: run.run for name, run in runs.items()}
    placed = {name: transformer.placed for name, transformer in transformers.items()}
    try:
        whole = Network(amplifier, made, connected, placed)
    except ValueError as error:
        raise table.refuse("runs", str(error)) from None
    used = {name for load in loads for name in whole.way(load)}
    network = Network(
        amplifier,
        {name: run for name, run in made.items() if name in used},
        connected,
        {name: transformer for name, transformer in placed.items() if name in used},
    )
    if amplifier.resistance == 0.0:
        try:
            solve(network, [0.0, 1000.0])
        except ValueError as error:  # it feeds a short circuit
            raise table.refuse("amplifier", str(error)) from None
    return network
