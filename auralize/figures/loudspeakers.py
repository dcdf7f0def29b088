"""All loudspeakers of a rig beside each other: what each gets, and what it sees looking back."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from auralize.circuit.power import Drive
from auralize.circuit.solution import solve
from auralize.figures.headlines import headline
from auralize.figures.powers import Driven, programme
from auralize.figures.reference import band_of, reference
from auralize.rig.choice import Choice
from auralize.rig.loads import Band
from auralize.units import decibels


@dataclass(frozen=True)
class Loudspeaker:
    """One of several loudspeakers of a choice."""

    load: str
    loss_db: float
    """Receiving relative to sending end, as for the load listened to."""
    reference_hz: float
    level_db: float | None
    """Level at its terminals over that at those of the first loudspeaker, each under the programme within
    its own band, the turns of transformers in it; minus infinity where it is silent, None where the first is.
    """
    damping_factor: float
    damping_hz: float
    watts: float | None
    """Under the rig's programme; None where that names none."""


def loudspeakers(choice: Choice, driven: Driven | None) -> tuple[Loudspeaker, ...]:
    """Every loudspeaker of a choice in the rig's order; none where there is only one."""
    if len(choice.loads) == 1:
        return ()
    heard = [choice.at(load) for load in choice.loads]
    levels = _levels(heard)
    references = {reference(band_of(one)) for one in heard}
    solved = {hertz: solve(choice.network, [hertz]) for hertz in references}
    found = []
    for one, level in zip(heard, levels, strict=True):
        short = headline(one, solved[reference(band_of(one))])
        found.append(
            Loudspeaker(
                load=one.listen,
                loss_db=short.loss_db,
                reference_hz=short.reference_hz,
                level_db=level - levels[0] if math.isfinite(levels[0]) else None,
                damping_factor=short.damping_factor,
                damping_hz=short.damping_hz,
                watts=None if driven is None else driven.loads[one.listen],
            )
        )
    return tuple(found)


def _levels(heard: list[Choice]) -> list[float]:
    """dB of the mean square at each loudspeaker, per volt of the amplifier's own source voltage."""
    drives: dict[Band, Drive] = {}
    for one in heard:
        drives.setdefault(band_of(one), programme(one, band_of(one)))
    solved = {band: solve(heard[0].network, drive.frequency) for band, drive in drives.items()}
    levels = []
    for one in heard:
        share = np.array(drives[band_of(one)].share)
        voltage = solved[band_of(one)].receiving[one.listen]
        levels.append(decibels(math.sqrt(float(np.sum(share * np.abs(voltage) ** 2)))))
    return levels
