"""What length or size would do: the longest run and the thinnest conductor that meet a tolerance."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final, Literal

from auralize.circuit.network import Network
from auralize.circuit.sizing import (
    EVEN_GAUGES,
    METRIC_AREAS,
    SHORTEST_RUN,
    Measure,
    deviation_measure,
    heat_measure,
    longest_length,
    loss_measure,
    with_length,
)
from auralize.errors import RequestError, RigError
from auralize.figures.reference import SWEEP
from auralize.rig.cables import ANY_SIZE
from auralize.rig.choice import Choice
from auralize.rig.reading import Rig

Kind = Literal["loss", "deviation", "heat"]
"""Largest loss, largest deviation of the loss from 1 kHz, or share of power in the cable."""

LONGEST_RUN: Final = 10e3
"""m; as long as a rig file can say."""
_BAND: Final = tuple(float(hertz) for hertz in SWEEP)
"""Hz; the frequencies of the figures, so that both find the worst at the same one."""


@dataclass(frozen=True)
class Size:
    """What would do out of one series of sizes."""

    thinnest: str | None
    """None where none of the series will do."""
    largest: str | None
    """The last that was tried; None where the cable can have none (its spacing, its reel)."""
    unlisted: bool = False
    """Whether IEC 60228 does not list the thinnest in the class of the strands: then by area alone."""


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
    """m, up to `LONGEST_RUN`; None where no length will do."""
    metric: Size | None
    """Metric sizes at the rig's length; None for a cable that was measured, which has no size."""
    gauge: Size | None
    """Gauges, by their area alone: IEC 60228 has no class for gauges."""


def fit(rig: Rig, choice: Choice, run: str | None, kind: Kind, tolerance: float) -> Fit:
    """Solve for the length and the size of one run that keep a tolerance, from 20 Hz to 20 kHz.

    Parameters
    ----------
    rig : Rig
    choice : Choice
        One of its choices. All other runs stay as they are, those of the same cable too.
    run : str or None
        None: the only one on the way to the loudspeaker.
    kind : {"loss", "deviation", "heat"}
    tolerance : float
        dB; for heat a share of the amplifier's power, 0 to 1.

    Returns
    -------
    Fit
        ``longest`` in m, ``metric`` and ``gauge``: the thinnest sizes that will do.

    Raises
    ------
    RequestError
        For a run that is not there.

    Examples
    --------
    >>> import auralize as au
    >>> rig = au.load_rig("saltmarsh.toml")
    >>> found = au.fit(rig, rig["reel"], None, "deviation", 1.0)
    >>> round(found.longest, 1), found.metric.thinnest
    (48.6, '4 mm2')
    """
    name = _run(choice, run)
    measure = _measure(choice, kind, _BAND)
    sizes = [f"{area * 1e6:g} mm2" for area in METRIC_AREAS]
    gauges = [f"{gauge} AWG" for gauge in EVEN_GAUGES]
    sized = choice.runs[name].cable.metal is not None
    build = _builder(rig, choice, name)
    return Fit(
        choice=choice.name,
        run=name,
        length=choice.network.runs[name].length,
        now=measure(choice.network),
        worst=_worst(choice, kind),
        least=measure(with_length(choice.network, name, SHORTEST_RUN)),
        longest=longest_length(choice.network, name, measure, tolerance, LONGEST_RUN),
        metric=_thinnest(sizes, build, measure, tolerance) if sized else None,
        gauge=_thinnest(gauges, build, measure, tolerance) if sized else None,
    )


def _run(choice: Choice, run: str | None) -> str:
    way = choice.network.path(choice.listen)
    if not way:
        raise RequestError(
            f"--run: there is no run on the way to {choice.listen}, and so none to fit"
        )
    if run is None and len(way) == 1:
        return way[0]
    if run not in way:
        raise RequestError(
            f"--run: name a run on the way to {choice.listen}; right is one of {', '.join(way)}"
        )
    return run


def _measure(choice: Choice, kind: Kind, band: Sequence[float]) -> Measure:
    if kind == "loss":
        return loss_measure(choice.listen, band)
    if kind == "deviation":
        return deviation_measure(choice.listen, band)
    return heat_measure(band)


def _worst(choice: Choice, kind: Kind) -> float:
    """The frequency of `_BAND` where the choice is worst, found by halving; the lowest of several."""
    band = _BAND
    while len(band) > 1:
        halves = band[: len(band) // 2], band[len(band) // 2 :]
        band = max(halves, key=lambda half: _measure(choice, kind, half)(choice.network))
    return band[0]


def _builder(rig: Rig, choice: Choice, run: str) -> Callable[[str], tuple[Network, bool]]:
    """The choice with the run's cable in another size, and whether the class of its strands lacks that."""
    cable_name = choice.runs[run].cable_name
    cable = rig.of(choice)["cables"][cable_name]
    name = f"{cable_name} of {run}"  # other runs may be of the same cable

    def build(size: str) -> tuple[Network, bool]:
        changed = {("runs", run, "cable"): name, ("cables", name): {**cable, "conductor": size}}
        try:
            return rig.changed(choice, changed).network, False
        except RigError:
            changed[("cables", name, "strands")] = ANY_SIZE
            return rig.changed(choice, changed).network, True

    return build


def _thinnest(
    sizes: Sequence[str],
    build: Callable[[str], tuple[Network, bool]],
    measure: Measure,
    tolerance: float,
) -> Size:
    """The first of ``sizes``, thinnest first, that will do."""
    largest = None
    for size in sizes:
        try:
            network, unlisted = build(size)
        except RigError:  # this cable cannot be of that size, its spacing being given
            continue
        largest = size
        if measure(network) <= tolerance:
            return Size(size, largest, unlisted)
    return Size(None, largest)
