"""What a screen uses of the engine, so that it can be shown on any other that does the same."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Protocol

from auralize.gains import Heard, Match
from auralize.live.sources import Feed
from auralize.live.status import Event, Status
from auralize.rig.choice import Choice


class EngineLike(Protocol):
    """A programme and the choices of a rig, live. All methods return at once."""

    @property
    def choices(self) -> Mapping[str, Choice]:
        """The choices as they are heard."""

    def status(self) -> Status:
        """How things are now."""

    def events(self) -> list[Event]:
        """What happened since the last call."""

    def settle(self) -> None:
        """Have no time taken from the sound by what is in memory now; after a screen was built."""

    def next_device(self) -> None:
        """Play on the next of the devices."""

    def play(self) -> None:
        """Go on."""

    def pause(self) -> None:
        """Stay here."""

    def seek(self, seconds: float) -> None:
        """Go to a place in the programme."""

    def loop(self, region: tuple[float, float] | None) -> None:
        """Play from one second to another again and again, or (None) on; raises AudioFileError."""

    def hear(self, heard: Heard) -> None:
        """Fade over to this; raises AuralizeError for a choice there is not."""

    def load_slots(self, heard: Sequence[Heard], *, equal: bool = False) -> list[float]:
        """Freeze what these sound like now (``equal``: equally loud), for a blind trial; gains in dB.

        Raises AuralizeError where that cannot be done.
        """

    def hear_slot(self, number: int) -> None:
        """Fade over to a slot; until `hear`, the status says nothing that could tell which."""

    def set_match(self, match: Match) -> None:
        """As installed, by loudness, or by the level at a frequency in Hz."""

    def set_volume(self, volume: float) -> None:
        """dB, 0 at most; kept for the device."""

    def update_choice(self, choice: Choice) -> None:
        """Hear this choice as edited as soon as its filter is designed."""

    @property
    def programmes(self) -> Sequence[Feed]:
        """All that can be played; the status says which is."""

    def change_programme(self, number: int) -> None:
        """Go over to another from where it was left; an event tells where that cannot be."""
