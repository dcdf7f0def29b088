"""What is heard and how loud: choices, signals, conductors, matching; the keys for them."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from textual import on

from auralize.circuit.signals import ACROSS_WORDS, Signal
from auralize.circuit.solution import ACROSS, Across
from auralize.errors import RequestError
from auralize.figures.curves import Curves
from auralize.figures.headlines import Headline, headline
from auralize.gains import INSTALLED, LOUDNESS, MOST_MAKEUP, SOURCE, DropsWay, End, Heard, Match
from auralize.live.protocol import EngineLike
from auralize.rig.editing import RigDraft

from .bindings import HEARING
from .choice_list import ChoiceList
from .curves import drawn
from .kept import Kept
from .player import PlayerScreen


class Hearing(PlayerScreen):
    """A player of the choices of a rig, and what it knows of each."""

    BINDINGS = HEARING

    def __init__(self, draft: RigDraft, source: Path, engine: EngineLike) -> None:
        super().__init__(engine)
        self.draft, self.source = draft, source
        self.names = list(draft.rig.choices)
        self.chosen = self.names[0]
        self.signal: Signal | None = "receiving"
        """None: the source is heard."""
        self.match = INSTALLED
        self.drops: DropsWay = "one"
        self.makeup: float | None = None
        """dB that was set for drops at one gain; None: chosen."""
        self.across: Across = "both"
        self.figures: Kept[Headline] = Kept(lambda name: headline(draft.rig.choices[name]))
        self.curves: Kept[Curves] = Kept(lambda name: drawn(draft.rig.choices[name], self.across))

    def draw(self) -> None:
        """Show the choices as they are now."""
        raise NotImplementedError

    def solve(self, *names: str) -> None:
        """Work out figures and curves of these choices anew, as soon as they are shown."""
        self.figures.forget(*names)
        self.curves.forget(*names)

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
        self.set_levels()

    def action_drops(self) -> None:
        """Drops equally loud, or at one make-up gain; back to the chosen one where another was set."""
        if self.makeup is None:
            self.drops = "equal" if self.drops == "one" else "one"
        self.makeup = None
        self.set_levels()

    def action_makeup(self, steps: int) -> None:
        """One make-up gain for all drops, so much more than now."""
        status = self.engine.status()
        if self.drops == "equal":
            self.say("Drops are equally loud, each by a gain of its own; g gives all of them one")
        elif self.signal != "drop":
            self.say("+ and - are for the drop: its make-up gain")
        elif status.certainty == "unknown":
            self.say("The make-up gain is not yet known; try again when levels are measured")
        else:
            self.makeup = min(max(0.0, round(status.gains.makeup) + steps), MOST_MAKEUP)
            self.set_levels()

    def set_levels(self) -> None:
        """Have the engine match and make up as was chosen here, if it does otherwise."""
        status = self.engine.status()
        if status.match != self.match:
            self.engine.set_match(self.match)
        if status.makeup != self.makeup:
            self.engine.set_makeup(self.makeup)
        if status.drops != self.drops:
            self.engine.set_drops(self.drops)

    def steps(self) -> dict[Heard, float]:
        """dB by which what a key switches to would be louder than what is heard, where it is known."""
        signal = self.signal or "receiving"
        near: list[Heard] = [End(signal, name, self.across).plain for name in self.names]
        near += [SOURCE, End("receiving", self.chosen), End("drop", self.chosen, self.across)]
        now = self.engine.status().heard
        others = [one for one in dict.fromkeys(near) if one != now]
        found = zip(others, self.engine.steps(others), strict=True)
        return {heard: step for heard, step in found if step is not None}
