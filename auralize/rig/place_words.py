"""A place in a rig file in the words of a screen: "length of the pond run"."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from auralize.rig.table import dotted

_TABLES: Final = {
    "runs": "run",
    "cables": "cable",
    "loads": "loudspeaker",
    "transformers": "transformer",
}
_KEYS: Final = {
    ("runs", "near"): "joint before",
    ("runs", "far"): "joint after",
    ("loads", "contact"): "contacts",
    ("loads", "reversed"): "plus and minus swapped at",
    ("loads", "coil_temperature"): "temperature of the voice coil",
}
"""What is not called as its key is."""
_WITHOUT_OF: Final = ("joint before", "joint after", "plus and minus swapped at")


def place_words(place: tuple[str, ...]) -> str:
    """``("runs", "pond", "lay", "shape")`` is the "shape of the lay of the pond run"."""
    if place == ("label",):
        return "label"
    if len(place) == 2 and place[0] == "amplifier":
        return f"{_key(*place)} of the amplifier"
    if len(place) > 2 and place[0] in _TABLES:
        table, name, *inside = place
        if inside[:1] in (["drivers"], ["ways"]) and len(inside) > 1:
            part = f"the {inside[1]} {'driver' if inside[0] == 'drivers' else 'way'}"
            keys = [_key(table, key) for key in reversed(inside[2:])] + [part]
        else:
            keys = [_key(table, inside[-1])] + [f"the {k}" for k in reversed(inside[:-1])]
        words = " of ".join(keys)
        joint = " " if words in _WITHOUT_OF else " of "
        return f"{words}{joint}the {name} {_TABLES[table]}"
    return dotted(place)


def value_words(value: Any) -> str:
    """A value as it is typed: yes and no, a table's keys with their values, the parts of a list."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, Mapping):
        return ", ".join(
            f"{key.replace('_', ' ')} {f'({value_words(v)})' if isinstance(v, Mapping) else value_words(v)}"
            for key, v in value.items()
        )
    if isinstance(value, list):
        return ", ".join(map(value_words, value))
    return "" if value is None else str(value)


def _key(table: str, key: str) -> str:
    return _KEYS.get((table, key), key.replace("_", " "))
