"""What sounds now and, at the same moment, what would sound through other filters: levels over frequency.

A thread of its own takes the blocks that the audio callback has made from its tap, puts their source through
the filter of everything that is looked at, and analyses what comes of it beside what was played. It works
when it is asked (`Analysis.look`) and not otherwise; asked no more for a second, it lets the tap go.
"""

from __future__ import annotations

import threading
import time
from collections import deque
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from auralize.audio.analyser import Analyser, Fineness, Readings
from auralize.audio.convolver import Convolver
from auralize.gains import SOURCE, Heard, Source
from auralize.live.player import Player, Voice
from auralize.live.tap import Tap, Tapped
from auralize.units import decibels

MOST_HEARD: Final = 4
"""Signals that are analysed besides the source, which bounds the cost."""
PATIENCE: Final = 1.0
"""s without a question after which nothing is copied any more."""
STALE: Final = 0.5
"""s without blocks, as no device takes any, after which there is no picture."""
HISTORY: Final = 3.0
"""s that are kept, so that what is newly looked at is known at once, also averaged slowly."""
_AT_ONCE: Final = 16
"""Blocks analysed in a row: short, so that no other thread waits long."""
LEAST_SOURCE: Final = -110.0
"""dBFS in a band, before any gain; nothing is told relative to a source that is softer."""

Real = NDArray[np.float64]
Voices = Mapping[Heard, Voice]


@dataclass(frozen=True, eq=False)
class Spectrum:
    """Levels in dB, of one moment, at ``frequencies`` in Hz; each (bands,)."""

    fineness: Fineness
    frequencies: Real
    played: Readings
    """dBFS of what left for the device."""
    bare: Mapping[Heard, Readings]
    """dBFS of the source and of what was looked at, before any gain."""
    gains: Mapping[Heard, float]
    """dB that each is or would be heard with: match, make-up, headroom and volume."""
    position: float | None
    """s in the programme; None: nothing is playing."""
    lost: int
    """Blocks that could not be analysed since the tap was opened, as there was no time."""

    def as_heard(self, heard: Heard) -> Readings:
        """dBFS of what would leave for the device if this were heard."""
        bare, gain = self.bare[heard], self.gains[heard]
        return Readings(bare.fast + gain, bare.slow + gain, bare.highest + gain)

    def re_source(self, heard: Heard) -> Readings:
        """dB relative to the source, without gains: what the run does to what is playing.

        Not a number where the source is silent. The highest levels of two signals may be of different
        moments, so there are none of these.
        """
        mine, source = self.bare[heard], self.bare[SOURCE]
        fast, slow = (
            np.where(its > LEAST_SOURCE, own - its, np.nan)
            for own, its in ((mine.fast, source.fast), (mine.slow, source.slow))
        )
        return Readings(fast, slow, np.full_like(fast, np.nan))


