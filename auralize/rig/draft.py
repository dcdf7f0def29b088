"""The text of a rig file and the rig that it says, changed step by step; `editing` has the file to it."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from pathlib import Path
from typing import Any

from auralize.errors import RequestError, RigError
from auralize.rig.choice import Choice
from auralize.rig.document import Way, copied, plain, removed, renamed, with_values
from auralize.rig.overlay import said_otherwise
from auralize.rig.reading import Rig, read_rig


class Draft:
    """What is held is always a text of a rig that reads without error."""

    def __init__(self, text: str, path: Path, *, files_anywhere: bool = False) -> None:
        self.path, self._anywhere = path, files_anywhere
        self._history: list[str] = []
        self._text, self.rig = text, self._checked(text)
        self._named = by_name(self.rig)
        """What each name and label was first said of."""

    @property
    def text(self) -> str:
        """The rig file as it would be saved."""
        return self._text

    def value(self, choice: str, place: Sequence[str]) -> Any:
        """What stands at ``place`` for a choice, its own laid on the common one; None for nothing."""
        return _at(self.rig.of(self.rig.choices[choice]), place)

    def edited(self, choice: str) -> bool:
        """Whether a choice is not any more what its name and label were given to: they may be untrue."""
        now = self.rig.choices[choice]
        first = self._named[choice, now.label]
        return first.fingerprint != now.fingerprint and first.content != now.content

    # ---- changes

    def change(self, choice: str | None, place: Way, value: Any) -> Rig:
        """Set ``place`` for one choice alone, or (None) for all; see `change_many`."""
        return self.change_many(choice, {tuple(place): value})

    def change_many(self, choice: str | None, values: Mapping[Way, Any]) -> Rig:
        """Set several places at one stroke, for one choice alone or (None) for all.

        For all, the common part says so, and no choice of its own; where that would not be the same for
        each, each says it. Raises RigError and changes nothing where the rig would no longer read.
        """
        names = list(self.rig.choices) if choice is None else [choice]
        if all(self.value(name, place) == v for name in names for place, v in values.items()):
            return self.rig
        others = [o for place in values for o in said_otherwise(place) if o not in values]
        if "choices" not in self.rig.data:
            return self._take(with_values(self._text, values, others))
        own = {("choices", n, *place): v for n in names for place, v in values.items()}
        own_others = [("choices", n, *place) for n in names for place in others]
        if choice is None:
            gone = [*others, *own, *own_others]
            if (text := self._commonly(values, gone)) is not None:
                return self._take(text)
        return self._take(with_values(self._text, own, own_others))

    def _commonly(self, values: Mapping[Way, Any], gone: Collection[Way]) -> str | None:
        """The text with the same in the common part, if it then holds for each choice."""
        try:
            text = with_values(self._text, values, gone)
            rig = self._checked(text)
        except RigError:
            return None
        holds = all(
            _at(rig.of(each), place) == value
            for each in rig.choices.values()
            for place, value in values.items()
        )
        return text if holds else None

    def copy(self, choice: str, name: str) -> Rig:
        """A choice of this name that says the same; raises RigError."""
        self._check_new(name)
        return self._take(copied(self._text, choice, name))

    def rename(self, choice: str, name: str) -> Rig:
        """Another name for a choice; raises RigError."""
        self._check_new(name)
        return self._take(renamed(self._text, choice, name))

    def remove(self, choice: str) -> Rig:
        """The rig without a choice; raises RigError for the last one."""
        if len(self.rig.choices) < 2:
            raise RequestError("the last choice stays; a rig has one at least")
        return self._take(removed(self._text, choice))

    def _check_new(self, name: str) -> None:
        if "choices" not in self.rig.data:
            raise RequestError("this rig lists no choices; write [choices.NAME] into it first")
        if name in self.rig.choices:
            raise RequestError(f"there is a choice {name!r}; right is a name of its own")

    def undo(self) -> bool:
        """Take the last change back; False where there is none."""
        if not self._history:
            return False
        self._hold(self._checked(self._history[-1]), self._history.pop())
        return True

    def _take(self, text: str) -> Rig:
        rig = self._checked(text)
        self._history.append(self._text)
        self._hold(rig, text)
        return rig

    def _hold(self, rig: Rig, text: str) -> None:
        self.rig, self._text = rig, text
        self._named = by_name(rig) | self._named

    def _checked(self, text: str) -> Rig:
        return read_rig(plain(text), self.path, files_anywhere=self._anywhere)


def by_name(rig: Rig) -> dict[tuple[str, str], Choice]:
    """The choices of a rig by what they are called: name and label."""
    return {(name, choice.label): choice for name, choice in rig.choices.items()}


def _at(data: Mapping[str, Any], place: Sequence[str]) -> Any:
    inside: Any = data
    for key in place:
        inside = inside.get(key) if isinstance(inside, Mapping) else None
    return inside
