"""The analyser in place of the curves, and its keys."""

from __future__ import annotations

from typing import Final

from auralize.gains import SOURCE, End, Heard
from auralize.live.status import Status

from .analyser import AnalyserPanel
from .curves import CurvePanel
from .news import News
from .viewing import Viewing

PICTURES: Final = 10.5
"""A second, and looks at the engine; over a slow line a terminal may draw fewer."""
_OWN: Final = ("averaging", "hold", "freeze")
"""Actions of keys that there are only while the analyser is shown."""


class Analysing(Viewing):
    """What sounds can be looked at here, beside what the curves say."""

    def action_analyser(self) -> None:
        """Third octaves, then a fine line, then the curves again."""
        panel, curves = self.query_one(AnalyserPanel), self.query_one(CurvePanel)
        if not panel.display:
            panel.display, curves.display = True, False
            panel.show_as("thirds")
            self.say(
                "f: fast, slow, over the source; h: hold highest; k: keep; a: fine line",
                about="analyser",
            )
        elif panel.fineness == "thirds":
            panel.show_as("line")
            self.say("A fine line; a: the curves again", about="analyser")
        else:
            panel.display, curves.display = False, True
            self.query_one(News).answer("analyser")
        self.refresh_bindings()

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """No key that does nothing."""
        return action not in _OWN or self.query_one(AnalyserPanel).display

    def action_averaging(self) -> None:
        """Fast, slow; the same relative to the source."""
        self.query_one(AnalyserPanel).turn()

    def action_hold(self) -> None:
        """Hold the highest levels, or no more."""
        self.say(self.query_one(AnalyserPanel).hold())

    def action_freeze(self) -> None:
        """Keep a picture of what sounds now, or let it go."""
        self.say(self.query_one(AnalyserPanel).keep())

    def looked_at(self) -> list[Heard]:
        """Source, receiving end and drop of the chosen choice; or one signal of it and of those pinned."""
        others = [name for name in self.pinned if name != self.chosen]
        if not others:
            return [
                SOURCE,
                End("receiving", self.chosen),
                End("drop", self.chosen, self.across),
            ]
        signal = self.signal or "drop"
        ends = [End(signal, name, self.across) for name in (self.chosen, *others)]
        return [SOURCE, *(end.plain for end in ends)]

    def look_closely(self, status: Status) -> None:
        """The next picture, if the analyser is shown."""
        panel = self.query_one(AnalyserPanel)
        if not panel.display:
            return
        heard = status.heard.plain if isinstance(status.heard, End) else status.heard
        found = self.engine.spectrum([heard, *self.looked_at()], panel.fineness)
        panel.show(found, heard, self.names, blind=status.slot is not None)
