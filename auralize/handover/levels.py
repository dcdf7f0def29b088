"""The signals of choices, and how loud each is over a region: measured as the renderer measures."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from auralize.audio.metering import Level
from auralize.circuit.signals import over
from auralize.filters.fir import RunFilters
from auralize.filters.quality import check
from auralize.gains import SOURCE, DropsWay, End, Gains, Heard, Match, balance
from auralize.renderer.files import Designs
from auralize.renderer.parts import Part, Share, matches, meter_of
from auralize.renderer.passage import measured
from auralize.renderer.take import Take
from auralize.rig.choice import Choice


@dataclass(frozen=True)
class Measured:
    """A programme, and what choices make of it, before any gain."""

    source: Level
    parts: Sequence[Part]
    """Choice by choice: receiving end, drop over both conductors, and over each where they differ."""

    @property
    def ends(self) -> dict[End, Level]:
        return {part.heard: part.level for part in self.parts if isinstance(part.heard, End)}


def gains(
    every: Sequence[Measured], match: Match, makeup: float | None, drops: DropsWay
) -> dict[Heard, Gains]:
    """What each signal of the first gets, by the policy of files and bench.

    All count for headroom and make-up, as they do in the page: a choice at another step is another choice.
    """
    source = every[0].source
    levels: dict[Heard, Level] = {SOURCE: source}
    matched: dict[str, float] = {}
    for step, one in enumerate(every):
        for end, level in one.ends.items():
            levels[replace(end, choice=_named(end.choice, step))] = level
        for choice, gain in matches(one.parts, match, source.loudness).items():
            matched[_named(choice, step)] = gain
    found = balance(source.loudness, levels, matched, makeup, drops=drops)
    first: list[Heard] = [SOURCE, *every[0].ends]
    return {heard: found[heard] for heard in first}


def _named(choice: str, step: int) -> str:
    """A name that no choice can have, but for the first."""
    return f"{choice}\n{step}" if step else choice


def signals(take: Take, choices: Sequence[Choice], designs: Designs) -> list[Part]:
    """All that the page can let hear of these choices; raises DesignError."""
    parts = []
    for choice in choices:
        filters = designs.of(choice, take.info.rate)
        for heard in _heard(choice, filters):
            fir = filters.of(heard.signal, heard.across)
            what = f"choice {choice.name}, {heard.signal} signal{over(heard.signal, heard.across)}"
            check(what, fir.error)
            parts.append(Part(choice, heard, fir, meter_of(take)))
    return parts


def _heard(choice: Choice, filters: RunFilters) -> list[End]:
    """Drops over plus and over minus where a choice can tell them apart, and they differ."""
    apart = [] if filters.alike else [across for across in filters.drops if across != "both"]
    ends = [End("receiving", choice.name), End("drop", choice.name)]
    return [*ends, *(End("drop", choice.name, across) for across in sorted(apart, reverse=True))]


def measure_all(take: Take, parts: Sequence[Part], share: Share) -> Measured:
    """How loud the region is, and every signal of it, as `render` finds them."""
    return Measured(measured(take, parts, take.frames, share), parts)
