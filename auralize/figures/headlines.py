"""The two figures that stand beside a choice wherever there is room for no more."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from auralize.circuit.conductor import Real
from auralize.circuit.levels import loss_db
from auralize.circuit.solution import Solution, solve, source_impedance
from auralize.figures.reference import band_of, damping_points, reference
from auralize.rig.choice import Choice


@dataclass(frozen=True)
class Headline:
    """The two figures that stand beside a choice, and the frequencies in Hz that they are at."""

    loss_db: float
    reference_hz: float
    damping_factor: float
    damping_hz: float


def headline(choice: Choice, solved: Solution | None = None) -> Headline:
    """Loss at the reference frequency, and damping factor at the loudspeaker.

    That is rated load impedance over the modulus of what the loudspeaker sees looking back: the least
    in the band that the rig gives the load, or at DC, or (behind a transformer, which DC does not come
    through) at 1 kHz. ``solved``: its network at the reference frequency, where known.
    """
    network, load = choice.network, choice.listen
    at = reference(band_of(choice))
    loss = loss_db(solved or solve(network, [at]), load)
    points = damping_points(choice)
    back = np.abs(source_impedance(network, load, points))
    worst = int(np.argmax(back))
    factor = damping_factor(back[worst], choice.loads[load].nominal)
    return Headline(float(loss[0]), at, float(factor), float(points[worst]))


def damping_factor(back: Real, nominal: Real | float) -> Real:
    """Of ohm that a loudspeaker of a rated impedance sees looking back; infinite where that is none."""
    with np.errstate(divide="ignore"):
        return np.divide(nominal, back)
