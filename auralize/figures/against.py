"""Choices compared with one of them: how much louder, where the sound differs, and what that means."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import Final, Literal

import numpy as np

from auralize.audio.bands import OCTAVES
from auralize.circuit.conductor import Complex, Real
from auralize.circuit.power import Drive
from auralize.circuit.signals import Signal
from auralize.circuit.solution import Across
from auralize.errors import AudioFileError
from auralize.figures.lays import extremes
from auralize.figures.powers import programme
from auralize.figures.reference import band_of, sweep
from auralize.figures.typical import variants
from auralize.rig.choice import Choice
from auralize.rig.loads import Band
from auralize.units import rounded

SMALLEST_DB: Final = 0.4
"""dB; the smallest step of level that listeners were shown to hear, of steady white noise: Miller,
"Sensitivity to changes in the intensity of white noise", J. Acoust. Soc. Am. 19 (1947), value from memory.
Of one part of a spectrum it took more, about 1 dB (Green, "Profile Analysis", 1988, value from memory): to
hold the shape against the same limit calls too much audible rather than too little."""
NOTHING_DB: Final = 0.005
"""dB that two decimals do not show."""

Verdict = Literal["none", "under", "open", "level", "over", "silent", "elsewhere"]
"""No difference; under `SMALLEST_DB`; under it, but what is left open may bring it over; over it in level
alone; over it in shape; nothing to compare, as one of the two is silent, or they are heard at different
loudspeakers."""


@dataclass(frozen=True)
class Difference:
    """What one choice does that another does not; numbers are None where there is nothing to compare."""

    choice: str
    against: str
    signal: Signal
    across: Across
    programme: str
    """What the level is weighted by, in words."""
    level_db: float | None
    """Over the programme; above 0 where the choice is louder."""
    largest_db: float | None
    """Of the response, once both are equally loud; above 0 where the choice gives more ..."""
    largest_hz: float | None
    region: str | None
    """... and where, in Hz and in the words of `REGIONS`."""
    brighter_db: float | None
    """Mean over the octaves above 2 kHz less that below 1 kHz; None for a band without both."""
    open_db: float
    """By how much what the lays of both, and typical loudspeakers, leave open may change the difference."""
    verdict: Verdict
    notes: tuple[str, ...]
    """What else differs, of which the numbers say nothing."""


REGIONS: Final = dict(
    zip(
        OCTAVES,
        (
            *("deep bass", "bass", "upper bass", "lower middle", "middle"),
            *("middle", "upper middle", "presence", "brilliance", "top"),
        ),
        strict=True,
    )
)
"""Octaves in words; common practice, no source."""
_LOW, _HIGH = 1000.0, 2000.0
# Hz below and above which the balance of the sound is held against each other.
_CARRIED_DB: Final = 40.0
# Below its loudest third octave, a programme has nothing that would show a difference.
_FILE_CREST: Final = 4.0
# Of no matter to a level.


def spectrum_of(source: Path) -> Drive:
    """A sound file's third octaves, down to 40 dB below the loudest. Raises AudioFileError."""
    from auralize.audio.spectrum import third_octaves  # with it all that reads a sound

    centres, level = third_octaves(source)
    if not np.isfinite(level.max()):
        raise AudioFileError(f"{source}: it is silent; right is a programme to weigh by")
    kept = level > level.max() - _CARRIED_DB
    power = 10.0 ** ((level[kept] - level.max()) / 10.0)
    return Drive(1.0, tuple(centres[kept]), tuple(power / power.sum()), _FILE_CREST, source.name)


def differences(
    choices: Sequence[Choice],
    first: Choice,
    sound: Drive | None = None,
    across: Across = "both",
) -> list[Difference]:
    """Every choice against the first: in what arrives, and for one conductor in the drop ``across`` it.

    Weighted by the rig's programme, or pink noise, within the load's band; or by a sound's own spectrum.
    Raises RequestError where the drop cannot be told.
    """
    wanted: list[tuple[Signal, Across]] = [("receiving", "both")]
    if across != "both":
        wanted.append(("drop", across))
    found = []
    for signal, over in wanted:
        heard = _heard(first, signal, over, sound)
        found += [
            _difference(heard.of(choice), heard) for choice in choices if choice.name != first.name
        ]
    return found


def difference(
    choice: Choice,
    first: Choice,
    signal: Signal,
    across: Across = "both",
    sound: Drive | None = None,
) -> Difference:
    """One choice against the first in one signal; weighted as `differences` says."""
    heard = _heard(first, signal, across, sound)
    return _difference(heard.of(choice), heard)


