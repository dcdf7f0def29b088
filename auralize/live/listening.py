"""What is listened to, without its device: what is heard, level match, edits, and the threads for them.

`Listening.render` is for the audio callback (or for whoever wants to know what would be played). All other
methods return at once and may be called from any thread.
"""

from __future__ import annotations

import math
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

import numpy as np

from auralize.audio.loudness import ABSOLUTE_GATE
from auralize.audio.metering import Level
from auralize.errors import AuralizeError
from auralize.filters.fir import Fir, RunFilters, design_run, predelay
from auralize.gains import (
    INSTALLED,
    MOST_MAKEUP,
    NO_GAIN,
    SOURCE,
    End,
    Gains,
    Heard,
    Match,
    Source,
    balance,
    equally_loud,
    match_gain,
)
from auralize.live.measurer import Measurer, RunLevels, SourceMeasured, predicted
from auralize.live.player import (
    Block,
    Entry,
    Grow,
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
from auralize.live.programme import Programme
from auralize.live.remembered import LOWEST_VOLUME
from auralize.live.status import Certainty, Event, ListeningStatus
from auralize.live.transport import Transport
from auralize.rig.reading import Choice
from auralize.units import amplitude, decibels

START_VOLUME: Final = -20.0
"""dB; where nothing else is remembered."""
SAME_GAIN: Final = 1e-4
"""Relative: a change of gain under 0.001 dB is not worth a cross-fade."""
DESIGN_LIMIT: Final = 2.0
"""s that the design of a filter is waited for; it takes 0.03."""
RETRY: Final = 0.003
"""s between two looks whether the switch under way is done."""


@dataclass
class Wanted:
    """All that was chosen; it outlives a change of sample rate."""

    choices: dict[str, Choice]
    heard: Heard = SOURCE
    match: Match = INSTALLED
    makeup: float | None = None
    """dB; None: chosen."""
    volume: float = START_VOLUME
    """dB"""


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


class Listening:
    """A programme and the choices of a rig at one sample rate, ready to be heard.

    Raises AudioFileError and DesignError. ``tell`` is called from several threads.
    """

    def __init__(
        self,
        source: Path,
        rate: int,
        wishes: Wanted,
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
        for thread in (*self._threads, self._measurer.thread, self.transport.reader.thread):
            thread.join(seconds)

    def join_designer(self) -> None:
        """Wait for the edit that is being designed, if any."""
        self._threads[-1].join(DESIGN_LIMIT)

    # ---- for the callback

    def render(self, out: Block) -> None:
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
                loudness = [self._level(one).loudness for one in heard]
                gains = equally_loud(gains, loudness, ABSOLUTE_GATE)
            self._load(list(zip(heard, gains, strict=True)))
        return gains

    def _load(self, slots: list[tuple[Heard, float]]) -> None:
        self._loaded = [(heard, gain, self._choice(heard)) for heard, gain in slots]
        self._slots = [self._voice(heard, gain) for heard, gain in slots]

    def take_slots(self, old: Listening) -> None:
        """Have the slots of another listening with the same choices, and hear the one that was heard."""
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
        if known.source is not None:
            if isinstance(heard, Source):
                return known.source.level
            if heard.choice in known.levels:
                return known.levels[heard.choice].of(heard)
        raise AuralizeError("levels are still being measured; try again in a few seconds")

    def hear_slot(self, number: int) -> None:
        """Fade over to a slot. Nothing but the sound depends on what is in it, or was heard before."""
        with self._lock:
            if not 0 <= number < len(self._slots):
                raise AuralizeError(
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

    def status(self) -> ListeningStatus:
        """How things are now."""
        transport, player, wishes = self.transport, self.player, self.wishes
        with self._lock:
            heard, slot = wishes.heard, self._slot
            gains, certainty = self._gains(heard), self._certainty()
            fir = None if isinstance(heard, Source) else self._fir(heard)
            editing = self._designing or bool(self.waiting)
        loop = transport.looped
        return ListeningStatus(
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
            filter_error=fir.error if fir else -math.inf,
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
        if isinstance(heard, End) and heard.choice not in known:
            raise AuralizeError(
                f"choice {heard.choice!r} was to be heard; right is one of {', '.join(known)}"
            )

    def _gains(self, heard: Heard) -> Gains:
        if isinstance(heard, Source):
            return self._known.gains.get(heard, NO_GAIN)
        unknown = NO_GAIN
        if heard.signal == "drop":
            unknown = Gains(makeup=self.wishes.makeup or 0.0)
        return self._known.gains.get(heard.plain, unknown)

    def _choice(self, heard: Heard) -> Choice | None:
        return None if isinstance(heard, Source) else self.wishes.choices[heard.choice]

    def _fir(self, heard: End) -> Fir:
        return self._known.filters[heard.choice].of(heard.signal)

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
        if isinstance(heard, Source):
            return Voice(self._straight, gain)
        fir = filters.of(heard.signal) if filters else self._fir(heard)
        return Voice(fir.taps, gain * heard.share)

    def _rebalance(self) -> None:
        """Gains anew, from the levels that are known."""
        known, wishes = self._known, self.wishes
        if known.source is None:
            return
        source = known.source.level
        reference = source.loudness
        matches = {
            name: match_gain(wishes.match, wishes.choices[name], reference, levels.receiving)
            for name, levels in known.levels.items()
        }
        compared: dict[Heard, Level] = {SOURCE: source}
        for name, levels in known.levels.items():
            for end in (End("receiving", name), End("drop", name, 1), End("drop", name, 2)):
                compared[end] = levels.of(end)
        known.gains = balance(reference, compared, matches, wishes.makeup)

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


def renewed(old: Listening, rate: int, source: Path) -> Listening:
    """The same listening at another sample rate; the old one is closed, and playing goes on."""
    wishes, status = old.wishes, old.status()
    designed = dict(wishes.choices)
    journal: list[Entry] | None = None if old.journal is None else []
    new = Listening(source, rate, wishes, old.tell, status.position, journal=journal)
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
