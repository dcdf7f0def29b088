"""What length or size would do: the longest run and the thinnest conductor that meet a tolerance."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Final, Literal

from auralize.circuit.network import Network
from auralize.circuit.sizing import (
    EVEN_GAUGES,
    METRIC_AREAS,
    Measure,
    damping_measure,
    deviation_measure,
    heat_measure,
    longest_length,
    loss_measure,
    transformers_alone,
    worst_of,
)
from auralize.errors import RequestError, RigError
from auralize.figures.blame import Limit, Reason, why_no_length, why_no_size
from auralize.figures.lengths import lengths_of
from auralize.figures.powers import programme
from auralize.figures.reference import band_of, damping_points, reference, sweep
from auralize.figures.typical import is_left_open
from auralize.rig.cables import ANY_SIZE
from auralize.rig.choice import Choice
from auralize.rig.loads import HIGHEST, LOWEST, Band, show_band
from auralize.rig.reading import Rig
from auralize.rig.table import guess
from auralize.units import show_frequency

Kind = Literal["loss", "deviation", "damping", "heat"]
"""Largest loss, largest deviation of it from the reference, least damping factor, or largest share of power
in the cable."""

LONGEST_RUN: Final = 10e3
"""m; as long as a rig file can say."""


@dataclass(frozen=True)
class Size:
    """What would do out of one series of sizes."""

    thinnest: str | None
    """None where none of the series will do."""
    largest: str | None
    """The last that was tried; None where the cable can have none (its spacing, its reel)."""
    unlisted: bool = False
    """Whether IEC 60228 does not list the thinnest in the class of the strands: then by area alone."""
    why: tuple[Reason, ...] = ()
    """Why none will do."""


@dataclass(frozen=True)
class Fit:
    """What would do for one run of a choice, or for all runs of one cable."""

    choice: str
    runs: tuple[str, ...]
    length: float
    """m as the rig has it, of all these runs."""
    judged: str
    """Over what: the band, the programme, or the frequency, in words."""
    reference_hz: float
    now: float
    """What the tolerance limits, as the rig has it (dB, damping factor, or share)."""
    worst: float | None
    """Hz at which that is reached; None for heat, which all of the programme makes."""
    worst_load: str | None
    """The loudspeaker at which; None where only one is judged, or for heat."""
    without_turns: bool
    """Whether what transformers lose themselves was left out."""
    left_open: bool
    """Whether a lay, or a loudspeaker of which only the kind is known, has a range that was not judged."""
    shortest: float | None
    """m that was asked, as what lies coiled is not made shorter; None where a cable was to be sized."""
    longest: float | None
    """m, up to `LONGEST_RUN`; None where no length will do, or a cable was to be sized."""
    no_length: tuple[Reason, ...]
    """Why none will do."""
    metric: Size | None
    """Metric sizes at the rig's length; None for a cable that was measured, which has no size."""
    gauge: Size | None
    """Gauges, by their area alone: IEC 60228 has no class for gauges."""


def fit(
    rig: Rig,
    choice: Choice,
    run: str | None,
    kind: Kind,
    tolerance: float,
    *,
    cable: str | None = None,
    load: str | None = None,
    band: Band | None = None,
) -> Fit:
    """Solve for the length and the size of one run that keep a tolerance at the load listened to.

    Parameters
    ----------
    rig : Rig
    choice : Choice
        All other runs stay as they are, those of the same cable too.
    run : str or None
        None: the only one on the way to the loudspeaker.
    kind : {"loss", "deviation", "damping", "heat"}
        What transformers lose themselves counts for the damping factor alone.
    tolerance : float
        dB; for damping the least factor; for heat a share of the amplifier's power, 0 to 1.
    cable, load : str, optional
        Size ``cable`` over all runs of it, for the worst load that hangs on it, or for ``load`` alone.
    band : (float, float), optional
        Hz; else the load's own, or 20 Hz to 20 kHz, but for damping DC (behind a transformer 1 kHz).

    Returns
    -------
    Fit
        ``longest`` in m, ``metric`` and ``gauge``: the thinnest sizes that will do.

    Raises
    ------
    RequestError
        For a run or a cable that is not there, or a band that cannot be.

    Examples
    --------
    >>> import auralize as au
    >>> rig = au.load_rig("saltmarsh.toml")
    >>> found = au.fit(rig, rig["reel"], None, "deviation", 1.0)
    >>> round(found.longest, 1), found.metric.thinnest
    (48.6, '4 mm2')
    """
    choice = choice.at(load)
    fitting = _Fitting(rig, choice, *_asked(choice, run, cable, load))
    return fitting.solved(kind, tolerance, band, of_length=cable is None)


