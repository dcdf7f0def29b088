"""The engine that a screen talks to: a programme and the choices of a rig, live on a device."""

from __future__ import annotations

import atexit
import gc
import sys
from collections import deque
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Final

from auralize.audio.analyser import Fineness
from auralize.errors import RequestError
from auralize.gains import DropsWay, Heard, Match
from auralize.live.analysis import Spectrum
from auralize.live.device import Device
from auralize.live.incoming import NO_TRIAL
from auralize.live.keeper import BUFFER, Keeper
from auralize.live.listening import Listening
from auralize.live.opening import CLOSE_LIMIT
from auralize.live.played import Played
from auralize.live.player import Entry, Setup
from auralize.live.protocol import EngineLike
from auralize.live.quiet_stderr import QuietStderr
from auralize.live.remembered import Volumes, state_path
from auralize.live.sources import Feed, feed_of
from auralize.live.status import Event, Status
from auralize.rig.choice import Choice

SWITCH_INTERVAL: Final = 0.0005
"""s after which a busy Python thread must let the callback in. With the usual 5 ms it waits up to 50 ms
for its turn (measured against a busy loop), with this under 1 ms."""
MOST_EVENTS: Final = 100


class Engine:
    """A programme and the choices of a rig, live. All methods return at once, from any thread.

    Raises AudioFileError and DesignError when made, which takes a filter design (0.03 s) per choice.
    What happens later is told by `events`. `start` before a screen takes the terminal (see `QuietStderr`);
    `stop` at the end, which takes 4 s at most, whatever the sound server does. ``volumes`` is the file
    that remembers them; ``buffer`` the seconds of sound that a device is first asked to hold; ``others``
    the programmes that `change_programme` goes to.
    """

    def __init__(
        self,
        source: Path | Feed,
        choices: Sequence[Choice],
        *,
        others: Sequence[Feed] = (),
        volumes: Path | None = None,
        buffer: float = BUFFER,
        journal: bool = False,
    ) -> None:
        self._events: deque[Event] = deque(maxlen=MOST_EVENTS)
        remembered = Volumes(volumes or state_path())
        self._played = Played(
            (feed_of(source), *others), choices, remembered, self._events.append, journal
        )
        self._keeper = Keeper(self._played, self._events.append, buffer)
        self._quiet = QuietStderr()
        self._interval: float | None = None
        """s: the switch interval before `start`."""
        self._closed = False

    @property
    def _listening(self) -> Listening:
        return self._played.listening

    # ---- the device

    def start(self, device: str | None = None) -> None:
        """Play on a device, by its name or number; None: the default one."""
        if self._interval is None:
            self._quiet.begin()
            self.settle()
            self._interval = sys.getswitchinterval()
            sys.setswitchinterval(min(self._interval, SWITCH_INTERVAL))
            self._keeper.start()
            atexit.register(self.stop)
        self._keeper.open(device)

    def settle(self) -> None:
        """Look for garbage now, and never again among what is in memory; after a screen was built.

        A full collection holds the interpreter, and so the audio callback, for 60 to 130 ms once a
        screen is up (measured; a device holds 45 ms of sound), but for some ms after this.
        """
        gc.collect()
        gc.freeze()

    def next_device(self) -> None:
        """Play on the next of the devices."""
        self._keeper.open_next()

    @property
    def devices(self) -> tuple[Device, ...]:
        """The devices there were when one was last opened."""
        return self._keeper.devices

    def stop(self) -> None:
        """Fade out, let the device go and end all threads; the bench cannot be used again."""
        if self._closed:
            return
        self._closed = True
        if self._interval is not None:
            self._keeper.close()
            sys.setswitchinterval(self._interval)
            self._quiet.end()
            gc.unfreeze()
            atexit.unregister(self.stop)
        self._played.close(CLOSE_LIMIT)

    # ---- what is heard and how

    @property
    def choices(self) -> Mapping[str, Choice]:
        """The choices as they are heard."""
        return self._listening.wanted.choices

    def play(self) -> None:
        """Go on."""
        self._listening.transport.play()

    def pause(self) -> None:
        """Stay here."""
        self._listening.transport.pause()

    def seek(self, seconds: float) -> None:
        """Go to a place in the programme."""
        self._listening.transport.seek(round(seconds * self._listening.rate))

    def loop(self, region: tuple[float, float] | None) -> None:
        """Play from one second to another again and again, or (None) on; raises AudioFileError."""
        transport, rate = self._listening.transport, self._listening.rate
        if region is None:
            transport.unloop()
        else:
            transport.loop(round(region[0] * rate), round(region[1] * rate))

    def hear(self, heard: Heard) -> None:
        """Fade over to this."""
        self._listening.hear(heard)

    def load_slots(self, heard: Sequence[Heard], *, equal: bool = False) -> list[float]:
        """Freeze what these sound like now (``equal``: equally loud), for a blind trial; gains in dB."""
        if self._keeper.input is not None:
            raise RequestError(NO_TRIAL)
        return self._listening.load_slots(heard, equal=equal)

    def hear_slot(self, number: int) -> None:
        """Fade over to a slot; until `hear`, the status says nothing that could tell which."""
        self._listening.hear_slot(number)

    def set_match(self, match: Match) -> None:
        """As installed, by loudness, or by the level at a frequency in Hz."""
        self._listening.set_match(match)

    def set_makeup(self, makeup: float | None) -> None:
        """dB on the drops; None: chosen."""
        self._listening.set_makeup(makeup)

    def set_volume(self, volume: float) -> None:
        """dB, 0 at most; kept for the device."""
        self._played.set_volume(volume)

    def update_choice(self, choice: Choice) -> None:
        """Hear this choice as edited as soon as its filter is designed."""
        self._listening.update_choice(choice)

    def status(self) -> Status:
        """How things are now."""
        keeper, listening = self._keeper, self._listening
        status, device = listening.status(), keeper.device
        return Status(
            **vars(status),
            state=keeper.state,
            device=device.name if device else None,
            rate=listening.rate,
            latency=keeper.latency,
            underruns=keeper.underruns + status.starved,
            programme=self._played.number,
            live_input=keeper.input.status(listening.rate) if keeper.input else None,
        )

    def events(self) -> list[Event]:
        """What happened since the last call."""
        found = []
        while self._events:
            found.append(self._events.popleft())
        return found

    def spectrum(self, heard: Sequence[Heard], fineness: Fineness = "thirds") -> Spectrum | None:
        """What sounds now and what would if these were heard, over frequency; None while a slot is heard."""
        return self._listening.analysis.look(heard, fineness)

    def set_drops(self, way: DropsWay) -> None:
        """All drops at one make-up gain, or each at its own, so that they are equally loud."""
        self._listening.set_drops(way)

    def steps(self, heard: Sequence[Heard]) -> list[float | None]:
        """dB by which each would be louder than what is heard; None: not known, or not to be told."""
        return self._listening.steps(heard)

    def slot_heard(self) -> float:
        """s of sound of the slot asked for last that have left through the device since then."""
        return self._listening.slot_heard(self._keeper.latency)

    @property
    def journal(self) -> tuple[Setup, list[Entry]]:
        """What `player.replay` needs, if a journal was wished, since the last change of rate."""
        return self._listening.player.setup, self._listening.journal or []

    # ---- choices that come and go

    def remove_choice(self, name: str) -> None:
        """Have this choice no more; where it was heard, the source is."""
        self._listening.remove_choice(name)

    @property
    def programmes(self) -> Sequence[Feed]:
        """All that can be played; the status says which is."""
        return self._played.feeds

    def change_programme(self, number: int) -> None:
        """Go over to another from where it was left; an event tells where that cannot be."""
        self._keeper.change(number)


if TYPE_CHECKING:
    _: type[EngineLike] = Engine
