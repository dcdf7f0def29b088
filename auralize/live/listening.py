"""The listening desk without its device: what is heard, level match, edits, and the threads for them.

`Desk.render` is for the audio callback (or for whoever wants to know what would be played). All other
methods return at once and may be called from any thread.
"""

from __future__ import annotations

import math
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Final, Literal

import numpy as np

from auralize.audio.loudness import ABSOLUTE_GATE
from auralize.errors import RequestError
from auralize.filters.fir import RunFilters, design_run, predelay
from auralize.live.measurer import (
    SOURCE,
    Heard,
    Level,
    Measurer,
    RunLevels,
    SourceMeasured,
    balance,
    match_gain,
    predicted,
)
from auralize.live.player import (
    Entry,
    Grow,
    Output,
    Player,
    Setup,
    SoftStart,
    Switch,
    Voice,
    Volume,
    enough_taps,
    most_taps,
    shortened,
)
from auralize.live.remembered import LOWEST_VOLUME
from auralize.live.transport import Programme, Transport
from auralize.render import MOST_MAKEUP, Gains, Match
from auralize.rig.choice import Choice
from auralize.units import amplitude, decibels

Certainty = Literal["unknown", "predicted", "measured"]
EventKind = Literal["device", "fault", "edit", "programme", "underrun"]

START_VOLUME: Final = -20.0
"""dB; where nothing else is remembered."""
NO_GAIN: Final = Gains(0.0, 0.0, 0.0)
SAME_GAIN: Final = 1e-4
"""Relative: a change of gain under 0.001 dB is not worth a cross-fade."""
DESIGN_LIMIT: Final = 2.0
"""s that the design of a filter is waited for; it takes 0.03."""
RETRY: Final = 0.003
"""s between two looks whether the switch under way is done."""


@dataclass(frozen=True)
class Event:
    """Something to be told: one line, with what to do about it."""

    kind: EventKind
    text: str


@dataclass
class Wishes:
    """All that was chosen; it outlives a change of sample rate."""

    choices: dict[str, Choice]
    heard: Heard = SOURCE
    match: Match = "installed"
    makeup: float | None = None
    """dB; None: chosen."""
    volume: float = START_VOLUME
    """dB"""


@dataclass(frozen=True)
class DeskStatus:
    """How things are; a snapshot."""

    position: float
    """s"""
    length: float
    """s"""
    playing: bool
    ended: bool
    loop: tuple[float, float] | None
    """s"""
    heard: Heard
    """What was last chosen to be heard openly; slots do not show here."""
    slot: int | None
    """The slot that is heard; None while listening openly."""
    match: Match
    gains: Gains
    """Of ``heard``."""
    certainty: Certainty
    """What the gains rest on."""
    filter_error: float
    """dB: largest error of the filter of ``heard`` relative to the response."""
    volume: float
    """dB"""
    peak_dbfs: float
    """Of what was played last; -inf while a slot is heard, as it could tell which one."""
    rms_dbfs: float
    limiting: bool
    editing: bool
    """True while a filter is being designed."""
    switches: int
    starved: int
    """Blocks of the programme that came too late from disk."""


@dataclass(frozen=True)
class _Sound:
    """A voice, and which wish it fulfils."""

    voice: Voice
    wish: int


@dataclass
class _Known:
    """What has been found out about the programme and the choices, at one sample rate."""

    filters: dict[str, RunFilters]
    source: SourceMeasured | None = None
    levels: dict[str, RunLevels] = field(default_factory=dict)
    gains: dict[Heard, Gains] = field(default_factory=dict)


