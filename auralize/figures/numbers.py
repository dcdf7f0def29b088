"""The numbers that follow from a rig: what people ask for, in the units they ask in."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from functools import cache, partial
from typing import Any, Final

import numpy as np

from auralize.audio.bands import OCTAVES
from auralize.circuit.conductor import Real
from auralize.circuit.levels import arriving, drop_db, loss_db
from auralize.circuit.network import Network
from auralize.circuit.power import cable_share
from auralize.circuit.sizing import only
from auralize.circuit.solution import Across, solve, source_impedance
from auralize.figures.headlines import damping_factor, headline
from auralize.figures.lays import LayFigures, lay_figures
from auralize.figures.loudspeakers import Loudspeaker, loudspeakers
from auralize.figures.powers import Driven, driven, programme
from auralize.figures.reference import SWEEP, band_of, sweep
from auralize.figures.typical import Judged, TypicalFigures, typical_figures
from auralize.rig.choice import Choice
from auralize.rig.loads import Band
from auralize.units import rounded, show_frequency


@dataclass(frozen=True)
class Line:
    """One frequency of a choice's table."""

    frequency: float
    """Hz"""
    loss_db: float
    """Receiving relative to sending end; below 0 where the run loses level."""
    loss_degrees: float
    drop_db: float
    """Drop relative to the sending end, over the conductors that `Figures` says."""
    load_ohm: float
    """Modulus of the loudspeaker's impedance."""
    load_degrees: float
    cable_ohm: float
    """Loop resistance of all cable on the way, skin and proximity effect in it."""
    cable_uh: float
    """Loop inductance of all cable on the way in microhenry."""
    damping: float
    """Damping factor: rated load impedance over the modulus of what the loudspeaker sees looking back."""


@dataclass(frozen=True)
class Figures:
    """Everything about one choice that does not depend on the programme."""

    choice: str
    label: str
    runs: dict[str, str]
    load: str
    dc_loop_ohm: float
    """Resistance there and back of all cable on the way."""
    band_hz: Band
    """Within which the load plays and is judged; 20 Hz to 20 kHz where the rig names no band."""
    reference_hz: float
    """1 kHz, or the middle of a band without it; see `reference.reference`."""
    loss_db: float
    """At the reference."""
    deviation_db: float
    """The largest departure of the loss from that, over the band, with its sign."""
    deviation_hz: float
    damping_factor: float
    """See `headline`."""
    damping_hz: float
    """At which it is that."""
    cable_share: float
    """Share of the amplifier's output power that the cable turns into heat, under ``programme``."""
    programme: str
    """The rig's, as far as it lies in the band, or pink noise over that; in words."""
    turns_db: float | None
    """dB that transformers' turns make, in no level here; None where there are none."""
    lowest_ohm: float
    """Lowest impedance that the amplifier sees, 20 Hz to 20 kHz."""
    lowest_hz: float
    reversed: bool
    """Whether plus and minus are swapped at the loudspeaker."""
    notes: tuple[str, ...]
    driven: Driven | None
    """None where the rig names no programme, or its amplifier is shorted."""
    loudspeakers: tuple[Loudspeaker, ...]
    """All of the rig; none where there is only the one listened to."""
    lays: tuple[LayFigures, ...]
    typical: TypicalFigures | None
    """How far it all goes where loads are known by their kind alone; None where none is."""
    drop_across: Across
    """Which conductors the drop is over."""
    lines: tuple[Line, ...]

    def as_dict(self) -> dict[str, Any]:
        """Plain data, for JSON."""
        return asdict(self)


_BEHIND_TRANSFORMER: Final = (
    "{load} is behind a transformer: {turns}; cable on both sides is added up as it is; of its loss at "
    "{hertz}, {own} dB are the transformers' own, and so is a part of the drop"
)