def shown(value: float, kind: Kind) -> float:
    """What a measure says as it is told, or the other way: a damping factor is measured as one over it."""
    if kind != "damping":
        return value
    return 1.0 / value if value > 0.0 else float("inf")


def _asked(
    choice: Choice, run: str | None, cable: str | None, load: str | None
) -> tuple[tuple[str, ...], list[Choice]]:
    """The runs to fit, and the choice at each loudspeaker that is judged."""
    if cable is None:
        return (_run(choice, run),), [choice]
    return _runs_of(choice, cable, load)


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
            f"--run: name a run on the way to {choice.listen}; right is one of {', '.join(way)}; "
            "--cable sizes a cable over all runs that use it"
        )
    return run


def _runs_of(choice: Choice, cable: str, load: str | None) -> tuple[tuple[str, ...], list[Choice]]:
    """All runs of a cable, and the choice at each loudspeaker that hangs on one of them."""
    asked = [choice] if load is not None else [choice.at(name) for name in choice.loads]
    ways = {one.listen: _cables_to(one) for one in asked}
    known = list(dict.fromkeys(name for way in ways.values() for name in way))
    if cable not in known:
        where = choice.listen if len(asked) == 1 else "any loudspeaker"
        right = ", ".join(known) or "none, as there is no run"
        raise RequestError(
            f"--cable: no run on the way to {where} is of {cable!r}{guess(cable, known)} in "
            f"choice {choice.name!r}; right is one of {right}, or a --choice that has it"
        )
    runs = tuple(name for name, run in choice.runs.items() if run.cable_name == cable)
    return runs, [one for one in asked if cable in ways[one.listen]]


def _cables_to(choice: Choice) -> list[str]:
    """The names of the cables on the way to the load."""
    return [choice.runs[name].cable_name for name in choice.network.path(choice.listen)]


def _worst_load(judges: Sequence[Choice], kind: Kind, asked: Band | None) -> str | None:
    """At which of several loudspeakers the measure is worst."""
    if kind == "heat" or len(judges) == 1:
        return None
    return max(judges, key=lambda one: _measures([one], kind, asked)[0](one.network)).listen


def _measures(judges: Sequence[Choice], kind: Kind, asked: Band | None) -> tuple[Measure, str]:
    """What the tolerance limits at the worst of loudspeakers, and over what it is judged, in words."""
    if asked is not None and not LOWEST <= asked[0] < asked[1] <= HIGHEST:
        raise RequestError(f"band: {asked} was found; right is from 20 Hz to 20 kHz at most")
    if kind == "heat":
        drive = programme(judges[0], band_of(judges[0], asked))
        return heat_measure(drive), drive.words
    alike: dict[object, list[Choice]] = {}
    for one in judges:
        key = (band_of(one, asked), one.turns_db is None, one.loads[one.listen].band is None)
        alike.setdefault(key, []).append(one)
    each = [_measure(group, kind, asked) for group in alike.values()]
    words = "; ".join(dict.fromkeys(words for _, words in each))
    return worst_of([measure for measure, _ in each]), words


def _measure(alike: Sequence[Choice], kind: Kind, asked: Band | None) -> tuple[Measure, str]:
    """The same for loudspeakers of one choice that are judged over the same frequencies."""
    choice, loads = alike[0], [one.listen for one in alike]
    band = band_of(choice, asked)
    if kind == "damping":
        points = damping_points(choice, asked)
        at = f"at {show_frequency(points[0])}" if points[0] > 0.0 else "at DC"
        words = at if len(points) == 1 else show_band(band)
        return damping_measure({load: choice.loads[load].nominal for load in loads}, points), words
    network, rest = choice.network, None
    if choice.turns_db is not None:
        rest = transformers_alone(network)
    if kind == "loss":
        return loss_measure(loads, sweep(band), rest), show_band(band)
    return deviation_measure(loads, sweep(band), reference(band), rest), show_band(band)


