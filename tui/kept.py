"""What is found about names when it is asked for, and then kept: of 500 choices most are never looked at."""

from __future__ import annotations

from collections.abc import Callable
from typing import Generic, TypeVar

Found = TypeVar("Found")


class Kept(dict[str, Found], Generic[Found]):
    """A dictionary that finds out what is missing; `forget` what is not true any more."""

    def __init__(self, find: Callable[[str], Found]) -> None:
        super().__init__()
        self._find = find

    def __missing__(self, name: str) -> Found:
        found = self[name] = self._find(name)
        return found

    def forget(self, *names: str) -> None:
        """Find these out anew the next time that they are asked for."""
        for name in names:
            self.pop(name, None)
