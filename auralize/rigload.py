"""The loads of a rig file: what hangs on the runs."""

from __future__ import annotations

from collections.abc import Mapping

from auralize.circuit import loudspeaker
from auralize.circuit.network import Connected, Run
from auralize.rigtable import Table


def read_loads(
    table: Table, runs: Mapping[str, Run]
) -> tuple[dict[str, Connected], dict[str, float]]:
    """Loads by name, and the rated impedance in ohm of each; raises RigError."""
    if "loads" not in table or not table.tables("loads"):
        raise table.refuse("loads", "no load is described; add a table [loads.NAME]")
    loads: dict[str, Connected] = {}
    nominal: dict[str, float] = {}
    for name, load in table.tables("loads").items():
        only_run = next(iter(runs)) if len(runs) == 1 else None
        at = load.one_of("at", ["amplifier", *runs], only_run)
        kind = load.one_of("type", ("resistor", "driver"))
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