class _Chain:
    """Source and played blocks through filters into an analyser."""

    def __init__(self, player: Player, voices: Voices, fineness: Fineness) -> None:
        rate, channels = player.setup.rate, player.setup.channels
        self.voices, self.fineness = voices, fineness
        longest = max(len(voice.taps) for voice in voices.values())
        impulses = np.zeros((len(voices), longest))
        for row, voice in zip(impulses, voices.values(), strict=True):
            row[: len(voice.taps)] = voice.taps
        self._convolver = Convolver(impulses, channels, player.block)
        self._deaf = -(-longest // player.block) * player.block
        self._at_once = _AT_ONCE * player.block
        self.analyser = Analyser(rate, len(voices) + 1, channels, player.block, fineness)

    def does(self, voices: Voices, fineness: Fineness) -> bool:
        """Whether these are its filters; gains may differ."""
        mine = self.voices
        return (
            fineness == self.fineness
            and list(voices) == list(mine)
            and all(voices[heard].taps is mine[heard].taps for heard in voices)
        )

    def feed(self, source: Real, played: NDArray[np.float32]) -> None:
        """(frames, channels) of either; what is heard before the filters are full is passed over."""
        for start in range(0, len(source), self._at_once):
            part = slice(start, start + self._at_once)
            wet = self._convolver.process(source[part])
            signals = np.concatenate([wet, played[None, part]])
            skipped = min(self._deaf, signals.shape[1])
            self._deaf -= skipped
            if skipped < signals.shape[1]:
                self.analyser.feed(signals[:, skipped:])


class Analysis:
    """`look` is for a screen.

    ``voices``, called with the lock held, tells the filters and gains of what is looked at; None: nothing may
    be told now.
    """

    def __init__(
        self,
        player: Player,
        lock: threading.Lock,
        voices: Callable[[Sequence[Heard]], Voices | None],
    ) -> None:
        self._player, self._lock, self._voices = player, lock, voices
        self._tap: Tap | None = None
        self._wanted: tuple[tuple[Heard, ...], Fineness] = ((), "thirds")
        self._picture: Spectrum | None = None
        self._chain: _Chain | None = None
        self._history: deque[Tapped] = deque()
        self._lost = 0
        self._came = 0.0  # time.monotonic of the last blocks
        self._closing = False
        self._wake = threading.Event()
        self.thread = threading.Thread(target=self._work, name="analysis", daemon=True)
        self.thread.start()

    def look(self, heard: Sequence[Heard], fineness: Fineness) -> Spectrum | None:
        """The newest picture; asks for the next one, with these in it.

        None until there is one, and while nothing may be told: of what is heard blind.
        """
        plain = [one if isinstance(one, Source) else one.plain for one in heard]
        others = tuple(dict.fromkeys(one for one in plain if one != SOURCE))
        self._wanted = ((SOURCE, *others[:MOST_HEARD]), fineness)
        with self._lock:
            if self._tap is None and self._voices(()) is not None:
                setup = self._player.setup
                self._tap = Tap(self._player.block, setup.channels, setup.rate)
                self._player.tap = self._tap
        self._wake.set()
        return self._picture

    def shut(self) -> None:
        """Take the tap away, and forget what came from it."""
        self._player.tap = self._tap = None
        self._picture = None
        self._wake.set()

    def close(self) -> None:
        """End soon."""
        self._closing = True
        self.shut()

    def _work(self) -> None:
        tap = None
        while not self._closing:
            asked = self._wake.wait(PATIENCE if self._tap else None)
            self._wake.clear()
            if not asked:
                self.shut()
            if tap is not self._tap:
                tap, self._chain, self._lost = self._tap, None, 0
                self._history.clear()
            if tap is not None and not self._closing:
                self._take(tap)

    def _take(self, tap: Tap) -> None:
        """All that has come since the last time, and a picture of how it stands now."""
        heard, fineness = self._wanted
        with self._lock:
            voices = self._voices(heard)
        tapped = tap.read() if voices is not None else None
        if voices is None or tapped is None or not len(tapped.source):
            if time.monotonic() - self._came > STALE:
                self._picture = None
            return
        self._came = time.monotonic()
        if tapped.lost:
            self._lost += tapped.lost
            self._chain = None
            self._history.clear()
        if self._chain is None or not self._chain.does(voices, fineness):
            self._chain = _Chain(self._player, voices, fineness)
            for earlier in self._history:
                self._chain.feed(earlier.source, earlier.played)
        self._chain.feed(tapped.source, tapped.played)
        self._keep(tapped)
        picture = self._drawn(self._chain, voices, tapped)
        if self._tap is tap:
            self._picture = picture

    def _keep(self, tapped: Tapped) -> None:
        self._history.append(tapped)
        frames = sum(len(one.source) for one in self._history)
        while frames - len(self._history[0].source) > HISTORY * self._player.setup.rate:
            frames -= len(self._history.popleft().source)

    def _drawn(self, chain: _Chain, voices: Voices, tapped: Tapped) -> Spectrum:
        found = chain.analyser.readings()
        rows = [Readings(*row) for row in zip(found.fast, found.slow, found.highest, strict=True)]
        rate = self._player.setup.rate
        return Spectrum(
            fineness=chain.fineness,
            frequencies=chain.analyser.frequencies,
            played=rows[-1],
            bare=dict(zip(voices, rows, strict=False)),
            gains={h: decibels(voice.gain * tapped.volume) for h, voice in voices.items()},
            position=None if tapped.frame is None else tapped.frame / rate,
            lost=self._lost,
        )
