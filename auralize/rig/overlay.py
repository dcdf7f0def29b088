"""What a choice says laid on the common part of a rig file."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
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
_DROPS: Final[dict[str, tuple[str, ...]]] = {}
for _one, _other in _ALTERNATIVES:
    for _given, _dropped in ((_one, _other), (_other, _one)):
        for _key in _given:
            _DROPS[_key] = _DROPS.get(_key, ()) + _dropped
# A choice that changes one of these starts that table afresh.
_KINDS: Final = ("construction", "type", "shape")
# ... but for these, which say where it stands.
_PLACES: Final = ("at",)
# Where a fault takes a loudspeaker's place, what that was rated is kept.
_RATED: Final = ("nominal", "resistance")


def common_part(data: Mapping[str, Any]) -> dict[str, Any]:
    """What all choices share."""
    return {key: value for key, value in data.items() if key not in ("title", "choices")}


def changed_names(
    common: Mapping[str, Any], over: Mapping[str, Any]
) -> Iterator[tuple[str, str, list[str]]]:
    """Table and name of what a choice says of parts that the common part has not, and the names that are."""
    for table in ("runs", "cables", "loads", "transformers"):
        known, changed = common.get(table), over.get(table)
        if isinstance(known, Mapping) and isinstance(changed, Mapping):
            for name in changed:
                # What is named after a known part, with a word behind, is another one.
                if name not in known and not any(name.startswith(f"{one} ") for one in known):
                    yield table, name, list(known)


def laid_on(
    common: Mapping[str, Any], over: Mapping[str, Any], place: tuple[str, ...] = ()
) -> dict[str, Any]:
    """``over`` laid on ``common``, table by table; ``place`` is where."""
    merged = dict(common)
    if _has_keys(place):
        merged = _without_alternatives(merged, over)
    for key, value in over.items():
        below = merged.get(key)
        both = isinstance(value, Mapping) and isinstance(below, Mapping)
        merged[key] = (
            laid_on(cast(Mapping[str, Any], below), value, (*place, key)) if both else value
        )
    return merged


def said_otherwise(place: tuple[str, ...]) -> Iterator[tuple[str, ...]]:
    """The places that say the same as this one in another way, and go where this one is given."""
    *table, key = place
    if _has_keys(tuple(table)):
        yield from ((*table, dropped) for dropped in _DROPS.get(key, ()))


def _has_keys(place: tuple[str, ...]) -> bool:
    """Whether a table there has keys, not names."""
    return place == ("amplifier",) or len(place) == 2 or place[-1:] == ("lay",)


def _without_alternatives(common: Mapping[str, Any], over: Mapping[str, Any]) -> dict[str, Any]:
    """What is left of ``common`` where ``over`` says the same otherwise, or makes it another thing."""
    if any(kind in over and over[kind] != common.get(kind) for kind in _KINDS):
        kept = {k: v for k, v in common.items() if k in _PLACES}
        rated = [common[k] for k in _RATED if k in common]
        return kept | {"nominal": rated[0]} if rated and over.get("type") in FAULTS else kept
    gone = {dropped for key in over for dropped in _DROPS.get(key, ()) if dropped not in over}
    return {key: value for key, value in common.items() if key not in gone}
