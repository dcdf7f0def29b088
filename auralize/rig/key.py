"""What is said of a key of a rig file, and of a table of them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final, Literal

Need = Literal["", "*", "+"]
"""Needed: not, always, or one of those that are marked so."""


TOP: Final = "top"
"""What stands before all tables of a rig file."""


@dataclass(frozen=True)
class Key:
    """``takes`` is a quantity of `units`, or a kind of value; ``example`` is written as in TOML."""

    name: str
    takes: str
    example: str
    words: str = ""
    default: str = ""
    need: Need = ""
    among: tuple[str, ...] = ()
    """The texts that it may be, where these are a closed set."""


@dataclass(frozen=True)
class Section:
    """Keys of a table, or those that it has in one of its kinds only."""

    table: str
    """As it stands in a rig file, a name of one's own written as NAME."""
    words: str
    keys: tuple[Key, ...]

    @property
    def place(self) -> tuple[str, ...]:
        """Its dotted path."""
        return tuple(self.table.strip("[]").split(".")) if self.table else ()

    @property
    def word(self) -> str:
        """What its table is called: the first of its path."""
        return self.place[0] if self.place else TOP


def one_of(
    name: str, among: Iterable[str], default: str = "", words: str = "", need: Need = ""
) -> Key:
    """A text out of a closed set."""
    names = tuple(among)
    shown = default if default in names else names[0]
    return Key(name, "one of", f'"{shown}"', words, default, need, names)