def figures(
    choice: Choice, frequencies: tuple[float, ...] = OCTAVES, across: Across = "both"
) -> Figures:
    """All figures of a choice, its table at ``frequencies`` in Hz (0 to 100 kHz and beyond).

    Raises RequestError where the drop ``across`` these conductors cannot be told.
    """
    choice.check_signal("drop", across)
    network, load = choice.network, choice.listen
    solved = cache(partial(solve, network))  # two or three times the same frequencies
    short, band, swept = headline(choice), band_of(choice), solved(tuple(SWEEP))
    heard = sweep(band)
    deviation = deviation_of(loss_db(solved(tuple(heard)), load), short.loss_db)
    drive = programme(choice, band)
    under = driven(choice)
    worst, lowest = int(np.argmax(np.abs(deviation))), int(np.argmin(np.abs(swept.presented)))
    return Figures(
        choice=choice.name,
        label=choice.label,
        runs={name: choice.runs[name].words for name in network.path(load)},
        load=load,
        dc_loop_ohm=float(_way_ohm(network, load, np.zeros(1))[0].real),
        band_hz=band,
        reference_hz=short.reference_hz,
        loss_db=short.loss_db,
        deviation_db=float(deviation[worst]),
        deviation_hz=float(heard[worst]),
        damping_factor=short.damping_factor,
        damping_hz=short.damping_hz,
        cable_share=cable_share(solved(drive.frequency), drive),
        programme=drive.words,
        turns_db=choice.turns_db,
        lowest_ohm=float(np.abs(swept.presented[lowest])),
        lowest_hz=float(SWEEP[lowest]),
        reversed=network.loads[load].reversed,
        notes=_notes(choice),
        driven=under,
        loudspeakers=loudspeakers(choice, under),
        lays=tuple(
            lay_figures(choice, run, lay)
            for run in network.path(load)
            if (lay := choice.runs[run].lay) is not None
        ),
        typical=typical_figures(choice, lambda variant: _judged(variant, across)),
        drop_across=across,
        lines=_lines(choice, np.asarray(frequencies, dtype=np.float64), across),
    )


def _judged(choice: Choice, across: Across) -> Judged:
    """What a typical load leaves open."""
    short, load = headline(choice), choice.listen
    loss = loss_db(solve(choice.network, sweep(band_of(choice))), load)
    drop = drop_db(solve(choice.network, [short.reference_hz]), load, across)
    return Judged(
        short.loss_db,
        float(np.abs(deviation_of(loss, short.loss_db)).max()),
        float(drop[0]),
        short.damping_factor,
    )


def _notes(choice: Choice) -> tuple[str, ...]:
    notes = [*choice.notes, *_parallel(choice.network)]
    if choice.turns_words:
        at = headline(choice).reference_hz
        notes.append(
            _BEHIND_TRANSFORMER.format(
                load=choice.listen,
                turns=choice.turns_words,
                hertz=show_frequency(at),
                own=rounded(_transformers_own(choice.network, choice.listen, at), ".2f"),
            )
        )
    return tuple(notes)


def _transformers_own(network: Network, load: str, frequency: float) -> float:
    """dB that transformers would lose on lines without loss."""
    alone = only(network, transformers=network.transformers, amplifier=True)
    return -float(loss_db(solve(alone, [frequency]), load)[0])


def _parallel(network: Network) -> list[str]:
    """A sentence for each place where several loudspeakers are connected."""
    at: dict[str | None, list[str]] = {}
    for name, connected in network.loads.items():
        at.setdefault(connected.at, []).append(name)
    return [
        f"Loads {', '.join(names[:-1])} and {names[-1]} are in parallel {_place(network, place)}"
        for place, names in at.items()
        if len(names) > 1
    ]


def _place(network: Network, name: str | None) -> str:
    if name is None:
        return "at the amplifier"
    return f"at the end of run {name}" if name in network.runs else f"on transformer {name}"


def deviation_of(loss: Real, at_reference: Real | float) -> Real:
    """Loss less its value at the reference; none where nothing arrives at all."""
    return np.where(np.isfinite(loss), loss, 0.0) - np.where(
        np.isfinite(at_reference), at_reference, 0.0
    )


def _lines(choice: Choice, frequency: Real, across: Across) -> tuple[Line, ...]:
    network, load = choice.network, choice.listen
    solution = solve(network, frequency)
    impedance = network.loads[load].load.impedance(frequency)
    ohm = _way_ohm(network, load, frequency)
    # At 0 Hz an inductance has no reactance to be read from: it is taken a little above.
    nearby = np.maximum(frequency, 1e-2)
    henry = _way_ohm(network, load, nearby).imag / (2.0 * np.pi * nearby)
    back = np.abs(source_impedance(network, load, frequency))
    damping = damping_factor(back, choice.loads[load].nominal)
    columns = (
        frequency,
        loss_db(solution, load),
        np.degrees(np.angle(arriving(solution, load))),
        drop_db(solution, load, across),
        np.abs(impedance),
        np.degrees(np.angle(impedance)),
        ohm.real,
        henry * 1e6,
        damping,
    )
    return tuple(Line(*(float(v) for v in row)) for row in zip(*columns, strict=True))


def _way_ohm(network: Network, load: str, frequency: Real) -> np.ndarray[Any, Any]:
    """Series impedance in ohm of all cable and joints between amplifier and loudspeaker."""
    runs = [network.runs[name] for name in network.path(load)]
    joints = sum(run.near.both + run.far.both for run in runs) + network.loads[load].contact.both
    return sum((run.series(frequency) for run in runs), np.full(frequency.shape, joints, complex))