class Desk:
    """A programme and the choices of a rig at one sample rate, ready to be heard.

    Raises AudioFileError and DesignError. ``tell`` is called from several threads.
    """

    def __init__(
        self,
        source: Path,
        rate: int,
        wishes: Wishes,
        tell: Callable[[Event], None],
        position: float = 0.0,
        *,
        journal: list[Entry] | None = None,
    ) -> None:
        self.rate, self.wishes, self.tell = rate, wishes, tell
        designed = {name: self._design(choice) for name, choice in wishes.choices.items()}
        self._known = _Known(designed)
        # What cannot change at a given rate: the source, as late as every filter is.
        self._straight = np.zeros(predelay(rate) + 1)
        self._straight[-1] = 1.0
        self.transport = Transport(Programme(source, rate), round(position * rate))
        self.channels = self.transport.channels
        self._lock = threading.Lock()
        self._slots: list[Voice] = []
        self._loaded: list[tuple[Heard, float, Choice | None]] = []
        """What the slots were made of: with gains in dB, and choices as they were."""
        self._slot: int | None = None
        self._wish = 0
        self._sounding = _Sound(self._voice(wishes.heard), 0)
        taps = enough_taps(rate, self._longest())
        setup = Setup(rate, self.channels, taps, self._sounding.voice, amplitude(wishes.volume))
        self.player = Player(setup, self.transport.take, journal)
        self.journal = journal
        self.waiting: dict[str, Choice] = {}
        """Edits that are not designed yet."""
        self._designing = False
        self._closing = False
        self._wake, self._wake_designer = threading.Event(), threading.Event()
        self._threads = [
            threading.Thread(target=work, name=work.__name__, daemon=True)
            for work in (self._keep_sounding, self._keep_designing)
        ]
        for thread in self._threads:
            thread.start()
        self._measurer = Measurer(
            source, rate, self._source_measured, self._run_measured, self._measuring_failed
        )
        for name, filters in designed.items():
            self._measurer.want(name, filters)

    def close(self) -> None:
        """End all threads soon."""
        self._closing = True
        self._wake.set()
        self._wake_designer.set()
        self._measurer.close()
        self.transport.close()

    def join(self, seconds: float) -> None:
        """Wait for all threads to end after `close`, ``seconds`` at most for each.

        A thread that still computes in a C++ library while the interpreter goes down would abort it.
        """
        for thread in (*self._threads, self._measurer.thread, self.transport.reader):
            thread.join(seconds)

    def join_designer(self) -> None:
        """Wait for the edit that is being designed, if any."""
        self._threads[-1].join(DESIGN_LIMIT)

    # ---- for the callback

    def render(self, out: Output) -> None:
        """Fill one block (block, channels of the device)."""
        self.player.render(out)

    # ---- what is heard

    def hear(self, heard: Heard) -> None:
        """Fade over to this, and listen openly; raises AuralizeError for a choice there is not."""
        self._check(heard)
        with self._lock:
            self.wishes.heard, self._slot = heard, None
            self._wish += 1
        self._wake.set()

    def load_slots(self, heard: Sequence[Heard], *, equal: bool = False) -> list[float]:
        """Freeze what these sound like now, to be heard by number; the gain of each in dB.

        ``equal``: all turned down to the loudness of the softest, drops too. Edits, measurements and other
        matches no longer reach them.
        """
        for one in heard:
            self._check(one)
        with self._lock:
            gains = [self._gains(one).total for one in heard]
            if equal:
                gains = _equal(gains, [self._level(one).loudness for one in heard])
            self._load(list(zip(heard, gains, strict=True)))
        return gains

    def _load(self, slots: list[tuple[Heard, float]]) -> None:
        choices = self.wishes.choices
        self._loaded = [(heard, gain, choices.get(heard.choice or "")) for heard, gain in slots]
        self._slots = [self._voice(heard, gain) for heard, gain in slots]

    def take_slots(self, old: Desk) -> None:
        """Have the slots of another desk with the same choices, and hear the one that was heard."""
        loaded = old._loaded
        filters = [self._design(choice) if choice else None for _, _, choice in loaded]
        with self._lock:
            self._loaded = loaded
            self._slots = [
                self._voice(heard, gain, one)
                for (heard, gain, _), one in zip(loaded, filters, strict=True)
            ]
            self._slot = old._slot
            self._wish += 1
        self._wake.set()

    def _level(self, heard: Heard) -> Level:
        """What was measured of a signal before any gain; raises AuralizeError before it was."""
        known = self._known
        if known.source is None or (heard.choice and heard.choice not in known.levels):
            raise RequestError("levels are still being measured; try again in a few seconds")
        if heard.choice is None:
            return known.source.level
        run = known.levels[heard.choice]
        if heard.signal == "receiving":
            return run.receiving
        share = 0.5 * heard.conductors
        return replace(
            run.drop, loudness=run.drop.loudness + decibels(share), peak=share * run.drop.peak
        )

    def hear_slot(self, number: int) -> None:
        """Fade over to a slot. Nothing but the sound depends on what is in it, or was heard before."""
        with self._lock:
            if not 0 <= number < len(self._slots):
                raise RequestError(
                    f"slot {number} was asked for; {len(self._slots)} are loaded, counted from 0"
                )
            self._slot = number
            self._wish += 1
        self._wake.set()

    def set_match(self, match: Match) -> None:
        """As installed, by loudness, or by the level at a frequency in Hz."""
        with self._lock:
            self.wishes.match = match
            self._rebalance()
        self._wake.set()

    def set_makeup(self, makeup: float | None) -> None:
        """dB on the drops, held between 0 and `MOST_MAKEUP`; None: chosen."""
        with self._lock:
            self.wishes.makeup = None if makeup is None else min(max(makeup, 0.0), MOST_MAKEUP)
            self._rebalance()
        self._wake.set()

    def set_volume(self, volume: float) -> None:
        """dB, held between `LOWEST_VOLUME` and 0."""
        self.wishes.volume = min(max(volume, LOWEST_VOLUME), 0.0)
        self.player.post(Volume(amplitude(self.wishes.volume)))

    def soften(self) -> None:
        """Come up from silence in the next half second."""
        self.player.post(SoftStart())

    def update_choice(self, choice: Choice) -> None:
        """Design this choice anew and fade it in; of several waiting edits the last one counts."""
        with self._lock:
            self.waiting[choice.name] = choice
        self._wake_designer.set()

    def gains(self, heard: Heard) -> Gains:
        """The gains of something that can be heard."""
        with self._lock:
            return self._gains(heard)

    def status(self) -> DeskStatus:
        """How things are now."""
        transport, player, wishes = self.transport, self.player, self.wishes
        with self._lock:
            heard, slot = wishes.heard, self._slot
            gains, certainty = self._gains(heard), self._certainty()
            filters = self._known.filters.get(heard.choice or "")
            editing = self._designing or bool(self.waiting)
        error = -math.inf
        if filters and heard.signal != "source":
            error = (filters.drop if heard.signal == "drop" else filters.receiving).error
        loop = transport.looped
        return DeskStatus(
            position=transport.position / self.rate,
            length=transport.length / self.rate,
            playing=transport.playing,
            ended=transport.ended,
            loop=(loop[0] / self.rate, loop[1] / self.rate) if loop else None,
            heard=heard,
            slot=slot,
            match=wishes.match,
            gains=gains,
            certainty=certainty,
            filter_error=error,
            volume=wishes.volume,
            peak_dbfs=decibels(player.peak) if slot is None else -math.inf,
            rms_dbfs=decibels(math.sqrt(player.power)) if slot is None else -math.inf,
            limiting=player.limiting and slot is None,
            editing=editing,
            switches=player.switches,
            starved=transport.starved,
        )

    # ---- under the lock

    def _check(self, heard: Heard) -> None:
        known = self.wishes.choices
        if heard.signal != "source" and heard.choice not in known:
            raise RequestError(
                f"choice {heard.choice!r} was to be heard; right is one of {', '.join(known)}"
            )

    def _gains(self, heard: Heard) -> Gains:
        known = self._known.gains.get(heard.plain())
        if known is None and heard.signal == "drop":
            return Gains(0.0, self.wishes.makeup or 0.0, 0.0)
        return known or NO_GAIN

    def _certainty(self) -> Certainty:
        known = self._known
        if known.source is None:
            return "unknown"
        levels = [level for run in known.levels.values() for level in (run.receiving, run.drop)]
        sure = known.source.whole and all(level.measured for level in levels)
        return "measured" if sure and len(known.levels) == len(known.filters) else "predicted"

    def _voice(
        self, heard: Heard, total: float | None = None, filters: RunFilters | None = None
    ) -> Voice:
        """``total``: its gain in dB; None: what its gains add up to. ``filters``: others than now."""
        gain = amplitude(self._gains(heard).total if total is None else total)
        if heard.signal == "source":
            return Voice(self._straight, gain)
        filters = filters or self._known.filters[heard.choice or ""]
        if heard.signal == "receiving":
            return Voice(filters.receiving.taps, gain)
        return Voice(filters.drop.taps, gain * 0.5 * heard.conductors)

    def _rebalance(self) -> None:
        """Gains anew, from the levels that are known."""
        known, wishes = self._known, self.wishes
        if known.source is None:
            return
        source = known.source.level
        matches = {
            name: match_gain(wishes.match, wishes.choices[name], source, levels.receiving)
            for name, levels in known.levels.items()
        }
        known.gains = balance(source, known.levels, matches, wishes.makeup)

    def _predict(self, name: str) -> None:
        known = self._known
        if known.source is not None:
            before = known.levels.get(name)
            choice, source = self.wishes.choices[name], known.source
            known.levels[name] = predicted(choice, source.energies, source.level, before)

    # ---- the thread that makes what is wished audible

    def _keep_sounding(self) -> None:
        while not self._closing:
            self._wake.wait()
            self._wake.clear()
            while not self._closing and (due := self._due()):
                if not self.player.ready:  # at most a block later, unless there is no device
                    self._wake.wait(RETRY)
                    self._wake.clear()
                elif isinstance(due, Grow):
                    self.player.post(due)
                else:
                    self.player.post(Switch(due.voice))
                    self._sounding = due

    def _longest(self) -> int:
        """Taps of the longest filter: there is room for all, so that none is heard later than others."""
        with self._lock:
            return max(
                len(self._straight),
                *(len(filters.drop.taps) for filters in self._known.filters.values()),
                *(len(voice.taps) for voice in self._slots),
            )

    def _due(self) -> _Sound | Grow | None:
        """Room for filters that are too long, or what is wished, if it is not what sounds."""
        longest = self._longest()
        if longest > self.player.taps:
            return Grow(enough_taps(self.rate, longest))
        with self._lock:
            slot = self._slot
            voice = self._voice(self.wishes.heard) if slot is None else self._slots[slot]
            sound = _Sound(voice, self._wish)
        now = self._sounding
        same = voice.taps is now.voice.taps and math.isclose(
            voice.gain, now.voice.gain, rel_tol=SAME_GAIN
        )
        return None if same and sound.wish == now.wish else sound

    # ---- the thread that designs

    def _design(self, choice: Choice) -> RunFilters:
        filters = design_run(choice.network, choice.listen, self.rate)
        return shortened(filters, most_taps(self.rate))

    def _keep_designing(self) -> None:
        while not self._closing:
            self._wake_designer.wait()
            self._wake_designer.clear()
            while not self._closing and self.waiting:
                with self._lock:
                    choice = self.waiting.pop(next(iter(self.waiting)))
                    self._designing = True
                self._edit(choice)
                self._designing = False

    def _edit(self, choice: Choice) -> None:
        name = choice.name
        try:
            filters = self._design(choice)
            with self._lock:
                self.wishes.choices[name] = choice
                self._known.filters[name] = filters
                self._predict(name)
                self._rebalance()
        except Exception as error:  # whatever it is, what is heard stays, and so does this thread
            self.tell(Event("fault", f"{name} stays as it was: {error}"))
            return
        self._wake.set()
        self._measurer.want(name, filters)
        self.tell(Event("edit", f"{name}: the change is heard"))

    # ---- from the thread that measures

    def _source_measured(self, source: SourceMeasured) -> None:
        with self._lock:
            known = self._known
            known.source = source
            for name in known.filters:
                levels = known.levels.get(name)
                if levels is None or not levels.drop.measured:
                    known.levels.pop(name, None)
                    self._predict(name)
            self._rebalance()
        self._wake.set()

    def _run_measured(self, name: str, filters: RunFilters, levels: RunLevels) -> None:
        with self._lock:
            if self._known.filters.get(name) is not filters:
                return
            self._known.levels[name] = levels
            self._rebalance()
        self._wake.set()

    def _measuring_failed(self, text: str) -> None:
        self.tell(Event("programme", text))


