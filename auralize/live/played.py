"""What is played: one of several programmes, at the rate of whatever device it is played on; its volume.

Each programme has a listening of its own, with its place, its loop and its levels; all share what is
wished. Going from one to another, the old one fades out and rings out while the next comes up softly.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Final, NamedTuple

import numpy as np

from auralize.errors import AuralizeError, RequestError
from auralize.gains import SOURCE
from auralize.live.designer import DESIGN_LIMIT
from auralize.live.incoming import Incoming
from auralize.live.listening import Listening
from auralize.live.player import Block, Entry
from auralize.live.remembered import Volumes
from auralize.live.sources import Feed
from auralize.live.status import Event
from auralize.live.wanted import Wanted
from auralize.rig.choice import Choice

FADING_BLOCKS: Final = 4
"""Blocks after which what was paused has faded out and rings out: one fades, some may lie ready."""


DESIGN_LOOK: Final = 0.02
"""s between two looks whether an edit has been designed."""


class _Sounds(NamedTuple):
    """What the callback makes its block of; replaced as a whole, so that it never sees half a change."""

    listening: Listening
    leaving: Listening | None = None
    """Fading out, and ringing out behind its filters."""
    room: Block | None = None
    """For what is leaving."""


class Played:
    """One listening after another, as programmes and devices need it. Raises what `Listening` does.

    ``feeds`` are the programmes, of which the first is heard first; each is opened when it is first
    wanted. `begin`, `change` and `look` are for one thread, `render` for the callback.
    """

    def __init__(
        self,
        feeds: Sequence[Feed],
        choices: Sequence[Choice],
        volumes: Volumes,
        tell: Callable[[Event], None],
        journal: bool,
    ) -> None:
        self.feeds, self.number = tuple(feeds), 0
        """The programmes, and which of them is heard."""
        self.file_rate = self.feed.rate
        """Hz that it is best played at."""
        entries: list[Entry] | None = [] if journal else None
        wanted = Wanted({choice.name: choice for choice in choices})
        self._sounds = _Sounds(Listening(self.feed, self.file_rate, wanted, tell, journal=entries))
        self._left: dict[int, Listening] = {}
        self._volumes, self._tell = volumes, tell
        self._device: str | None = None
        self._width: int | None = None
        self._closing = threading.Event()

    @property
    def feed(self) -> Feed:
        """What is heard."""
        return self.feeds[self.number]

    @property
    def listening(self) -> Listening:
        """That of the programme that is heard."""
        return self._sounds.listening

    def render(self, out: Block) -> None:
        """Fill one block (block, channels of the device)."""
        sounds = self._sounds
        self._width = out.shape[1]
        sounds.listening.render(out)
        if sounds.leaving is not None and sounds.room is not None:
            sounds.leaving.render(sounds.room)
            out += sounds.room

    def begin(self, device: str, rate: int) -> Listening:
        """Be ready to come up softly on a device at ``rate`` Hz, no louder than was chosen for it."""
        if rate != self.listening.rate:
            self._sounds = _Sounds(renewed(self.listening, rate, self.feed))
        self._device = device
        self.listening.set_volume(self._volumes.first(device))
        self.listening.soften()
        return self.listening

    def change(self, number: int) -> None:
        """Hear another programme from where it was left; tells it where that cannot be.

        Takes as long as the old one rings out: at most the length of its filters and some blocks.
        """
        old, before = self.listening, self.number
        if number == before:
            return
        try:
            file_rate = self.feeds[number].rate
            new = self._made_ready(number)
        except AuralizeError as error:
            self._tell(Event("fault", f"{error}; {self.feed.name} goes on"))
            return
        playing = old.transport.playing
        old.transport.pause()
        room = np.zeros((old.player.block, self._width or old.channels), np.float32)
        agree(new, old)
        self._left[before] = old
        self._sounds, self.number = _Sounds(new, old, room), number
        self.file_rate = file_rate
        block = old.player.block / old.rate
        self._closing.wait(FADING_BLOCKS * block)
        if playing:
            new.transport.play()
        self._closing.wait(old.player.taps / old.rate + FADING_BLOCKS * block)
        self._sounds = _Sounds(new)
        self._edited_meanwhile(old, new)

    def _made_ready(self, number: int) -> Listening:
        """The listening of a programme, paused, with the choices as they are; raises AuralizeError."""
        now, feed = self.listening, self.feeds[number]
        if self._width is not None and feed.channels > self._width:
            raise RequestError(f"{feed.name} has two channels and the device one; choose another")
        feed.opened(now.rate).close()  # what is gone by now is told before the old one fades
        left = self._left.get(number)
        wanted = replace(now.wanted, choices=dict(now.wanted.choices), heard=SOURCE)
        if left is None:
            journal: list[Entry] | None = None if now.journal is None else []
            return Listening(feed, now.rate, wanted, self._tell, journal=journal)
        if left.rate != now.rate or left.wanted.choices != wanted.choices:
            left.wanted = wanted
            return renewed(left, now.rate, feed)
        return left

    def _edited_meanwhile(self, old: Listening, new: Listening) -> None:
        """Bring what was still asked of the old one to the new one."""
        for _ in range(round(DESIGN_LIMIT / DESIGN_LOOK)):
            if not old.designer.busy or self._closing.wait(DESIGN_LOOK):
                break
        for name, choice in old.wanted.choices.items():
            if new.wanted.choices.get(name) != choice:
                new.update_choice(choice)

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
        self._closing.set()
        every = {self.listening, *self._left.values()}
        for listening in every:
            listening.close()
        for listening in every:
            listening.join(limit)
        self._volumes.save()


def agree(new: Listening, old: Listening) -> None:
    """Let one listening be heard as another is: the same choice and signal, match and volume."""
    vars(new.wanted).update(vars(old.wanted), choices=new.wanted.choices)
    new.come_from(old)
    new.hear(old.wanted.heard)
    new.set_match(old.wanted.match)
    new.set_volume(old.wanted.volume)
    new.soften()


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
    for name in designed.keys() - wanted.choices.keys():
        new.remove_choice(name)
    return new
