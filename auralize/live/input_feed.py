"""An input device as something to be played: known by its name alone, as nothing of it is kept."""

from __future__ import annotations

from typing import Final, Never

import numpy as np

from auralize.audio.band_loudness import band_centres
from auralize.errors import RequestError
from auralize.live.guard import Guard
from auralize.live.incoming import CHANNELS, NO_TRIAL
from auralize.live.sources import Spectrum

FIRST_RATE: Final = 48_000
"""Hz, where input and output take it: what most sound servers run at. What a device says of itself is
often not its own rate where a sound server stands before it (ALSA: 44.1 kHz)."""


class InputFeed:
    """An `auralize.live.sources.Feed` that cannot be opened twice: see `auralize.live.incoming`.

    ``wanted``: name, number or part of a name of the device; empty: the default one.
    """

    rate = FIRST_RATE
    channels = CHANNELS
    caution = "A microphone near the loudspeakers howls"

    def __init__(self, wanted: str = "") -> None:
        self.wanted = wanted or None
        self.guard = Guard()

    @property
    def name(self) -> str:
        """What is asked for; the device's own name is known once it is open."""
        return f"live input {self.wanted or 'default'}"

    def opened(self, rate: int) -> Never:
        """Cannot be read: it is heard as it comes."""
        raise RequestError(NO_TRIAL)

    def fingerprint(self) -> Never:
        """There is none, as it is never the same twice."""
        raise RequestError(NO_TRIAL)

    def spectrum(self) -> Spectrum:
        """Not known beforehand: silence in every band."""
        centres = band_centres(FIRST_RATE)
        return centres, np.full_like(centres, -np.inf)
