"""What is played: the listening at the rate of whatever device it is played on, and its volume there."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from auralize.live.incoming import Incoming
from auralize.live.listening import Listening
from auralize.live.player import Entry
from auralize.live.remembered import Volumes
from auralize.live.sources import Feed
from auralize.live.status import Event
from auralize.live.wanted import Wanted
from auralize.rig.choice import Choice


class Played:
    """One listening after another, as devices of another rate need it. Raises what `Listening` does."""

    def __init__(
        self,
        source: Feed,
        choices: Sequence[Choice],
        volumes: Volumes,
        tell: Callable[[Event], None],
        journal: bool,
    ) -> None:
        self.feed = source
        self.file_rate = source.rate
        """Hz that the programme is best played at."""
        entries: list[Entry] | None = [] if journal else None
        wanted = Wanted({choice.name: choice for choice in choices})
        self.listening = Listening(source, self.file_rate, wanted, tell, journal=entries)
        self._source, self._volumes, self._tell = source, volumes, tell
        self._device: str | None = None

    def begin(self, device: str, rate: int) -> Listening:
        """Be ready to come up softly on a device at ``rate`` Hz, no louder than was chosen for it."""
        if rate != self.listening.rate:
            self.listening = renewed(self.listening, rate, self._source)
        self._device = device
        self.listening.set_volume(self._volumes.first(device))
        self.listening.soften()
        return self.listening

    def set_volume(self, volume: float) -> None:
        """dB, 0 at most; kept for the device."""
        self.listening.set_volume(volume)
        if self._device is not None:
            self._volumes.put(self._device, self.listening.wanted.volume)

    def look(self) -> None:
        """From time to time: tell of damage to the programme, and save volumes."""
        transport = self.listening.transport
        if isinstance(transport, Incoming):
            transport.look(self.listening.player)
        fault = transport.told_fault()
        if fault is not None:
            self._tell(Event("programme", fault))
        self._volumes.save()

    def close(self, limit: float) -> None:
        """End all threads, each in ``limit`` s at most, and save volumes."""
        self.listening.close()
        self.listening.join(limit)
        self._volumes.save()


def renewed(old: Listening, rate: int, source: Feed) -> Listening:
    """The same listening at another sample rate; the old one is closed, and playing goes on."""
    wanted, status = old.wanted, old.status()
    designed = dict(wanted.choices)
    journal: list[Entry] | None = None if old.journal is None else []
    new = Listening(source, rate, wanted, old.tell, status.position, journal=journal)
    if status.loop:
        first, stop = status.loop
        new.transport.loop(round(first * rate), round(stop * rate))
    if status.playing:
        new.transport.play()
    new.take_slots(old)
    old.close()
    waiting = old.designer.join()
    for name, choice in {**wanted.choices, **waiting}.items():  # edits made meanwhile
        if designed.get(name) is not choice:
            new.update_choice(choice)
    return new
