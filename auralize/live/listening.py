"""What is listened to, without its device: what is heard, level match, edits, slots for blind trials.

`Listening.render` is for the audio callback (or for whoever wants to know what would be played). All other
methods return at once and may be called from any thread.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence

from auralize.filters.fir import RunFilters
from auralize.filters.quality import run_caution
from auralize.gains import Gains, Heard
from auralize.live.adjusted import Adjusted
from auralize.live.analysis import Analysis, Voices
from auralize.live.coming import Coming
from auralize.live.known import Known
from auralize.live.measurer import RunLevels, SourceMeasured
from auralize.live.player import Block, Entry, Player, Setup, enough_taps
from auralize.live.slots import Slots, at_rate, frozen
from auralize.live.snapshot import snapshot
from auralize.live.sounding import Sound, Sounding
from auralize.live.sources import Feed
from auralize.live.status import Event, ListeningStatus
from auralize.live.wanted import Wanted
from auralize.live.ways_in import measurer_of, transport_of
from auralize.rig.choice import Choice
from auralize.units import amplitude


class Listening(Adjusted):
    """A programme and the choices of a rig at one sample rate, ready to be heard.

    Raises AudioFileError and DesignError. ``tell`` is called from several threads.
    """

    def __init__(
        self,
        source: Feed,
        rate: int,
        wanted: Wanted,
        tell: Callable[[Event], None],
        position: float = 0.0,
        *,
        journal: list[Entry] | None = None,
    ) -> None:
        self.rate, self.wanted, self.tell, self.journal = rate, wanted, tell, journal
        self._known = Known(wanted, rate)
        self.transport = transport_of(source, rate, tell, round(position * rate))
        self.channels = self.transport.channels
        self._lock = threading.Lock()
        self._slots = Slots()
        self._wish = 0
        sound, longest = self._wished()
        taps = enough_taps(rate, longest)
        setup = Setup(rate, self.channels, taps, sound.voice, amplitude(wanted.volume))
        self.player = Player(setup, self.transport.take, journal)
        self._sounding = Sounding(self.player, sound, self._wished)
        self.analysis = Analysis(self.player, self._lock, self._looked_at)
        self._measurer = measurer_of(source, self.transport, self)
        after = (self._wish_anew, self._sounding.wake, self._measurer.want, tell)
        self._coming = Coming(rate, self._known, wanted, self._lock, *after)
        self.designer = self._coming.designer
        for name, filters in self._known.filters.items():
            self._measurer.want(name, filters)
            if told := run_caution(name, filters):
                tell(Event("edit", told))

    def close(self) -> None:
        """End all threads soon."""
        for part in (self._sounding, self.designer, self._measurer, self.transport):
            part.close()
        self.analysis.close()

    def join(self, seconds: float) -> None:
        """Wait for all threads to end after `close`, ``seconds`` at most for each."""
        # One that still computes in a C++ library while the interpreter goes down would abort it.
        for part in (self._sounding, self.designer, self._measurer, self.analysis, self.transport):
            if part.thread is not None:
                part.thread.join(seconds)

    def render(self, out: Block) -> None:
        """Fill one block (block, channels of the device), for the callback."""
        self.player.render(out)

    # ---- what is heard

    def hear(self, heard: Heard) -> None:
        """Fade over to this, and listen openly; raises AuralizeError for what there is not."""
        with self._lock:  # no edit comes between the check and what follows from it
            if self._coming.waits(heard):
                return
            self.wanted.check(heard)
            self.wanted.heard, self._slots.number = heard, None
            self._wish += 1
        self._sounding.wake()

    def come_from(self, other: Listening) -> None:
        """Before the next `hear`: come up slowly if this is much louder than another programme."""
        loudness = other._sounding.now.loudness
        self._sounding.come_from(None if loudness is None else loudness - other.player.rising)

    def load_slots(self, heard: Sequence[Heard], *, equal: bool = False) -> list[float]:
        """Freeze what these sound like now (``equal``: equally loud), to be heard by number; gains in dB."""
        with self._lock:
            return self._slots.load(frozen(heard, self.wanted, self._known, equal))

    def take_slots(self, old: Listening) -> None:
        """Have the slots of another listening with the same choices, and hear the one that was heard."""
        slots = Slots(at_rate(old._slots.loaded, self._known, self.rate), old._slots.number)
        with self._lock:
            self._slots = slots
            self._wish += 1
        self._sounding.wake()

    def hear_slot(self, number: int) -> None:
        """Fade over to a slot. Nothing but the sound depends on what is in it, or was heard before."""
        with self._lock:
            self._slots.pick(number)
            self._wish += 1
            self.analysis.shut()
        self._sounding.wake()

    def slot_heard(self, latency: float) -> float:
        """s of sound of the slot asked for last, since then, that have left a device of that latency (s)."""
        return self._sounding.left(self._wish, latency) if self._slots.heard else 0.0

    def _wished(self) -> tuple[Sound, int]:
        """What is to sound, and the taps of the longest filter that may be next."""
        with self._lock:
            heard, known, now = self.wanted.heard, self._known, self._slots.heard
            voice, loudness = known.voice(heard), known.loudness(heard)
            if now:
                voice, loudness = now.voice, now.loudness
            return Sound(voice, self._wish, loudness), max(known.longest, self._slots.longest)

    # ---- the choices

    def update_choice(self, choice: Choice) -> None:
        """Design this choice, edited or new, and fade it in; of several edits the last one counts."""
        self._coming.update(choice)

    def remove_choice(self, name: str) -> None:
        """Have this choice no more; where it was heard, the source is."""
        self._coming.remove(name)

    def gains(self, heard: Heard) -> Gains:
        """The gains of something that can be heard."""
        with self._lock:
            return self._known.gains_of(heard)

    def steps(self, heard: Sequence[Heard]) -> list[float | None]:
        """dB by which each would be louder than what is heard; None: not known, or not to be told."""
        with self._lock:
            if self._slots.heard:
                return [None for _ in heard]
            return [self._known.step(self.wanted.heard, one) for one in heard]

    def status(self) -> ListeningStatus:
        """How things are now."""
        editing = self.designer.busy
        with self._lock:
            levels = (self._known, self._measurer.progress)
            return snapshot(
                self.transport, self.player, self.wanted, *levels, self._slots.number, editing
            )

    def _looked_at(self, heard: Sequence[Heard]) -> Voices | None:
        """For `analysis`, which holds the lock; None while a slot is heard, or anything of it."""
        openly = self._slots.heard is None and self._sounding.settled(self._wish)
        return self._known.voices(heard) if openly else None

    # ---- from the threads that design and measure

    def _wish_anew(self) -> None:
        self._wish += 1

    def source_measured(self, source: SourceMeasured, most: float | None = None) -> None:
        """``most``: dB that gains may change by now (None: any), see `Known.measured_source`."""
        with self._lock:
            self._known.measured_source(source, most)
        self._sounding.wake()

    def run_measured(self, name: str, filters: RunFilters, levels: RunLevels) -> None:
        """So loud is a choice with these filters."""
        with self._lock:
            self._known.measured_run(name, filters, levels)
        self._sounding.wake()
