"""Usual lays and sizes of a run, ready to be heard: what each assumes is said when it is taken."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from auralize.circuit.sizing import EVEN_GAUGES, METRIC_AREAS
from auralize.errors import RequestError, RigError
from auralize.rig.cables import ANY_SIZE
from auralize.rig.choice import Choice
from auralize.rig.document import Way
from auralize.rig.draft import Draft
from auralize.rig.fields import in_words
from auralize.rig.place_words import value_words
from auralize.units import gauge_area

# What nobody has measured on the day: common practice, no source. All of it is said, and can be edited.
_COIL: Final = {"mean_diameter": "40 cm"}
_APART: Final = {"shape": "split coils", **_COIL, "distance": "1 m"}
_POST: Final = {"diameter": "60 mm", "wall": "4 mm", "length": "1 m", "material": "mild steel"}
_LAYS: Final[dict[str, dict[str, Any]]] = {
    "straight": {"shape": "straight"},
    "coiled, both conductors together": {"shape": "coiled", **_COIL},
    "each conductor coiled by itself": dict(_APART),
    "each coiled by itself, a steel tube in the coil of plus": {**_APART, "iron": dict(_POST)},
}
_TWISTED: Final = "twisted pair of the same conductors, straight"
_KEPT: Final = ("conductor", "strands", "fill", "material", "insulation", "dielectric")
"""What a cable keeps when it is twisted."""


@dataclass(frozen=True)
class Preset:
    """What a run is made to be, in words, and the places that say so."""

    words: str
    run: str
    values: Mapping[Way, Any]


def lays_of(draft: Draft, choice: str) -> list[Preset]:
    """The usual lays of the longest run on the way to the loudspeaker."""
    run = _longest(draft.rig.choices[choice])
    lay: Way = ("runs", run, "lay")
    cable: Way = ("cables", draft.rig.choices[choice].runs[run].cable_name)
    found = [Preset(words, run, {lay: values}) for words, values in _LAYS.items()]
    given = draft.value(choice, cable) or {}
    twisted = {"construction": "twisted pair", **{k: given[k] for k in _KEPT if k in given}}
    straight = {lay: {"shape": "straight"}} if draft.value(choice, lay) else {}
    return [*found, Preset(_TWISTED, run, {cable: twisted, **straight})]


def sizes_of(draft: Draft, choice: str) -> list[Preset]:
    """The usual sizes of its conductors, the thinnest first."""
    run = _longest(draft.rig.choices[choice])
    cable: Way = ("cables", draft.rig.choices[choice].runs[run].cable_name)
    sizes = [(area, f"{area * 1e6:g} mm2", "class 5") for area in METRIC_AREAS]
    sizes += [(gauge_area(gauge), f"{gauge} AWG", ANY_SIZE) for gauge in EVEN_GAUGES]
    return [
        Preset(
            f"{size}, {strands}", run, {(*cable, "conductor"): size, (*cable, "strands"): strands}
        )
        for _, size, strands in sorted(sizes)
    ]


def take(draft: Draft, choice: str, preset: Preset) -> str:
    """Make the run so, in one step; what it is now and what was assumed, in words.

    Raises AuralizeError in the words of the screen, and changes nothing.
    """
    before = draft.rig
    try:
        draft.change_many(choice, preset.values)
    except RigError as error:
        raise in_words(error, draft) from None
    if draft.rig is before:
        return f"{choice}: the {preset.run} run was so already: {preset.words}"
    assumed = _assumed(draft.rig.choices[choice], preset)
    return f"{choice}: the {preset.run} run is now {preset.words}{assumed}"


def _assumed(choice: Choice, preset: Preset) -> str:
    run = choice.runs[preset.run]
    said = []
    lay = preset.values.get(("runs", preset.run, "lay"), {})
    if lay and lay["shape"] != "straight" and run.lay is not None:
        said.append(run.lay.words)
        said += [f"{key} {lay[key]}" for key in ("distance",) if key in lay]
        said += [f"tube of {value_words(lay['iron'])}"] if "iron" in lay else []
    if preset.words == _TWISTED:
        said += [note for note in choice.notes if note.startswith(f"cable {run.cable_name} ")]
    return f"; assumed: {'; '.join(said)}" if said else ""


def _longest(choice: Choice) -> str:
    """The longest run on the way to the loudspeaker; raises RequestError where there is none."""
    path = choice.network.path(choice.listen)
    if not path:
        raise RequestError(f"{choice.name} has no cable on the way to {choice.listen}")
    return max(path, key=lambda run: choice.network.runs[run].length)
