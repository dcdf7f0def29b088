"""Ways through many choices: the next one, by name, two pinned to be compared; and the card of one."""

from __future__ import annotations

from pathlib import Path
from typing import Final

from auralize.live.protocol import EngineLike
from auralize.live.sources import Feed
from auralize.rig.editing import RigDraft

from .bindings import VIEWING
from .card import CardScreen
from .choice_list import PINS
from .facts_line import FactsLine
from .finding import FindScreen
from .news import News
from .plain import is_plain
from .working import Working

_PINNED: Final = len(PINS)


class Viewing(Working):
    """What is worked on can be looked through and compared here."""

    BINDINGS = VIEWING

    def __init__(self, draft: RigDraft, source: Feed, engine: EngineLike, log_folder: Path) -> None:
        super().__init__(draft, source, engine, log_folder)
        self.pinned: list[str] = []
        """Names of the two at most that are compared, the one pinned first in front."""
        self._before = self.chosen

    def action_choose(self, number: int) -> None:
        """Hear another choice; the one before can be gone back to."""
        before = self.chosen
        super().action_choose(number)
        if self.chosen != before:
            self._before = before

    def _choose(self, name: str) -> None:
        self.action_choose(self.names.index(name) + 1)

    def action_step(self, steps: int) -> None:
        """Hear the choice before or after, of the first and last no other."""
        at = self.names.index(self.chosen) + steps
        if 0 <= at < len(self.names):
            self.action_choose(at + 1)
        else:
            self.say(f"{self.chosen} is the {'last' if steps > 0 else 'first'} choice")

    def action_find(self) -> None:
        """Pick a choice by a part of its name."""
        labels = {name: choice.label for name, choice in self.draft.rig.choices.items()}
        self.app.push_screen(FindScreen(labels), self._picked_by_name)

    def _picked_by_name(self, name: str | None) -> None:
        if name in self.names:
            self._choose(name)

    def action_pin(self) -> None:
        """Pin the chosen choice, or let it go; a third takes the place of the first."""
        if self.chosen in self.pinned:
            self.pinned.remove(self.chosen)
            self.say(f"{self.chosen} is not pinned any more")
        else:
            gone = self.pinned[: len(self.pinned) - _PINNED + 1]
            self.pinned = [*self.pinned[len(gone) :], self.chosen]
            instead = f" in place of {gone[0]}" if gone else ""
            self.say(f"{self.chosen} is pinned{instead}; Tab hears the other one")
        self.draw()

    def action_other(self) -> None:
        """Hear the other of the two pinned; of one alone, it and the choice before in turn."""
        self.pinned = [name for name in self.pinned if name in self.names]
        others = [name for name in self.pinned if name != self.chosen]
        if not self.pinned:
            self.say("No choice is pinned: p pins the one that is heard, Tab then comes back to it")
        elif others:
            self._choose(others[0])
        elif self._before in self.names:
            self._choose(self._before)

    def action_card(self) -> None:
        """Drawing, facts, cautions and ranges of the chosen choice; all news."""
        choice = self.draft.rig.choices[self.chosen]
        line, news = self.query_one(FactsLine), self.query_one(News).all_of_it()
        taken = self.signal, self.across
        self.app.push_screen(
            CardScreen(
                choice,
                self.label(choice.name),
                taken,
                lambda: line.told(choice),
                news,
                plain=is_plain(),
            )
        )

    def action_seen(self) -> None:
        """Take away the first of the news that wait."""
        self.query_one(News).seen()
