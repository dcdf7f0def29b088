"""Programme made by synthesis: an evening on the open-air stage of the Saltmarsh Tide Mill."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from .place import placed
from .scores import SCORES
from .sound import BAR, Samples, envelope, frames


@dataclass(frozen=True)
class Section:
    """A stretch of the programme, start and end in seconds, and what a cable may do to it."""

    name: str
    start: float
    end: float
    listen_for: str


SECTIONS: Final[tuple[Section, ...]] = (
    Section(
        "Struck metal",
        0 * BAR,
        2 * BAR,
        "Cymbal, bell and metal bars up to 18 kHz: does the shimmer dull, do the strikes soften?",
    ),
    Section(
        "Brushes",
        2 * BAR,
        4 * BAR,
        "Brushed drum and shaker, 2 to 16 kHz: does the hiss lose air or change colour in the sweep?",
    ),
    Section(
        "Bass",
        4 * BAR,
        7 * BAR,
        "E1 A1 B1 E2 G2 A2 B1, 41 to 110 Hz, round the driver's resonance: are all notes equally "
        "loud, do they stop cleanly?",
    ),
    Section(
        "Plucked strings",
        7 * BAR,
        9 * BAR,
        "Plucked soft, then near the bridge: is the pluck as sharp, is the change of colour there?",
    ),
    Section(
        "Voice",
        9 * BAR,
        12 * BAR,
        "A low voice, vowels and s: do vowels change colour or chestiness, does the s fall back?",
    ),
    Section(
        "Together",
        12 * BAR,
        16 * BAR,
        "Everything at once: the balance of top and bottom, are quiet things still heard?",
    ),
)
LENGTH: Final = SECTIONS[-1].end
"""Seconds."""


LOWEST_RATE: Final = 44_100
HIGHEST_RATE: Final = 192_000
RATE_STEP: Final = 100
PEAK_DBFS: Final = -3.0
"""Level of the largest sample. Peaks between samples: measured under -2.9 dBTP at 48 kHz."""
FADE_IN: Final = 0.15
FADE_OUT: Final = 1.2
"""Seconds, raised cosine, at the edges of the programme."""


def synthesise(rate: int = 48_000) -> Samples:
    """The programme (frames, 2), 24 s, largest sample at PEAK_DBFS, first and last sample 0.

    Rates from 44.1 to 192 kHz in steps of 100 Hz (the grid of 10 ms), else ValueError. The same
    samples at every call on one machine.
    """
    if not LOWEST_RATE <= rate <= HIGHEST_RATE or rate % RATE_STEP:
        raise ValueError(
            f"A sample rate of {rate} Hz does not suit the programme: it must be from "
            f"{LOWEST_RATE} to {HIGHEST_RATE} Hz and a multiple of {RATE_STEP} Hz."
        )
    mix = np.zeros((frames(LENGTH, rate), 2))
    for section, (gain, score) in zip(SECTIONS, SCORES, strict=True):
        for at, sound in score(rate):
            start = frames(section.start + at, rate)
            heard = sound[: len(mix) - start]
            mix[start : start + len(heard)] += gain * heard
    mix = placed(mix, rate) * envelope(LENGTH, FADE_IN, FADE_OUT, rate)[:, None]
    return np.asarray(mix * (10 ** (PEAK_DBFS / 20) / np.abs(mix).max()))
