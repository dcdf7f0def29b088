"""What is told of a live input: a snapshot of how it is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

InputState = Literal["waiting", "muted", "sounding", "lost"]


@dataclass(frozen=True)
class InputStatus:
    """How a live input is; a snapshot."""

    name: str
    """Of the device."""
    state: InputState
    """waiting: not confirmed yet; lost: the input is away, and silence is played."""
    latency: float
    """s from the input to its callback, as the device says."""
    ours: float
    """s that lie in the ring and the filters."""
    drift: float | None
    """By how much the input's clock is faster, in parts of the rate; None: both have one clock."""
