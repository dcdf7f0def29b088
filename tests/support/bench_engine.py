"""A stand-in for the live engine: keeps what it was told, makes no sound."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from auralize.audio.analyser import Fineness
from auralize.gains import INSTALLED, SOURCE, DropsWay, Gains, Heard, Match
from auralize.live.analysis import Spectrum
from auralize.live.sources import Feed
from auralize.live.status import Event, EventKind, Status
from auralize.rig.choice import Choice

if TYPE_CHECKING:
    from auralize.live.engine import Engine
    from auralize.live.protocol import EngineLike

START = Status(
    position=12.5,
    length=24.0,
    playing=False,
    ended=False,
    loop=None,
    heard=SOURCE,
    slot=None,
    match=INSTALLED,
    gains=Gains(0.0, 0.0, -1.5),
    certainty="measured",
    filter_error=-110.0,
    volume=-20.0,
    peak_dbfs=-23.0,
    rms_dbfs=-35.0,
    limiting=False,
    editing=False,
    switches=0,
    starved=0,
    measured=1.0,
    measured_in=0.0,
    state="running",
    device="null sink",
    rate=48_000,
    latency=0.06,
    underruns=0,
    drops="one",
    makeup=None,
    silent=False,
    rising=0.0,
    programme=0,
    live_input=None,
)


class SilentEngine:
    """An `auralize.live.protocol.EngineLike` that does at once what it is told."""

    def __init__(self, choices: Iterable[Choice]) -> None:
        self.choices = {choice.name: choice for choice in choices}
        self.calls: list[Any] = []
        """The name of each call that changes something, with what it was given."""
        self.told: list[Event] = []
        self.step_to: dict[Heard, float] = {}
        """What is said of how much louder it would be; the rest is not known."""
        self.programmes: Sequence[Feed] = ()
        self._status = START
        self.picture: Spectrum | None = None
        """What the analyser is to show."""
        self.looked: tuple[tuple[Heard, ...], Fineness] | None = None
        """What it asked for last."""

    def now(self, **values: Any) -> None:
        """Let things be like this."""
        self._status = replace(self._status, **values)

    def tell(self, text: str, kind: EventKind = "fault") -> None:
        """Have something to tell."""
        self.told.append(Event(kind, text))

    def status(self) -> Status:
        return self._status

    def events(self) -> list[Event]:
        told, self.told = self.told, []
        return told

    def play(self) -> None:
        self.calls.append("play")
        self.now(playing=True)

    def pause(self) -> None:
        self.calls.append("pause")
        self.now(playing=False)

    def seek(self, seconds: float) -> None:
        self.calls.append(("seek", seconds))
        self.now(position=seconds)

    def loop(self, region: tuple[float, float] | None) -> None:
        self.calls.append(("loop", region))
        self.now(loop=region)

    def hear(self, heard: Heard) -> None:
        self.calls.append(("hear", heard))
        self.now(heard=heard, slot=None)

    def load_slots(self, heard: Sequence[Heard], *, equal: bool = False) -> list[float]:
        self.calls.append(("load_slots", tuple(heard), equal))
        return [0.0 for _ in heard]

    def hear_slot(self, number: int) -> None:
        self.calls.append(("hear_slot", number))
        self.now(slot=number)

    def set_match(self, match: Match) -> None:
        self.calls.append(("match", match))
        self.now(match=match)

    def set_volume(self, volume: float) -> None:
        self.calls.append(("volume", volume))
        self.now(volume=min(0.0, volume))

    def update_choice(self, choice: Choice) -> None:
        self.calls.append(("update", choice.name))
        self.choices[choice.name] = choice

    def settle(self) -> None:
        self.calls.append("settle")

    def next_device(self) -> None:
        self.calls.append("next_device")

    def remove_choice(self, name: str) -> None:
        self.calls.append(("remove", name))
        self.choices = {n: choice for n, choice in self.choices.items() if n != name}

    def spectrum(self, heard: Sequence[Heard], fineness: Fineness = "thirds") -> Spectrum | None:
        self.looked = (tuple(heard), fineness)
        return self.picture

    def set_makeup(self, makeup: float | None) -> None:
        self.calls.append(("makeup", makeup))
        self.now(makeup=makeup, gains=replace(self._status.gains, makeup=makeup or 0.0))

    def set_drops(self, way: DropsWay) -> None:
        self.calls.append(("drops", way))
        self.now(drops=way)

    def steps(self, heard: Sequence[Heard]) -> list[float | None]:
        return [self.step_to.get(one) for one in heard]

    def slot_heard(self) -> float:
        """Everything at once, where anything is played through a device."""
        now = self._status
        return 1.0 if now.playing and now.slot is not None and now.state == "running" else 0.0

    def change_programme(self, number: int) -> None:
        self.calls.append(("programme", number))
        self.now(programme=number)


if TYPE_CHECKING:  # both do what the screens ask for: looked at by mypy, never run

    def _is_one(silent: SilentEngine, real: Engine) -> tuple[EngineLike, EngineLike]:
        return silent, real