def _difference(one: _Heard, other: _Heard) -> Difference:
    choice, first = one.choice, other.choice
    found = Difference(
        choice.name, first.name, one.signal, one.across, one.drive.words,
        None, None, None, None, None, 0.0, "elsewhere", _notes(choice, first),
    )  # fmt: skip
    if choice.listen != first.listen:
        return replace(found, notes=())
    level = one.level - other.level
    if not math.isfinite(level):
        return replace(found, verdict="silent")
    shape = one.curve - other.curve - level
    shape = np.where(np.isfinite(shape), shape, 0.0)
    worst = int(np.argmax(np.abs(shape)))
    hertz, largest = float(one.frequency[worst]), float(shape[worst])
    left_open = one.open + other.open + _open_loads(one, other)
    return replace(
        found,
        level_db=level,
        largest_db=largest,
        largest_hz=hertz,
        region=region(hertz),
        brighter_db=_brighter(one.frequency, shape),
        open_db=left_open,
        verdict=_verdict(level, largest, left_open),
    )


def _notes(choice: Choice, first: Choice) -> tuple[str, ...]:
    one, other = (each.loads[each.listen].connected for each in (choice, first))
    notes = []
    if one.reversed != other.reversed:
        notes.append("Plus and minus are swapped in one of the two, which no level tells")
    if one.load != other.load:
        notes.append(
            "The loudspeaker itself differs, and only the voltage at it is compared: it may sound other "
            "than this says"
        )
    turns = (choice.turns_db or 0.0) - (first.turns_db or 0.0)
    if abs(turns) >= NOTHING_DB:
        made = rounded(turns, "+.2f")
        notes.append(f"What the transformers' turns make of the level, {made} dB, is left out")
    return tuple(notes)


def _heard(first: Choice, signal: Signal, across: Across, sound: Drive | None) -> _Heard:
    band = band_of(first)
    drive = (sound and sound.within(*band)) or programme(first, band)
    return _Heard(first, drive, _points(band, drive, sound), signal, across)


def _points(band: Band, drive: Drive, sound: Drive | None) -> Real:
    """Hz at which a difference counts: all of the band, or what of it the sound has."""
    points = sweep(band)
    if sound is None:
        return points
    centres = np.log(np.array(drive.frequency))
    away = np.min(np.abs(np.log(points)[:, None] - centres), axis=1)
    carried = away <= math.log(10.0) / 20.0  # half a third octave, IEC 61260-1
    return points[carried] if carried.any() else np.array(drive.frequency)


@dataclass(frozen=True, eq=False)
class _Heard:
    """A choice, and what is heard of it of a programme; solved once, as it stands against several."""

    choice: Choice
    drive: Drive
    frequency: Real
    signal: Signal
    across: Across

    def of(self, choice: Choice) -> _Heard:
        """What is heard of another choice."""
        return replace(self, choice=choice)

    def _at(self, frequency: Real) -> Complex:
        return self.choice.response(frequency, self.signal, self.across)

    @cached_property
    def _response(self) -> Complex:
        return self._at(self.frequency)

    @cached_property
    def level(self) -> float:
        """dB over the programme; not a number for two that are silent."""
        points = np.array(self.drive.frequency)
        alike = np.array_equal(points, self.frequency)
        response = self._response if alike else self._at(points)
        with np.errstate(divide="ignore"):
            return float(
                10.0 * np.log10(np.sum(np.array(self.drive.share) * np.abs(response) ** 2))
            )

    @cached_property
    def curve(self) -> Real:
        """dB over frequency."""
        with np.errstate(divide="ignore"):
            return 20.0 * np.log10(np.abs(self._response))

    @cached_property
    def open(self) -> float:
        """By how many dB what its lays leave open may change it anywhere."""
        ends = extremes(self.choice, self.across)
        changes = [np.abs(self.of(end).curve - self.curve) for end in ends]
        return float(np.nanmax(changes)) if changes else 0.0


def _open_loads(one: _Heard, other: _Heard) -> float:
    """By how many dB the difference may change where loudspeakers are known by their kind alone."""
    known = one.curve - other.curve
    both = zip(variants(one.choice), variants(other.choice), strict=False)
    changes = [np.abs(one.of(a).curve - other.of(b).curve - known) for a, b in both]
    return float(np.nanmax(changes)) if changes else 0.0


def _verdict(level: float, largest: float, left_open: float) -> Verdict:
    if abs(largest) >= SMALLEST_DB:
        return "over"
    if abs(level) >= SMALLEST_DB:
        return "level"
    most = max(abs(level), abs(largest))
    if most + left_open >= SMALLEST_DB:
        return "open"
    return "none" if most < NOTHING_DB else "under"


def region(hertz: float) -> str:
    """The octave of a frequency in words."""
    return REGIONS[min(OCTAVES, key=lambda centre: abs(math.log(hertz / centre)))]


def _brighter(frequency: Real, shape: Real) -> float | None:
    low, high = shape[frequency <= _LOW], shape[frequency >= _HIGH]
    if not (low.size and high.size):
        return None
    return float(high.mean() - low.mean())
