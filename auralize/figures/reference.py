"""The frequencies at which figures are stated, and the band within which a choice is judged."""

from __future__ import annotations

import math
from typing import Final

import numpy as np

from auralize.audio.bands import THIRD_OCTAVES
from auralize.circuit.conductor import Real
from auralize.rig.choice import Choice
from auralize.rig.loads import WHOLE, Band

REFERENCE: Final = 1000.0
"""Hz at which loss and deviation are stated wherever the band has it."""
POINTS_PER_DECADE: Final = 200
"""A driver's peak of Q 10 is cut by less than 0.06 dB, its loss by far less."""


def sweep(band: Band) -> Real:
    """Hz, from one end of a band to the other in equal steps of the logarithm."""
    low, high = band
    steps = math.ceil(POINTS_PER_DECADE * math.log10(high / low))
    return np.geomspace(low, high, max(steps, 1) + 1)


SWEEP: Final = sweep(WHOLE)
"""The same over all that is heard."""


def band_of(choice: Choice, asked: Band | None = None) -> Band:
    """The band in Hz that was ``asked`` for, else that of the load listened to, else all that is heard."""
    return asked or choice.loads[choice.listen].band or WHOLE


def reference(band: Band) -> float:
    """Hz at which loss and deviation are stated: 1 kHz if the band has it, else its geometric middle.

    The middle is rounded to a nominal third-octave frequency where that lies in the band.
    """
    low, high = band
    if low <= REFERENCE <= high:
        return REFERENCE
    middle = math.sqrt(low * high)
    nominal = min(THIRD_OCTAVES, key=lambda hertz: abs(math.log(hertz / middle)))
    return nominal if low <= nominal <= high else middle


def damping_points(choice: Choice, asked: Band | None = None) -> Real:
    """Hz of which the least damping factor counts: a band's, where one was asked for or is the load's.

    Else 0 Hz alone, or the reference behind a transformer, which DC does not come through.
    """
    if asked or choice.loads[choice.listen].band:
        return sweep(band_of(choice, asked))
    return np.array([0.0 if choice.turns_db is None else reference(WHOLE)])
