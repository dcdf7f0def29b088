"""What lays leave open of the curves that are shown: worked out beside the screen, as coils take seconds."""

from __future__ import annotations

from collections.abc import Sequence
from threading import Thread
from typing import TYPE_CHECKING

from auralize.errors import AuralizeError
from auralize.figures.curves import Curves, curve_range

if TYPE_CHECKING:
    from auralize.circuit.solution import Across
    from auralize.rig.choice import Choice

Range = tuple[Curves, Curves] | None
"""The lowest and the highest levels."""


class Ranges:
    """One is worked out at a time, whatever is asked for meanwhile; the last of each choice is kept."""

    def __init__(self) -> None:
        self._found: dict[str, _Search] = {}
        self._search: _Search | None = None

    @property
    def searching(self) -> bool:
        """Whether one is being worked out, or is not taken yet."""
        return self._search is not None

    def of(self, choice: Choice, across: Across) -> Range:
        """As far as it is known by now."""
        search = self._found.get(choice.name)
        return search.found if search is not None and search.is_of(choice, across) else None

    def want(self, choices: Sequence[Choice], across: Across) -> None:
        """Begin with the first of these that is not known, unless another one is on its way."""
        if self._search is not None:
            return
        for choice in choices:
            known = self._found.get(choice.name)
            laid = any(run.lay is not None for run in choice.runs.values())
            if laid and not (known is not None and known.is_of(choice, across)):
                self._search = _Search(choice, across)
                self._search.start()
                return

    def take(self) -> bool:
        """Keep what has been found, if it has."""
        search = self._search
        if search is None or search.is_alive():
            return False
        self._found[search.choice.name], self._search = search, None
        return True


class _Search(Thread):
    """Not a worker of the screen's: quitting would wait for its end."""

    def __init__(self, choice: Choice, across: Across) -> None:
        super().__init__(daemon=True)
        self.choice, self.across = choice, across
        self.found: Range = None

    def run(self) -> None:
        """Work it out."""
        try:
            self.found = curve_range(self.choice, self.across)
        except (
            AuralizeError
        ):  # a drop that cannot be told: there is no curve that this would be about
            self.found = None

    def is_of(self, choice: Choice, across: Across) -> bool:
        """Whether it is about these."""
        return self.choice == choice and self.across == across
