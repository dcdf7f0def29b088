"""Sounds frozen for a blind trial: no edit, measurement or other match reaches them any more."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from auralize.errors import RequestError
from auralize.gains import Heard, equally_loud
from auralize.live.designer import designed
from auralize.live.known import Known
from auralize.live.player import Voice
from auralize.live.wanted import Wanted
from auralize.rig.choice import Choice


@dataclass(frozen=True)
class Slot:
    """What something sounded like when it was frozen."""

    heard: Heard
    gain: float
    """dB"""
    choice: Choice | None
    """As it was; None for the source."""
    voice: Voice
    loudness: float | None
    """LUFS but for the volume; None: it was not known."""


class Slots:
    """Those that are loaded, and which of them is heard."""

    def __init__(self, loaded: Sequence[Slot] = (), number: int | None = None) -> None:
        self.loaded, self.number = loaded, number

    def load(self, slots: Sequence[Slot]) -> list[float]:
        """Have these; their gains in dB."""
        self.loaded = slots
        return [slot.gain for slot in slots]

    def pick(self, number: int) -> None:
        """Hear this one; raises RequestError."""
        if not 0 <= number < len(self.loaded):
            raise RequestError(
                f"slot {number} was asked for; {len(self.loaded)} are loaded, counted from 0"
            )
        self.number = number

    @property
    def heard(self) -> Slot | None:
        """None while listening openly."""
        return None if self.number is None else self.loaded[self.number]

    @property
    def longest(self) -> int:
        """Taps of the longest filter of any."""
        return max((len(slot.voice.taps) for slot in self.loaded), default=0)


def frozen(heard: Sequence[Heard], wanted: Wanted, known: Known, equal: bool) -> list[Slot]:
    """What these sound like now; ``equal``: all turned down to the loudness of the softest, drops too.

    Raises AuralizeError for what there is not, or has no loudness.
    """
    for one in heard:
        wanted.check(one)
    gains = [known.gains_of(one).total for one in heard]
    if equal:
        loudness = [known.level(one).loudness for one in heard]
        as_heard = [level + gain for level, gain in zip(loudness, gains, strict=True)]
        turned = equally_loud(as_heard, [0.0] * len(gains))
        gains = [gain + turn for gain, turn in zip(gains, turned, strict=True)]
    return [
        Slot(
            one,
            gain,
            wanted.choice_of(one),
            known.voice(one, gain),
            known.loudness(one, gain),
        )
        for one, gain in zip(heard, gains, strict=True)
    ]


def at_rate(slots: Sequence[Slot], known: Known, rate: int) -> list[Slot]:
    """The same at another sample rate, of which ``known`` is; takes a filter design for each."""
    moved = []
    for slot in slots:
        filters = designed(slot.choice, rate) if slot.choice else None
        moved.append(replace(slot, voice=known.voice(slot.heard, slot.gain, filters)))
    return moved
