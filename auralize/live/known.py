"""What is known of the programme and the choices at one sample rate, and the gains that follow."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from auralize.audio.metering import Level
from auralize.errors import RequestError
from auralize.filters.fir import Fir, RunFilters
from auralize.filters.grid import predelay
from auralize.gains import (
    NO_GAIN,
    SOURCE,
    End,
    Gains,
    Heard,
    Source,
    balance,
    headroom_gain,
    match_gain,
    step,
)
from auralize.live.designer import designed
from auralize.live.measurer import RunLevels, SourceMeasured, predicted
from auralize.live.player import Voice
from auralize.live.slow_gains import SlowGains
from auralize.live.status import Certainty
from auralize.live.wanted import Wanted
from auralize.rig.choice import Choice
from auralize.units import amplitude


class Known:
    """Filters, levels and gains of all that is ``wanted``. Not for two threads at once."""

    def __init__(self, wanted: Wanted, rate: int) -> None:
        self.filters = {name: designed(choice, rate) for name, choice in wanted.choices.items()}
        self.source: SourceMeasured | None = None
        self.levels: dict[str, RunLevels] = {}
        self.gains: dict[Heard, Gains] = {}
        self._wanted, self._slow = wanted, SlowGains()
        self._straight = np.zeros(predelay(rate) + 1)
        """The source, as late as every filter is."""
        self._straight[-1] = 1.0

    # ---- asked

    @property
    def certainty(self) -> Certainty:
        """What the gains rest on."""
        if self.source is None:
            return "unknown"
        runs = self.levels.values()
        whole = self.source.level.measured and all(run.measured for run in runs)
        return "measured" if whole else "predicted"

    @property
    def longest(self) -> int:
        """Taps of the longest filter."""
        return max(
            len(self._straight), *(len(filters.drop.taps) for filters in self.filters.values())
        )

    def fir(self, heard: End) -> Fir:
        """The filter of an end."""
        return self.filters[heard.choice].of(heard.signal, heard.across)

    def gains_of(self, heard: Heard) -> Gains:
        """Its gains; before anything is known, a make-up that was given and the headroom it may need."""
        plain = heard if isinstance(heard, Source) else heard.plain
        return self.gains.get(plain) or self._unknown(heard)

    def _unknown(self, heard: Heard) -> Gains:
        """No programme passes full scale, so no drop passes the sum of what its taps make of that."""
        makeup = self._wanted.makeup
        if makeup is None:
            return NO_GAIN
        most = [float(np.abs(filters.drop.taps).sum()) for filters in self.filters.values()]
        headroom = headroom_gain([amplitude(makeup) * max(most, default=0.0)])
        is_drop = isinstance(heard, End) and heard.signal == "drop"
        return Gains(makeup=makeup if is_drop else 0.0, headroom=headroom)

    def level(self, heard: Heard) -> Level:
        """Before any gain; raises AuralizeError before anything is known of it."""
        if self.source is not None:
            if isinstance(heard, Source):
                return self.source.level
            if heard.choice in self.levels:
                found = self.levels[heard.choice].by_end(heard.choice).get(heard.plain)
                if found is not None:
                    return found
        raise RequestError("levels are still being measured; try again in a few seconds")

    def loudness(self, heard: Heard, total: float | None = None) -> float | None:
        """LUFS as it is heard but for the volume, at ``total`` dB (None: its gains); None: not known."""
        try:
            level = self.level(heard)
        except RequestError:
            return None
        return level.loudness + (self.gains_of(heard).total if total is None else total)

    def silent(self, heard: Heard) -> bool:
        """Whether it is known to have no loudness, so that nothing can be made of it by gain."""
        return self.loudness(heard) == -math.inf

    def step(self, before: Heard, after: Heard) -> float | None:
        """dB by which one will be louder than another; None: not known."""
        loudness, its = self.loudness(before), self.loudness(after)
        return None if loudness is None or its is None else step(loudness, its)

    def voice(
        self, heard: Heard, total: float | None = None, filters: RunFilters | None = None
    ) -> Voice:
        """``total``: its gain in dB; None: what its gains add up to. ``filters``: others than now."""
        gain = amplitude(self.gains_of(heard).total if total is None else total)
        if isinstance(heard, Source):
            return Voice(self._straight, gain)
        fir = filters.of(heard.signal, heard.across) if filters else self.fir(heard)
        return Voice(fir.taps, gain)

    def voices(self, heard: Sequence[Heard]) -> dict[Heard, Voice]:
        """Those of these that there are."""
        return {one: self.voice(one) for one in heard if self._wanted.knows(one)}

    # ---- told

    def rebalance(self) -> None:
        """Gains anew, from the levels that are known."""
        if self.source is None:
            return
        source, wanted = self.source.level, self._wanted
        matches = {
            name: match_gain(wanted.match, wanted.choices[name], source.loudness, levels.receiving)
            for name, levels in self.levels.items()
        }
        compared: dict[Heard, Level] = {SOURCE: source}
        for name, levels in self.levels.items():
            compared |= levels.by_end(name)
        self.gains = balance(source.loudness, compared, matches, wanted.makeup, drops=wanted.drops)

    def edit(self, choice: Choice, filters: RunFilters) -> None:
        """This choice is another one now; its levels are predicted from those before."""
        name = choice.name
        levels = self._predicted(choice)
        self._wanted.choices[name], self.filters[name] = choice, filters
        self.levels |= levels
        self.rebalance()

    def like(self, choice: Choice) -> str | None:
        """The name of a choice from which nothing but names and words differs, if one is known."""
        same = (n for n, c in self._wanted.choices.items() if c.content == choice.content)
        return next((name for name in same if name in self.filters), None)

    def adopt(self, choice: Choice, like: str) -> RunFilters:
        """This choice is just as another one; the filters of both."""
        name = choice.name
        self._wanted.choices[name], self.filters[name] = choice, self.filters[like]
        if like in self.levels:
            self.levels[name] = self.levels[like]
        self.rebalance()
        return self.filters[name]

    def forget(self, name: str) -> None:
        """There is no such choice any more."""
        for kept in (self._wanted.choices, self.filters, self.levels):
            kept.pop(name, None)
        self.rebalance()

    def measured_source(self, source: SourceMeasured, most: float | None = None) -> None:
        """So loud is the programme; what has not been measured is predicted from that.

        ``most``: dB that gains may change by at this time, and none unless one is far off; None: any.
        """
        before = self.gains
        self.source = source
        for name in self.filters:
            levels = self.levels.get(name)
            if levels is None or not levels.drop.measured:
                self.levels.pop(name, None)
                self.levels |= self._predicted(self._wanted.choices[name])
        self.rebalance()
        if most is not None:
            self.gains = self._slow.towards(before, self.gains, most)

    def measured_run(self, name: str, filters: RunFilters, levels: RunLevels) -> None:
        """So loud is a choice with these filters, which is of no interest if it has others now."""
        if self.filters.get(name) is filters:
            self.levels[name] = levels
            self.rebalance()

    def _predicted(self, choice: Choice) -> dict[str, RunLevels]:
        """By name; of nothing before the source is known."""
        if self.source is None:
            return {}
        before = self.levels.get(choice.name)
        levels = predicted(choice, self.source.energies, self.source.level, before)
        return {choice.name: levels}
