"""What is told of listening live: events as they come, and snapshots of how things are."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from auralize.gains import DropsWay, Gains, Heard, Match

Certainty = Literal["unknown", "predicted", "measured"]
EventKind = Literal["device", "fault", "edit", "programme", "underrun", "refused"]
State = Literal["closed", "opening", "running", "silent", "lost"]


@dataclass(frozen=True)
class Event:
    """Something to be told: one line, with what to do about it."""

    kind: EventKind
    """fault: of the device, until the next event of it; refused: what was asked for cannot be."""
    text: str


@dataclass(frozen=True)
class ListeningStatus:
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
    drops: DropsWay
    makeup: float | None
    """dB that was given for drops at one gain; None: chosen."""
    silent: bool
    """``heard`` is known to have no loudness: it cannot be matched or made up."""
    rising: float
    """dB that ``heard`` has still to come up, as it is much louder than what was heard before."""


@dataclass(frozen=True)
class Status(ListeningStatus):
    """A snapshot of the listening and its device."""

    state: State
    """running: callbacks come; silent: they have stopped; lost: opened again as soon as it goes."""
    device: str | None
    rate: int
    """Hz"""
    latency: float
    """s between a block's making and its sound, as the device says."""
    underruns: int
    """Times that the device went without sound, and blocks that came too late from disk."""
