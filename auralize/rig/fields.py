"""What of a rig file can be edited in place, in words, and what a typed text makes of it."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from typing import Any, Final

from auralize.errors import AuralizeError, RigError
from auralize.rig.draft import Draft
from auralize.rig.key import Key
from auralize.rig.keys import declared
from auralize.rig.overlay import said_otherwise
from auralize.rig.place_words import place_words, value_words
from auralize.rig.table import keys_seen

START_LAYS: Final[dict[str, dict[str, str]]] = {
    "straight": {},
    "coiled": {"mean_diameter": "40 cm"},
    "split coils": {"mean_diameter": "40 cm", "distance": "1 m"},
    "figure of eight": {"lobe_length": "60 cm", "lobe_width": "30 cm"},
}
"""What another shape begins with, to be edited to what it is."""
_FIXED: Final = ("type", "at", "from", "like", "count", "along", "through")
"""Keys that would make it another part, or put it elsewhere."""
_TABLES: Final = ("lay", "iron", "second", "drivers", "ways")
"""Tables whose keys are edited one by one."""
_USUAL: Final = (
    "label",
    "strands",
    "temperature",
    "near",
    "far",
    "shape",
    "iron",
    "contact",
    "reversed",
    "coil_temperature",
)
"""What is offered though it is not given."""
_LABEL: Final = Key(
    "label", "text", '"2.5 mm2 twin, off its reel"', "what it is, in words", "its name"
)
_YES_NO: Final = {"yes": True, "true": True, "no": False, "false": False}


@dataclass(frozen=True)
class Field:
    """A place in the rig that can be edited, and what stands there (None: nothing yet)."""

    place: tuple[str, ...]
    value: Any
    key: Key | None = None
    """What is known of it."""
    among: tuple[str, ...] = ()
    """What it may be, where that is a closed set."""

    @property
    def words(self) -> str:
        """What it is called on the screen."""
        return place_words(self.place)

    @property
    def text(self) -> str:
        """The value as it would be typed; what holds where nothing is given, or nothing."""
        if self.value is None and self.key and self.key.default in self.key.among:
            return self.key.default
        return value_words(self.value)

    @property
    def hint(self) -> str:
        """What it takes, and an example."""
        if self.among:
            return f"one of: {', '.join(self.among)}"
        if self.key is None:
            return ""
        if self.key.takes == "true or false":
            return "yes or no"
        example = value_words(tomllib.loads(f"e = {self.key.example}")["e"])
        takes = ", ".join(word for word in (self.key.takes, self.key.words) if word)
        return f"{takes}; such as {example}"


@dataclass(frozen=True)
class Change:
    """What was changed, of one choice or (None) of all."""

    choice: str | None
    place: tuple[str, ...]
    value: Any
    made: bool = True
    """False where it was so already."""

    @property
    def words(self) -> str:
        """The change as one clause."""
        whose = "all choices" if self.choice is None else self.choice
        already = "is now" if self.made else "was so already:"
        return f"{whose}: {place_words(self.place)} {already} {value_words(self.value)}"


def fields_of(draft: Draft, choice: str, *, every: bool = False) -> list[Field]:
    """What can be edited for a choice: its runs, their cables and lays, amplifier and load.

    What is not given is offered where it is usual, or all of it where ``every`` key is asked for.
    """
    read = draft.rig.choices[choice]
    with keys_seen() as seen:
        draft.rig.changed(read, {})
    places: list[tuple[str, ...]] = []
    for run in read.network.path(read.listen):
        places += [("runs", run), ("runs", run, "lay"), ("cables", read.runs[run].cable_name)]
    places = list(dict.fromkeys([*places, ("amplifier",), ("loads", read.listen)]))
    cables = tuple(draft.rig.data.get("cables", {}))
    found = []
    for place in places:
        data = draft.value(choice, place) or {}
        for field in _in_table(place, data, seen, every):
            among = cables if field.place[-1] == "cable" else field.key.among if field.key else ()
            found.append(Field(field.place, field.value, field.key, among))
    if "choices" in draft.rig.data:
        found.append(Field(("label",), draft.value(choice, ("label",)), _LABEL))
    return found


def _in_table(
    place: tuple[str, ...], data: Mapping[str, Any], seen: Mapping[Any, set[str]], every: bool
) -> Iterator[Field]:
    """What a table gives, then what it may give."""
    for key, value in data.items():
        if isinstance(value, Mapping) and (key in _TABLES or place[-1] == "drivers"):
            if key != "lay":  # stands by itself
                yield from _in_table((*place, key), value, seen, every)
        elif key not in _FIXED:
            yield Field((*place, key), value, _key_of((*place, key)))
    otherwise = {o[-1] for key in data for o in said_otherwise((*place, key))}
    for key in sorted(seen.get(place, set()) - set(data) - otherwise - {*_FIXED, "lay"}):
        known = _key_of((*place, key))
        chained = place[0] == "loads" and key == "spacing"
        if known and not chained and (every or key in _USUAL):
            yield Field((*place, key), None, known)


def _key_of(place: tuple[str, ...]) -> Key | None:
    """What is known of a key; of a driver of a crossover, what is known of drivers."""
    table, name = place[:-1], place[-1]
    if "drivers" in table:
        table = table[:2]
    return next((key for key in declared(table) if key.name == name), None)


def edit(draft: Draft, choice: str | None, field: Field, text: str) -> Change:
    """Put what a typed text means in a field of a choice, or (None) of all.

    Raises AuralizeError, in the words of the screen, and changes nothing.
    """
    place, before = field.place, draft.rig
    try:
        value = typed(text, field)
        if text == field.text and choice is not None:
            return Change(choice, place, value, made=False)
        if place[-2:] == ("lay", "shape") and value in START_LAYS:
            place, value = place[:-1], {"shape": value, **START_LAYS[value]}
        draft.change(choice, place, value)
    except RigError as error:
        raise in_words(error, draft, place) from None
    return Change(choice, place, value, made=draft.rig is not before)


def in_words(error: RigError, draft: Draft, place: tuple[str, ...] = ()) -> AuralizeError:
    """A refusal in the words of the screen: which field, what was found, what would be right."""
    about = error.place[2:] if error.place[:1] == ("choices",) else error.place
    if error.sentence:
        return RigError(f"{place_words(about or place)}: {error.sentence}")
    return RigError(str(error).removeprefix(f"{draft.path}: "))


def typed(text: str, field: Field) -> Any:
    """The value that a typed text means: of the kind that the field takes if it can be, else a text.

    Raises RigError for what is neither yes nor no where one of them is right.
    """
    before, takes = field.value, field.key.takes if field.key else ""
    if isinstance(before, bool) or takes == "true or false":
        return _yes_or_no(text, field.place)
    if isinstance(before, int | float) or takes in ("number", "whole number"):
        for number in (int, float):
            with suppress(ValueError):
                return number(text)
    if isinstance(before, list) or takes == "list":
        return [part.strip() for part in text.split(",")]
    names = ("plus", "minus") if takes == "resistance" else _names_in(field.place)
    if takes == "table" or isinstance(before, Mapping) or re.match(r"(plus|minus) ", text):
        return _table(text, names)
    return text


def _yes_or_no(text: str, place: tuple[str, ...]) -> bool:
    if text.casefold() not in _YES_NO:
        error = RigError(f"{place_words(place)}: {text!r} was found; right is yes or no")
        error.place, error.sentence = place, f"{text!r} was found; right is yes or no"
        raise error
    return _YES_NO[text.casefold()]


def _names_in(place: tuple[str, ...]) -> Sequence[str]:
    """The keys of a table at a place."""
    where = (*place[:-1], "iron") if place[-1] == "iron" else place[:-1]
    return [key.name for key in declared(where)]


def _table(text: str, names: Sequence[str]) -> Any:
    """``diameter 60 mm, length 1 m`` as a table; the text itself where it is none."""
    found: dict[str, Any] = {}
    for part in text.split(","):
        words = part.strip()
        name = next((n for n in names if words.startswith(f"{n.replace('_', ' ')} ")), None)
        if name is None:
            return text
        value: Any = words[len(name) + 1 :].strip()
        with suppress(ValueError):
            value = float(value)
        found[name] = value
    return found
