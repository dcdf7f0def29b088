"""What of a rig file can be edited in place, in words, and what a typed text makes of it."""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from typing import Any, Final

from auralize.rig.editing import RigDraft

START_LAYS: Final[dict[str, dict[str, str]]] = {
    "straight": {},
    "coiled": {"mean_diameter": "40 cm"},
    "split coils": {"mean_diameter": "40 cm", "distance": "1 m"},
    "figure of eight": {"lobe_length": "60 cm", "lobe_width": "30 cm"},
}
"""What another shape begins with, to be edited to what it is."""
_FIXED: Final = ("type", "at")
"""Keys of a load that would make it another load, or put it elsewhere."""


@dataclass(frozen=True)
class Field:
    """A place in the rig that can be edited, in words, and what stands there (None: nothing yet)."""

    words: str
    place: tuple[str, ...]
    value: Any

    @property
    def text(self) -> str:
        """The value as it would be typed; empty for nothing."""
        if isinstance(self.value, bool):
            return "true" if self.value else "false"
        return "" if self.value is None else str(self.value)


@dataclass(frozen=True)
class Change:
    """What was changed."""

    choice: str
    place: tuple[str, ...]
    value: Any

    @property
    def words(self) -> str:
        """The change as one clause."""
        value = self.value
        if isinstance(value, Mapping):
            value = ", ".join(f"{key} {inside}" for key, inside in value.items())
        return f"{self.choice}: {'.'.join(self.place)} is now {value}"


def fields_of(draft: RigDraft, choice: str) -> list[Field]:
    """What can be edited for a choice: its runs, their cables and lays, amplifier and load."""
    read = draft.rig.choices[choice]
    found: list[Field] = []
    for run in read.network.path(read.listen):
        found += _of_run(draft, choice, run)
    found += _in_table(draft, choice, ("amplifier",), "amplifier:")
    found += _in_table(draft, choice, ("loads", read.listen), f"{read.listen}:")
    return found


def _of_run(draft: RigDraft, choice: str, run: str) -> list[Field]:
    cable = draft.value(choice, ("runs", run, "cable"))
    places = {
        f"{run}: length": ("runs", run, "length"),
        f"{run}: cable": ("runs", run, "cable"),
        f"{cable}: conductor": ("cables", cable, "conductor"),
        f"{cable}: strands": ("cables", cable, "strands"),
        f"{run}: temperature": ("runs", run, "temperature"),
    }
    lay = ("runs", run, "lay")
    return [
        *(Field(words, place, draft.value(choice, place)) for words, place in places.items()),
        *(
            _in_table(draft, choice, lay, f"{run}: lay,")
            or [Field(f"{run}: lay, shape", (*lay, "shape"), "straight")]
        ),
    ]


def _in_table(draft: RigDraft, choice: str, place: tuple[str, ...], words: str) -> list[Field]:
    """All that a table gives as one value."""
    return [
        Field(f"{words} {key.replace('_', ' ')}", (*place, key), value)
        for key, value in (draft.value(choice, place) or {}).items()
        if isinstance(value, str | int | float) and key not in _FIXED
    ]


def edit(draft: RigDraft, choice: str, field: Field, text: str) -> Change:
    """Put what a typed text means in a field of a choice; raises AuralizeError and changes nothing."""
    place, value = field.place, typed(text, field.value)
    if place[-2:] == ("lay", "shape") and value in START_LAYS:
        place, value = place[:-1], {"shape": value, **START_LAYS[value]}
    draft.change(choice, place, value)
    return Change(choice, place, value)


def typed(text: str, before: Any) -> Any:
    """The value that a typed text means: of the kind that stood there before if it can be, else a text."""
    if isinstance(before, bool):
        return {"true": True, "false": False}.get(text, text)
    if isinstance(before, int | float):
        for number in (int, float):
            with suppress(ValueError):
                return number(text)
    return text
