"""What is listened to, without its device: what is heard, level match, edits, slots for blind trials.

`Listening.render` is for the audio callback (or for whoever wants to know what would be played). All other
methods return at once and may be called from any thread.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from auralize.errors import RequestError
from auralize.filters.fir import RunFilters
from auralize.filters.quality import run_caution
from auralize.gains import MOST_MAKEUP, DropsWay, Gains, Heard, Match
from auralize.live.analysis import Analysis, Voices
from auralize.live.designer import Designer
from auralize.live.known import Known
from auralize.live.measurer import Measurer, RunLevels, SourceMeasured
from auralize.live.player import Block, Entry, Player, Setup, SoftStart, Volume, enough_taps
from auralize.live.programme import Programme
from auralize.live.remembered import LOWEST_VOLUME
from auralize.live.slots import Slot, at_rate, frozen
from auralize.live.snapshot import snapshot
from auralize.live.sounding import Sound, Sounding
from auralize.live.status import Event, ListeningStatus
from auralize.live.transport import Transport
from auralize.live.wanted import Wanted
from auralize.rig.choice import Choice
from auralize.units import amplitude


class Listening:
    """A programme and the choices of a rig at one sample rate, ready to be heard.

    Raises AudioFileError and DesignError. ``tell`` is called from several threads.
    """

    def __init__(
        self,
        source: Path,
        rate: int,
        wanted: Wanted,
        tell: Callable[[Event], None],
        position: float = 0.0,
        *,
        journal: list[Entry] | None = None,
    ) -> None:
        self.rate, self.wanted, self.tell, self.journal = rate, wanted, tell, journal
        self._known = Known(wanted, rate)
        self.transport = Transport(Programme(source, rate), round(position * rate))
        self.channels = self.transport.channels
        self._lock = threading.Lock()
        self._slots: list[Slot] = []
        self._slot: int | None = None
        self._wish = 0
        sound, longest = self._wished()
        taps = enough_taps(rate, longest)
        setup = Setup(rate, self.channels, taps, sound.voice, amplitude(wanted.volume))
        self.player = Player(setup, self.transport.take, journal)
        self._sounding = Sounding(self.player, sound, self._wished)
        self.analysis = Analysis(self.player, self._lock, self._looked_at)
        self.designer = Designer(rate, self._designed, self._not_designed)
        self._measurer = Measurer(
            source, rate, self._source_measured, self._run_measured, self._measuring_failed
        )
        for name, filters in self._known.filters.items():
            self._measurer.want(name, filters)
            if told := run_caution(name, filters):
                self.tell(Event("edit", told))

    def close(self) -> None:
        """End all threads soon."""
        for part in (self._sounding, self.designer, self._measurer, self.transport):
            part.close()
        self.analysis.close()

    def join(self, seconds: float) -> None:
        """Wait so long for each thread to end: one that computes in C++ code would abort the interpreter."""
        for part in (self._sounding, self.designer, self._measurer, self.transport.reader):
            part.thread.join(seconds)
        self.analysis.thread.join(seconds)

    # ---- for the callback

    def render(self, out: Block) -> None:
        """Fill one block (block, channels of the device)."""
        self.player.render(out)

    # ---- what is heard

    def hear(self, heard: Heard) -> None:
        """Fade over to this, and listen openly; raises AuralizeError for what there is not."""
        with self._lock:  # no edit comes between the check and what follows from it
            self.wanted.check(heard)
            self.wanted.heard, self._slot = heard, None
            self._wish += 1
        self._sounding.wake()

    def load_slots(self, heard: Sequence[Heard], *, equal: bool = False) -> list[float]:
        """Freeze what these sound like now (``equal``: equally loud), to be heard by number; gains in dB."""
        with self._lock:
            self._slots = frozen(heard, self.wanted, self._known, equal)
            return [slot.gain for slot in self._slots]

    def take_slots(self, old: Listening) -> None:
        """Have the slots of another listening with the same choices, and hear the one that was heard."""
        slots = at_rate(old._slots, self._known, self.rate)
        with self._lock:
            self._slots, self._slot = slots, old._slot
            self._wish += 1
        self._sounding.wake()

    def hear_slot(self, number: int) -> None:
        """Fade over to a slot. Nothing but the sound depends on what is in it, or was heard before."""
        with self._lock:
            if not 0 <= number < len(self._slots):
                raise RequestError(
                    f"slot {number} was asked for; {len(self._slots)} are loaded, counted from 0"
                )
            self._slot = number
            self._wish += 1
            self.analysis.shut()
        self._sounding.wake()

    def _wished(self) -> tuple[Sound, int]:
        """What is to sound, and the taps of the longest filter that may be next."""
        with self._lock:
            slot = self._slot
            heard = self.wanted.heard
            voice, loudness = self._known.voice(heard), self._known.loudness(heard)
            if slot is not None:
                voice, loudness = self._slots[slot].voice, self._slots[slot].loudness
            longest = max(self._known.longest, *(len(s.voice.taps) for s in self._slots), 0)
            return Sound(voice, self._wish, loudness), longest

    # ---- how it is heard

    @contextmanager
    def _anew(self) -> Iterator[None]:
        """What changes within is heard, with the gains that follow from it."""
        with self._lock:
            yield
            self._known.rebalance()
        self._sounding.wake()

    def set_match(self, match: Match) -> None:
        """As installed, by loudness, or by the level at a frequency in Hz."""
        with self._anew():
            self.wanted.match = match

    def set_makeup(self, makeup: float | None) -> None:
        """dB on the drops at one gain, held between 0 and `MOST_MAKEUP`; None: chosen."""
        with self._anew():
            self.wanted.makeup = None if makeup is None else min(max(makeup, 0.0), MOST_MAKEUP)

    def set_drops(self, way: DropsWay) -> None:
        """All drops at one make-up gain, or each at its own, so that they are equally loud."""
        with self._anew():
            self.wanted.drops = way

    def set_volume(self, volume: float) -> None:
        """dB, held between `LOWEST_VOLUME` and 0."""
        self.wanted.volume = min(max(volume, LOWEST_VOLUME), 0.0)
        self.player.post(Volume(amplitude(self.wanted.volume)))

    def soften(self) -> None:
        """Come up from silence in the next half second."""
        self.player.post(SoftStart())

    def hush(self) -> None:
        """Be silent from the next block on, until a volume is set."""
        self.player.post(Volume(0.0))

    def update_choice(self, choice: Choice) -> None:
        """Design this choice anew and fade it in; of several waiting edits the last one counts."""
        self.designer.want(choice)

    # ---- what is known

    def gains(self, heard: Heard) -> Gains:
        """The gains of something that can be heard."""
        with self._lock:
            return self._known.gains_of(heard)

    def steps(self, heard: Sequence[Heard]) -> list[float | None]:
        """dB by which each would be louder than what is heard; None: not known, or not to be told."""
        with self._lock:
            if self._slot is not None:
                return [None for _ in heard]
            return [self._known.step(self.wanted.heard, one) for one in heard]

    def status(self) -> ListeningStatus:
        """How things are now."""
        editing = self.designer.busy
        with self._lock:
            return snapshot(
                self.transport, self.player, self.wanted, self._known, self._slot, editing=editing
            )

    def _looked_at(self, heard: Sequence[Heard]) -> Voices | None:
        """For `analysis`, which holds the lock; None while a slot is heard, or anything of it."""
        openly = self._slot is None and self._sounding.settled(self._wish)
        return self._known.voices(heard) if openly else None

    # ---- from the threads that design and measure

    def _designed(self, choice: Choice, filters: RunFilters) -> None:
        with self._lock:
            self._known.edit(choice, filters)
            lost = self.wanted.settle()
        self._sounding.wake()
        self._measurer.want(choice.name, filters)
        told = run_caution(choice.name, filters)
        heard = f"{choice.name}: the change is heard{lost}"
        self.tell(Event("edit", f"{heard}. {told}" if told else heard))

    def _not_designed(self, choice: Choice, error: Exception) -> None:
        self.tell(Event("refused", f"{choice.name} stays as it was: {error}"))

    def _source_measured(self, source: SourceMeasured) -> None:
        with self._lock:
            self._known.measured_source(source)
        self._sounding.wake()

    def _run_measured(self, name: str, filters: RunFilters, levels: RunLevels) -> None:
        with self._lock:
            self._known.measured_run(name, filters, levels)
        self._sounding.wake()

    def _measuring_failed(self, text: str) -> None:
        self.tell(Event("programme", text))
