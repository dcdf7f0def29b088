"""The rig under its programme: where the power goes, and what gets warm."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from auralize.circuit.power import Budget, Drive, budget, pink_noise, temperature_rise
from auralize.rig.choice import Choice
from auralize.rig.loads import Band
from auralize.units import decibels


@dataclass(frozen=True)
class Heated:
    """A run under the rig's programme."""

    watts: float
    """Heat in the cable."""
    joint_watts: float
    amperes: float
    """rms there and back, at the near end."""
    rise_kelvin: float | None
    """A caution, see `power.temperature_rise`; None where that knows no such cable."""


@dataclass(frozen=True)
class Driven:
    """The rig under its programme: where the power goes.

    ``drawn_watts`` is the sum of loads, contacts, runs with their joints, and transformers.
    """

    signal: str
    """What the programme is, in words."""
    volts: float
    """rms at the amplifier's terminals."""
    crest_factor: float
    peak_volts: float
    """Crest factor times rms."""
    rated_volts: float | None
    """Peak that the amplifier's rating allows; None where the rig names no rating, or no load for it."""
    peak_over_db: float | None
    """By how much the peaks pass that; below 0 where they do not."""
    drawn_watts: float
    amplifier_amperes: float
    peak_amperes: float
    rating_watts: float | None
    tapped_watts: float
    """Sum of the taps of the line's transformers."""
    loads: dict[str, float]
    """W by loudspeaker."""
    contacts: dict[str, float]
    """W lost in the terminals of each."""
    runs: dict[str, Heated]
    transformers: dict[str, float]
    """W lost in each."""


_COILED_LAYERS = 4
"""Layers on a drum that a coiled run is taken as: the worst that the estimate knows."""


_USUAL_CREST: Final = 4.0
"""Of dense programme; of no matter to a share of power."""


def programme(choice: Choice, band: Band) -> Drive:
    """What heat is weighted by: the rig's programme as far as it lies in a band.

    Pink noise over the band where the rig names none, or none of it lies there.
    """
    return (choice.drive and choice.drive.within(*band)) or pink_noise(1.0, _USUAL_CREST, *band)


def driven(choice: Choice) -> Driven | None:
    """Where the power goes; None where the rig names no programme, or its amplifier is shorted."""
    if choice.drive is None:
        return None
    try:
        found = budget(choice.network, choice.drive)
    except ValueError:  # shorted at its terminals, the amplifier gives no voltage
        return None
    heated = {
        name: Heated(
            found.runs[name],
            found.joints[name],
            found.run_current[name],
            _rise(choice, name, found),
        )
        for name in choice.network.runs
    }
    peak = choice.drive.volts * choice.drive.crest_factor
    rated = None
    if choice.rating is not None and choice.rated_into is not None:
        rated = math.sqrt(2.0 * choice.rating * choice.rated_into)
    return Driven(
        signal=choice.drive.words,
        volts=choice.drive.volts,
        crest_factor=choice.drive.crest_factor,
        peak_volts=peak,
        rated_volts=rated,
        peak_over_db=None if rated is None else decibels(peak / rated),
        drawn_watts=found.drawn,
        amplifier_amperes=found.amplifier_current,
        peak_amperes=found.amplifier_peak,
        rating_watts=choice.rating,
        tapped_watts=sum(t.tap for t in choice.transformers.values() if t.tap is not None),
        loads=dict(found.loads),
        contacts=dict(found.contacts),
        runs=heated,
        transformers=dict(found.transformers),
    )


def _rise(choice: Choice, name: str, found: Budget) -> float | None:
    metal, lay = choice.runs[name].cable.metal, choice.runs[name].lay
    layers = _COILED_LAYERS if lay is not None and lay.coiled else 0
    if metal is None:
        return None
    try:
        return temperature_rise(
            found.run_current[name],
            metal.resistance,
            metal.area,
            layers=layers,
            material=metal.material,
        )
    except ValueError:  # a size that the estimate does not know
        return None
