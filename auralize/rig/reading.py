"""The rig file: one installation and the choices to compare, read and checked into circuits.

A choice states only what differs from the common part: its tables are laid over those of the file.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

from auralize.errors import RigError
from auralize.rig.cables import read_cable
from auralize.rig.choice import Choice
from auralize.rig.loads import read_loads
from auralize.rig.overlay import common_part, laid_on
from auralize.rig.parts import (
    build_network,
    read_amplifier,
    read_listen,
    read_programme,
    read_run,
    read_transformers,
)
from auralize.rig.table import Table, dotted
from auralize.units import quoted

ONLY_CHOICE: Final = "as-described"
"""Name of the single choice in a rig file that lists none."""


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
        return laid_on(common_part(self.data), self.data.get("choices", {}).get(choice.name, {}))

    def changed(self, choice: Choice, values: Mapping[Any, Any]) -> Choice:
        """The choice with other values at some places (tuples of keys); raises RigError."""
        overlay: dict[str, Any] = dict(self.data.get("choices", {}).get(choice.name, {}))
        for place, value in values.items():
            for key in reversed(place):
                value = {key: value}
            overlay = laid_on(overlay, value)
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
    common = common_part(data)
    try:
        choices = {name: _read_choice(path, name, common, over) for name, over in overlays.items()}
    except RecursionError:
        raise RigError(f"{path}: choices: tables are nested too deeply") from None
    return Rig(path, title, choices, data)


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

    table = Table(laid_on(common, overlay), (), locate)
    label = table.text("label", name)
    amplifier, rating = read_amplifier(table)
    cables = table.tables("cables")
    run_tables = table.tables("runs")
    if "amplifier" in run_tables:
        raise run_tables["amplifier"].refuse(
            None, "a run cannot be called amplifier, as runs are fed from it; give it another name"
        )
    places = [*run_tables, *table.tables("transformers")]
    folder = path.parent
    read = {n: read_run(run, cables, places, folder) for n, run in run_tables.items()}
    for cable in cables.values():
        if not cable.asked:  # used by no run, but checked all the same
            read_cable(cable, 20.0, folder)
    runs = {n: run.run for n, run in read.items()}
    transformers, taps = read_transformers(table, list(run_tables))
    loads = read_loads(table, [*runs, *transformers], folder)
    listen = read_listen(table, loads)
    programme = read_programme(table)
    table.finish()
    network = build_network(table, amplifier, runs, transformers, loads)
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