def _equal(gains: Sequence[float], loudness: Sequence[float]) -> list[float]:
    """Gains in dB that bring signals of these loudnesses (LUFS) down to the softest one."""
    heard = [level + gain for level, gain in zip(loudness, gains, strict=True)]
    if not all(math.isfinite(level) for level in heard):
        raise RequestError(
            f"what is to be compared is too quiet to have a loudness (under {ABSOLUTE_GATE:g} LUFS), so "
            "it cannot be made equally loud; take a longer run, a louder programme, or the receiving ends"
        )
    return [gain - (level - min(heard)) for gain, level in zip(gains, heard, strict=True)]


def renewed(old: Desk, rate: int, source: Path) -> Desk:
    """The same desk at another sample rate; the old one is closed, and playing goes on."""
    wishes, status = old.wishes, old.status()
    designed = dict(wishes.choices)
    journal: list[Entry] | None = None if old.journal is None else []
    new = Desk(source, rate, wishes, old.tell, status.position, journal=journal)
    if status.loop:
        first, stop = status.loop
        new.transport.loop(round(first * rate), round(stop * rate))
    if status.playing:
        new.transport.play()
    new.take_slots(old)
    old.close()
    old.join_designer()
    for name, choice in {**wishes.choices, **old.waiting}.items():  # edits made meanwhile
        if designed.get(name) is not choice:
            new.update_choice(choice)
    return new