@dataclass(frozen=True)
class _Fitting:
    """Runs of a choice, to be made as long or as thin as a limit lets them."""

    rig: Rig
    choice: Choice
    runs: tuple[str, ...]
    judges: Sequence[Choice]
    """The choice at each loudspeaker that the limit is for."""

    def solved(self, kind: Kind, tolerance: float, asked: Band | None, *, of_length: bool) -> Fit:
        """All that would do."""
        network = self.choice.network
        measure, judged = _measures(self.judges, kind, asked)
        limit = Limit(measure, shown(tolerance, kind), kind == "damping")
        sized = all(self.choice.runs[name].cable.metal is not None for name in self.runs)
        shortest, longest, no_length = self.length(limit) if of_length else (None, None, ())
        metric = gauge = None
        if sized:
            metric = self.size(limit, [f"{a * 1e6:g} mm2" for a in METRIC_AREAS])
            gauge = self.size(limit, [f"{gauge} AWG" for gauge in EVEN_GAUGES])
        behind = any(one.turns_db is not None for one in self.judges)
        return Fit(
            choice=self.choice.name,
            runs=self.runs,
            length=sum(network.runs[name].length for name in self.runs),
            judged=judged,
            reference_hz=reference(band_of(self.judges[0], asked)),
            now=shown(measure(network), kind),
            worst=None if kind == "heat" else measure.worst(network),
            worst_load=_worst_load(self.judges, kind, asked),
            without_turns=behind and kind in ("loss", "deviation"),
            left_open=is_left_open(self.choice),
            shortest=shortest,
            longest=longest,
            no_length=no_length,
            metric=metric,
            gauge=gauge,
        )

    def length(self, limit: Limit) -> tuple[float, float | None, tuple[Reason, ...]]:
        """The shortest and the longest that the only run may be, or why there is none."""
        (run,) = self.runs
        asked = lengths_of(self.rig, self.choice, run)
        shortest = asked.shortest
        longest = longest_length(asked.at, limit.measure, limit.most, shortest, LONGEST_RUN)
        if longest is not None:
            return shortest, longest, ()
        network = asked.at(shortest)
        assert network is not None  # it was just built
        return shortest, None, why_no_length(network, limit, run)

    def size(self, limit: Limit, sizes: Sequence[str]) -> Size:
        """The first of ``sizes``, thinnest first, that will do."""
        build = self._builder()
        thickest = largest = None
        for size in sizes:
            try:
                network, unlisted = build(size)
            except RigError:  # this cable cannot be of that size, its spacing being given
                continue
            if limit.measure(network) <= limit.most:
                return Size(size, size, unlisted)
            thickest, largest = network, size
        if thickest is None or largest is None:
            return Size(None, None)
        return Size(None, largest, why=why_no_size(thickest, limit, self.runs))

    def _builder(self) -> Callable[[str], tuple[Network, bool]]:
        """The choice with the cable in another size, and whether the class of its strands lacks that."""
        cable_name = self.choice.runs[self.runs[0]].cable_name
        cable = self.rig.of(self.choice)["cables"][cable_name]
        name = f"{cable_name} of {self.runs[0]}"  # other runs may be of the same cable
        cables: dict[tuple[str, ...], Any] = {("runs", run, "cable"): name for run in self.runs}

        def build(size: str) -> tuple[Network, bool]:
            changed: dict[tuple[str, ...], Any] = {
                **cables,
                ("cables", name): {**cable, "conductor": size},
            }
            try:
                return self.rig.changed(self.choice, changed).network, False
            except RigError:
                changed[("cables", name, "strands")] = ANY_SIZE
                return self.rig.changed(self.choice, changed).network, True

        return build
