"""What is heard and how loud: choices, signals, conductors, matching; the keys for them."""

from __future__ import annotations

from dataclasses import replace

from textual import on

from auralize.circuit.signals import ACROSS_WORDS, Signal
from auralize.circuit.solution import ACROSS, Across
from auralize.errors import RequestError
from auralize.figures.curves import Curves
from auralize.figures.headlines import Headline, headline
from auralize.gains import INSTALLED, LOUDNESS, SOURCE, End, Match
from auralize.live.protocol import EngineLike
from auralize.live.sources import Feed
from auralize.rig.editing import RigDraft

from .bindings import HEARING
from .choice_list import ChoiceList
from .curves import drawn
from .player import PlayerScreen


class Hearing(PlayerScreen):
    """A player of the choices of a rig, and what it knows of each."""

    BINDINGS = HEARING

    def __init__(self, draft: RigDraft, source: Feed, engine: EngineLike) -> None:
        super().__init__(engine)
        self.draft, self.source = draft, source
        self._programme = 0
        """Which of the engine's programmes ``source`` is."""
        self.names = list(draft.rig.choices)
        self.chosen = self.names[0]
        self.signal: Signal | None = "receiving"
        """None: the source is heard."""
        self.match = INSTALLED
        self.across: Across = "both"
        self.figures: dict[str, Headline] = {}
        self.curves: dict[str, Curves] = {}

    def draw(self) -> None:
        """Show the choices as they are now."""
        raise NotImplementedError

    def solve(self, *names: str) -> None:
        """Work out figures and curves of these choices anew."""
        for name in names:
            choice = self.draft.rig.choices[name]
            self.figures[name], self.curves[name] = headline(choice), drawn(choice, self.across)

    def hear(self) -> None:
        """What is chosen; the drop over both conductors, and why, where it cannot be told over one."""
        if not self.signal:
            self.engine.hear(SOURCE)
            return
        heard = End(self.signal, self.chosen, self.across).plain
        try:
            self.draft.rig.choices[heard.choice].check_signal(heard.signal, heard.across)
            self.engine.hear(heard)
        except RequestError as error:
            self.say(f"{error}; the drop is heard {ACROSS_WORDS['both']}")
            self.across = "both"
            self.solve(*self.names)
            self.engine.hear(replace(heard, across="both"))

    @on(ChoiceList.Picked)
    def pick(self, event: ChoiceList.Picked) -> None:
        """Hear the choice that was clicked."""
        self.action_choose(event.number)

    def action_choose(self, number: int) -> None:
        """Hear another choice."""
        if number > len(self.names):
            self.say(f"There is no choice {number}: this rig has {len(self.names)}")
            return
        self.chosen = self.names[number - 1]
        self.signal = self.signal or "receiving"
        self.hear()
        self.draw()

    def action_hear(self, signal: Signal | None) -> None:
        """Hear another signal of the chosen choice, or (None) the source."""
        self.signal = signal
        self.hear()

    def action_across(self) -> None:
        """The drop over both conductors, over plus, over minus."""
        if self.signal != "drop":
            self.say(f"c is for the drop: {', '.join(ACROSS_WORDS.values())}")
            return
        self.across = ACROSS[(ACROSS.index(self.across) + 1) % len(ACROSS)]
        self.hear()
        self.solve(*self.names)
        self.draw()

    def action_match(self) -> None:
        """Next way of matching levels: as installed, in loudness, at the frequency of the figures."""
        level = Match.at(self.figures[self.chosen].reference_hz)
        self.match = {INSTALLED: LOUDNESS, LOUDNESS: level}.get(self.match, INSTALLED)
        self.engine.set_match(self.match)
