"""What length or size would do: the longest run and the thinnest conductor that meet a tolerance."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from auralize.circuit.network import Network
from auralize.errors import AuralizeError, RigError
from auralize.installation import (
    EVEN_GAUGES,
    METRIC_AREAS,
    Measure,
    deviation_measure,
    heat_measure,
    longest_length,
    loss_measure,
)
from auralize.rig import Choice, Rig

Kind = Literal["loss", "deviation", "heat"]
"""Largest loss, largest deviation of the loss from 1 kHz, or share of power in the cable."""

_BAND: Final = tuple(np.geomspace(20.0, 20_000.0, 121))
"""Hz; 40 a decade."""


@dataclass(frozen=True)
class Fit:
    """What would do for one run of a choice."""

    choice: str
    run: str
    length: float
    """m, as the rig has it."""
    now: float
    """What the tolerance limits, as the rig has it (dB, or share)."""
    longest: float | None
    """m; None where no length will do."""
    metric: str | None
    """Thinnest metric size that will do at the rig's length; None where none of the series will."""
    gauge: str | None
    """Thinnest gauge that will do."""


def fit(rig: Rig, choice: Choice, run: str | None, kind: Kind, tolerance: float) -> Fit:
    """Solve for length and size of one ``run`` (None: the only one on the way to the loudspeaker).

    ``tolerance`` in dB, or a share for heat, from 20 Hz to 20 kHz. Raises AuralizeError for a run that
    is not there, or cannot be of another size.
    """
    name = _run(choice, run)
    measure = _measure(choice, kind)
    sizes = [f"{area * 1e6:g} mm2" for area in METRIC_AREAS]
    gauges = [f"{gauge} AWG" for gauge in EVEN_GAUGES]
    return Fit(
        choice=choice.name,
        run=name,
        length=choice.network.runs[name].length,
        now=measure(choice.network),
        longest=longest_length(choice.network, name, measure, tolerance),
        metric=_thinnest(sizes, _builder(rig, choice, name), measure, tolerance),
        gauge=_thinnest(gauges, _builder(rig, choice, name), measure, tolerance),
    )


def _run(choice: Choice, run: str | None) -> str:
    way = choice.network.path(choice.listen)
    if run is None and len(way) == 1:
        return way[0]
    if run not in way:
        known = ", ".join(way) or "none"
        raise AuralizeError(
            f"--run: name a run on the way to {choice.listen}; right is one of {known}"
        )
    return run


def _measure(choice: Choice, kind: Kind) -> Measure:
    if kind == "loss":
        return loss_measure(choice.listen, _BAND)
    if kind == "deviation":
        return deviation_measure(choice.listen, _BAND)
    return heat_measure(_BAND)


def _builder(rig: Rig, choice: Choice, run: str) -> Callable[[str], Network]:
    """The choice with the run's cable in another size (its strands as they are, where that size has them)."""
    cable = choice.cable_names[run]

    def build(size: str) -> Network:
        changed = {("cables", cable, "conductor"): size}
        try:
            return rig.changed(choice, changed).network
        except RigError:
            changed[("cables", cable, "strands")] = "stranded"
            return rig.changed(choice, changed).network

    return build


def _thinnest(
    sizes: Sequence[str], build: Callable[[str], Network], measure: Measure, tolerance: float
) -> str | None:
    """The first of ``sizes``, thinnest first, that will do."""
    for size in sizes:
        try:
            network = build(size)
        except RigError:  # this cable cannot be of that size, its spacing being given
            continue
        if measure(network) <= tolerance:
            return size
    return None
