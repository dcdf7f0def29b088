"""What a choice says laid on the common part of a rig file."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final, cast

from auralize.rig.loads import FAULTS

# Where a choice gives one of these, what the common part gave of the other side is dropped.
_ALTERNATIVES: Final = (
    (("resistance",), ("damping_factor",)),
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


def common_part(data: Mapping[str, Any]) -> dict[str, Any]:
    """What all choices share."""
    return {key: value for key, value in data.items() if key not in ("title", "choices")}


_WHOLE: Final = {"runs": ("cable", "length"), "cables": ("construction",), "loads": ("type",)}
"""What a table that the common part has not must say at least."""


def misspelt(
    common: Mapping[str, Any], over: Mapping[str, Any]
) -> tuple[str, str, list[str]] | None:
    """A table and a name in it that a choice changes but the common part has not, and its names.

    None where all are there, or are whole ones of the choice's own.
    """
    for table, least in _WHOLE.items():
        known, changed = common.get(table), over.get(table)
        if not (isinstance(known, Mapping) and known and isinstance(changed, Mapping)):
            continue
        for name, inside in changed.items():
            if name not in known and isinstance(inside, Mapping) and not set(least) <= set(inside):
                return table, name, list(known)
    return None


def laid_on(
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
            laid_on(cast(Mapping[str, Any], below), value, (*place, key)) if both else value
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
