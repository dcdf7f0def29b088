"""Match, make-up and headroom: the one policy for files and for the bench.

- Match: each choice is brought to the source (in loudness, or in level at one frequency), all its
  signals alike; or everything stays as installed.
- Make-up: for the drops that are compared over the same conductors, in one of two ways. One figure in whole
  dB for all, so that they stay comparable in size: it brings the loudest up to the source, but no peak over
  the ceiling. Or a figure for each, so that all are equally loud: as loud as the source, or less where one of
  them would pass the ceiling or need more than `MOST_MAKEUP`.
- Headroom: one figure for everything that is compared, so that nothing passes the ceiling and no choice
  gets an advantage.

Silence can be neither matched nor made up: it gets 0 dB.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal

import numpy as np

from auralize.audio.metering import Level
from auralize.circuit.signals import Signal, signal_words, voltage
from auralize.circuit.solution import ACROSS, Across, solve
from auralize.errors import RequestError
from auralize.rig.choice import Choice
from auralize.units import amplitude, decibels, show_frequency

CEILING: Final = -1.0
"""dBTP that nothing passes, the usual limit for delivery (EBU R 128, value from memory)."""
MOST_MAKEUP: Final = 40.0
"""dB; make-up gain goes no further unless it was given as a figure."""
DROP_GATED_AFTER: Final = MOST_MAKEUP
"""dB of gain after which the loudness of a drop is gated: as installed, its softer half may lie under the
gate, and not once it is made up (2.8 LU of a drop of the demo at -67 LUFS)."""
LOWEST_MATCH, HIGHEST_MATCH = 10.0, 40_000.0
"""Hz between which levels can be matched at one frequency."""
KNOWN_MATCHES: Final = (
    f'"installed", "loudness", or a frequency from {show_frequency(LOWEST_MATCH)} to '
    f"{show_frequency(HIGHEST_MATCH)}"
)


@dataclass(frozen=True)
class Source:
    """The programme itself, as the amplifier gets it."""

    @property
    def words(self) -> str:
        return "source"


@dataclass(frozen=True)
class End:
    """One end of what a choice does, or the drop between the two."""

    signal: Signal
    choice: str
    across: Across = "both"
    """Which conductors the drop is over; of no matter at an end."""

    @property
    def plain(self) -> End:
        """Without what makes no difference to this signal."""
        return self if self.signal == "drop" else replace(self, across="both")

    @property
    def kind(self) -> str:
        """Without its choice, as in the name of a file: "drop", "drop-plus"."""
        bare = self.plain.across == "both"
        return self.signal if bare else f"{self.signal}-{self.across}"

    @property
    def words(self) -> str:
        return f"{signal_words(self.signal, self.across)} of {self.choice}"


Heard = Source | End
"""What can be heard."""
SOURCE: Final = Source()


@dataclass(frozen=True)
class Match:
    """How the choices are brought to the level of the source."""

    way: Literal["installed", "loudness", "level"]
    frequency: float = 0.0
    """Hz at which levels are matched; 0 in the other ways."""

    @classmethod
    def at(cls, frequency: float) -> Match:
        """By the level at a frequency in Hz."""
        return cls("level", float(frequency))

    @classmethod
    def of(cls, said: Match | str | float) -> Match:
        """What "installed", "loudness" or a frequency in Hz mean; raises RequestError for all else."""
        if isinstance(said, Match):
            return said
        if said in ("installed", "loudness"):
            return LOUDNESS if said == "loudness" else INSTALLED
        if isinstance(said, int | float) and LOWEST_MATCH <= said <= HIGHEST_MATCH:
            return cls.at(said)
        raise RequestError(f"match {said!r} was found; right is {KNOWN_MATCHES}")

    @property
    def words(self) -> str:
        """The same in print and on the screen."""
        if self.way == "level":
            return f"receiving ends matched at {show_frequency(self.frequency)}"
        installed = self.way == "installed"
        return "levels as installed" if installed else "receiving ends matched in loudness"

    @property
    def data(self) -> str | float:
        """For JSON: "installed", "loudness", or the frequency in Hz."""
        return self.frequency if self.way == "level" else self.way


INSTALLED: Final = Match("installed")
LOUDNESS: Final = Match("loudness")


DropsWay = Literal["one", "equal"]
"""How drops are made up: by one gain for all, or each by its own, so that they are equally loud."""


@dataclass(frozen=True)
class Gains:
    """dB applied to one signal; `total` is their sum."""

    match: float = 0.0
    makeup: float = 0.0
    headroom: float = 0.0

    @property
    def total(self) -> float:
        """dB between the signal on the line and the file, or the ear but for the volume."""
        return self.match + self.makeup + self.headroom


NO_GAIN: Final = Gains()


def balance(
    reference: float,
    compared: Mapping[Heard, Level],
    matches: Mapping[str, float],
    makeup: float | None,
    shared: Collection[Heard] | None = None,
    *,
    drops: DropsWay = "one",
) -> dict[Heard, Gains]:
    """The gains of all that is ``compared``, from levels before any gain.

    ``reference`` is the loudness of the source in LUFS; ``matches`` are dB by choice (see `match_gain`);
    ``makeup`` in dB, or None: chosen, is for ``drops`` at one. Only ``shared`` (None: all) count for the
    headroom.
    """
    matched = {heard: _matched(heard, matches) for heard in compared}
    made_up: dict[Heard, float] = {}
    for across in ACROSS:
        alike = [heard for heard in compared if _is_drop(heard, across)]
        levels = [(compared[heard], matched[heard]) for heard in alike]
        if drops == "equal":
            made_up |= zip(alike, equal_makeups(reference, levels), strict=True)
        else:
            figure = chosen_makeup(reference, levels) if makeup is None else makeup
            made_up |= dict.fromkeys(alike, figure)
    peaks = [
        level.peak * amplitude(matched[heard] + made_up.get(heard, 0.0))
        for heard, level in compared.items()
        if shared is None or heard in shared
    ]
    headroom = headroom_gain(peaks)
    return {h: Gains(matched[h], made_up.get(h, 0.0), headroom) for h in compared}


def _matched(heard: Heard, matches: Mapping[str, float]) -> float:
    return matches[heard.choice] if isinstance(heard, End) else 0.0


def _is_drop(heard: Heard, across: Across) -> bool:
    return isinstance(heard, End) and heard.signal == "drop" and heard.across == across


def chosen_makeup(reference: float, drops: Iterable[tuple[Level, float]]) -> float:
    """Whole dB, one figure for all ``drops``, each given with the gain in dB that it has already."""
    limits = [MOST_MAKEUP]
    silent = True
    for level, gain in drops:
        if level.peak > 0.0:
            silent = False
            limits.append(CEILING - decibels(level.peak) - gain)
            if math.isfinite(reference):
                limits.append(reference - level.loudness - gain)
    return 0.0 if silent else float(max(0, math.floor(min(limits))))


def equal_makeups(reference: float, drops: Sequence[tuple[Level, float]]) -> list[float]:
    """dB for each of ``drops``, given as for `chosen_makeup`, that make them equally loud; 0 dB for silence.

    They get as loud as the source, whatever that takes down; up no further than `chosen_makeup` goes.
    """
    audible = [(level, gain) for level, gain in drops if math.isfinite(level.loudness)]
    found = iter(
        equally_loud(
            [level.loudness + gain for level, gain in audible],
            [min(MOST_MAKEUP, CEILING - decibels(level.peak) - gain) for level, gain in audible],
            reference if math.isfinite(reference) else math.inf,
        )
    )
    return [next(found) if math.isfinite(level.loudness) else 0.0 for level, _ in drops]


def match_gain(match: Match, choice: Choice, reference: float, receiving: Level) -> float:
    """dB that match what arrives at the loudspeaker to the source, of loudness ``reference``."""
    if match.way == "installed":
        return 0.0
    if match.way == "loudness":
        return loudness_gain(reference, receiving.loudness)
    return level_gain(choice, match.frequency)


def loudness_gain(reference: float, measured: float) -> float:
    """dB that bring what was measured (LUFS) to the loudness of the reference; 0 dB for silence."""
    gain = reference - measured
    return gain if math.isfinite(gain) else 0.0


def level_gain(choice: Choice, frequency: float) -> float:
    """dB that bring the receiving end to the source's level at a frequency in Hz; 0 dB for silence."""
    solution = solve(choice.network, [frequency])
    level = decibels(float(np.abs(voltage(solution, choice.listen, "receiving")[0])))
    return -level if math.isfinite(level) else 0.0


def headroom_gain(peaks: Iterable[float], ceiling: float = CEILING) -> float:
    """dB, never above 0, that put the highest of some linear true peaks under a ceiling in dBTP."""
    return min(0.0, ceiling - decibels(max(peaks, default=0.0)))


def step(before: float, after: float) -> float:
    """dB by which the second of two loudnesses is above the first; without end from or to silence."""
    return 0.0 if before == after else after - before


def equally_loud(
    loudness: Sequence[float], most: Sequence[float], target: float = math.inf
) -> list[float]:
    """dB that bring signals of these loudnesses (LUFS) to one, with no more for each than its ``most``.

    That one is the ``target``, or what all can reach. Raises RequestError where one has no loudness.
    """
    if not all(math.isfinite(level) for level in loudness):
        raise RequestError(
            "what is to be compared is too quiet to have a loudness, so it cannot be made equally loud; "
            "take a longer run, a louder programme, or the receiving ends"
        )
    reached = [level + limit for level, limit in zip(loudness, most, strict=True)]
    common = min([target, *reached])
    return [common - level for level in loudness]
