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
    SHORTEST,
    Measure,
    deviation_measure,
    heat_measure,
    longest_length,
    loss_measure,
    with_length,
)
from auralize.rig import Choice, Rig

Kind = Literal["loss", "deviation", "heat"]
"""Largest loss, largest deviation of the loss from 1 kHz, or share of power in the cable."""

LONGEST: Final = 10e3
"""m; as long as a rig file can say."""
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
    worst: float
    """Hz at which that is reached; the lowest of `_BAND` where it is the same everywhere."""
    least: float
    """The same with next to nothing of the run: what all the rest of the rig does."""
    longest: float | None
    """m, up to `LONGEST`; None where no length will do."""
    sized: bool
    """False for a cable that was measured, which has no size to change."""
    metric: str | None
    """Thinnest metric size that will do at the rig's length; None where none of the series will."""
    gauge: str | None
    """Thinnest gauge that will do, by its area alone: IEC 60228 has no class for gauges."""


def fit(rig: Rig, choice: Choice, run: str | None, kind: Kind, tolerance: float) -> Fit:
    """Solve for length and size of one ``run`` (None: the only one on the way to the loudspeaker).

    All other runs stay as they are, those of the same cable too. ``tolerance`` in dB, or a share for
    heat, from 20 Hz to 20 kHz. Raises AuralizeError for a run that is not there.
    """
    name = _run(choice, run)
    measure = _measure(choice, kind, _BAND)
    sizes = [f"{area * 1e6:g} mm2" for area in METRIC_AREAS]
    gauges = [f"{gauge} AWG" for gauge in EVEN_GAUGES]
    sized = choice.cables[name].metal is not None
    build = _builder(rig, choice, name)
    return Fit(
        choice=choice.name,
        run=name,
        length=choice.network.runs[name].length,
        now=measure(choice.network),
        worst=max(_BAND, key=lambda hertz: _measure(choice, kind, [hertz])(choice.network)),
        least=measure(with_length(choice.network, name, SHORTEST)),
        longest=longest_length(choice.network, name, measure, tolerance, LONGEST),
        sized=sized,
        metric=_thinnest(sizes, build, measure, tolerance) if sized else None,
        gauge=_thinnest(gauges, build, measure, tolerance) if sized else None,
    )


def _run(choice: Choice, run: str | None) -> str:
    way = choice.network.path(choice.listen)
    if not way:
        raise AuralizeError(
            f"--run: there is no run on the way to {choice.listen}, and so none to fit"
        )
    if run is None and len(way) == 1:
        return way[0]
    if run not in way:
        raise AuralizeError(
            f"--run: name a run on the way to {choice.listen}; right is one of {', '.join(way)}"
        )
    return run


def _measure(choice: Choice, kind: Kind, band: Sequence[float]) -> Measure:
    if kind == "loss":
        return loss_measure(choice.listen, band)
    if kind == "deviation":
        return deviation_measure(choice.listen, band)
    return heat_measure(band)


def _builder(rig: Rig, choice: Choice, run: str) -> Callable[[str], Network]:
    """The choice with the run's cable in another size (its strands as they are, where that size has them)."""
    cable = rig.of(choice)["cables"][choice.cable_names[run]]
    name = f"{choice.cable_names[run]} of {run}"  # other runs may be of the same cable

    def build(size: str) -> Network:
        changed = {("runs", run, "cable"): name, ("cables", name): {**cable, "conductor": size}}
        try:
            return rig.changed(choice, changed).network
        except RigError:
            changed[("cables", name, "strands")] = "stranded"
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
