"""The numbers that follow from a rig: what people ask for, in the units they ask in."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any, Final

import numpy as np

from auralize.circuit.conductor import Real
from auralize.circuit.network import Network, Solution, solve, source_impedance
from auralize.rig import Choice
from auralize.riglay import Added

# Nominal centre frequencies in Hz of the audio bands, IEC 61260-1 (ISO 266 preferred numbers).
OCTAVES: Final = (31.5, 63.0, 125.0, 250.0, 500.0, 1e3, 2e3, 4e3, 8e3, 16e3)
THIRD_OCTAVES: Final = (
    20.0, 25.0, 31.5, 40.0, 50.0, 63.0, 80.0, 100.0, 125.0, 160.0, 200.0, 250.0, 315.0, 400.0, 500.0,
    630.0, 800.0, 1e3, 1.25e3, 1.6e3, 2e3, 2.5e3, 3.15e3, 4e3, 5e3, 6.3e3, 8e3, 10e3, 12.5e3, 16e3, 20e3,
)  # fmt: skip

REFERENCE: Final = 1000.0
"""Hz at which loss, deviation and the power share are stated."""
_SWEEP: Final = np.geomspace(20.0, 20_000.0, 601)
# 60 points a decade: a driver's peak of Q 10 is cut by less than 0.01 dB.


@dataclass(frozen=True)
class Line:
    """One frequency of a choice's table."""

    frequency: float
    """Hz"""
    loss_db: float
    """Receiving relative to sending end; below 0 where the run loses level."""
    loss_degrees: float
    drop_db: float
    """Drop over both conductors, relative to the sending end."""
    load_ohm: float
    """Modulus of the loudspeaker's impedance."""
    load_degrees: float
    cable_ohm: float
    """Loop resistance of all cable on the way, skin and proximity effect in it."""
    cable_uh: float
    """Loop inductance of all cable on the way in microhenry."""


@dataclass(frozen=True)
class Spread:
    """A value as rendered, and its lowest and highest over what a description leaves open."""

    low: float
    rendered: float
    high: float


@dataclass(frozen=True)
class LayFigures:
    """What the lay of one run adds to the same run laid straight."""

    run: str
    lay: str
    added_uh: Spread
    """Inductance at 1 kHz in microhenry."""
    added_milliohm: Spread
    """Resistance at 10 kHz."""
    db_10khz: Spread
    """Change of the loss at the loudspeaker; below 0 where level is lost."""
    db_20khz: Spread
    assumption: str
    """What the rendered value takes for granted."""
    coiled: bool


@dataclass(frozen=True)
class Figures:
    """Everything about one choice that does not depend on the programme."""

    choice: str
    label: str
    runs: dict[str, str]
    load: str
    dc_loop_ohm: float
    """Resistance there and back of all cable on the way."""
    loss_1khz_db: float
    deviation_db: float
    """The largest departure of the loss from its value at 1 kHz, 20 Hz to 20 kHz, with its sign."""
    deviation_hz: float
    damping_factor: float
    """Rated load impedance over what the loudspeaker sees looking back, both at DC."""
    cable_share: float
    """Share of the amplifier's output power at 1 kHz that the cable turns into heat."""
    lays: tuple[LayFigures, ...]
    lines: tuple[Line, ...]

    def as_dict(self) -> dict[str, Any]:
        """Plain data, for JSON."""
        return asdict(self)


def figures(choice: Choice, frequencies: tuple[float, ...] = OCTAVES) -> Figures:
    """All figures of a choice, its table at ``frequencies`` in Hz (0 to 100 kHz and beyond)."""
    network, load = choice.network, choice.listen
    at_1khz = solve(network, [REFERENCE])
    loss_1khz = float(loss_db(at_1khz, load)[0])
    deviation = loss_db(solve(network, _SWEEP), load) - loss_1khz
    worst = int(np.argmax(np.abs(deviation)))
    back = float(source_impedance(network, load, [0.0])[0].real)
    return Figures(
        choice=choice.name,
        label=choice.label,
        runs={name: choice.described[name] for name in network.path(load)},
        load=load,
        dc_loop_ohm=float(_cable_ohm(network, load, np.zeros(1))[0].real),
        loss_1khz_db=loss_1khz,
        deviation_db=float(deviation[worst]),
        deviation_hz=float(_SWEEP[worst]),
        damping_factor=choice.nominal[load] / back if back > 0.0 else float("inf"),
        cable_share=float(at_1khz.cable_share()[0]),
        lays=tuple(_lay_figures(choice, run) for run in network.path(load) if run in choice.lays),
        lines=_lines(network, load, np.asarray(frequencies, dtype=np.float64)),
    )


def loss_db(solution: Solution, load: str) -> Real:
    """Level of the receiving end relative to the sending end, over the solution's frequencies."""
    return 20.0 * np.log10(np.abs(solution.receiving[load] / solution.reference(load)))


def drop_db(solution: Solution, load: str) -> Real:
    """Level of the drop relative to the sending end."""
    with np.errstate(divide="ignore"):  # no cable, no drop: minus infinity dB
        return 20.0 * np.log10(np.abs(solution.drop(load) / solution.reference(load)))


def _lay_figures(choice: Choice, name: str) -> LayFigures:
    lay = choice.lays[name]
    frequency = np.array([REFERENCE, 1e4, 2e4])
    spread = lay.spread()
    variants = [added(frequency) for added in (spread.low, lay.nominal, spread.high)]
    straight = loss_db(solve(_with_lay(choice.network, name, None), frequency), choice.listen)
    changes = [
        loss_db(solve(_with_lay(choice.network, name, added), frequency), choice.listen) - straight
        for added in (spread.low, lay.nominal, spread.high)
    ]
    return LayFigures(
        run=name,
        lay=lay.words,
        added_uh=_spread([z[0].imag / (2.0 * np.pi * REFERENCE) * 1e6 for z in variants]),
        added_milliohm=_spread([z[1].real * 1e3 for z in variants]),
        db_10khz=_spread([change[1] for change in changes]),
        db_20khz=_spread([change[2] for change in changes]),
        assumption=spread.assumption,
        coiled=lay.coiled,
    )


def _with_lay(network: Network, name: str, added: Added | None) -> Network:
    run = replace(network.runs[name], added=added)
    return replace(network, runs={**network.runs, name: run})


def _spread(values: Sequence[float]) -> Spread:
    return Spread(float(min(values)), float(values[1]), float(max(values)))


def _lines(network: Network, load: str, frequency: Real) -> tuple[Line, ...]:
    solution = solve(network, frequency)
    ratio = solution.receiving[load] / solution.reference(load)
    impedance = network.loads[load].load.impedance(frequency)
    ohm = _cable_ohm(network, load, frequency)
    # At 0 Hz an inductance has no reactance to be read from: it is taken a little above.
    nearby = np.maximum(frequency, 1e-2)
    henry = _cable_ohm(network, load, nearby).imag / (2.0 * np.pi * nearby)
    columns = (
        frequency,
        loss_db(solution, load),
        np.degrees(np.angle(ratio)),
        drop_db(solution, load),
        np.abs(impedance),
        np.degrees(np.angle(impedance)),
        ohm.real,
        henry * 1e6,
    )
    return tuple(Line(*(float(v) for v in row)) for row in zip(*columns, strict=True))


def _cable_ohm(network: Network, load: str, frequency: Real) -> np.ndarray[Any, Any]:
    """Series impedance in ohm of all cable between amplifier and loudspeaker."""
    runs = [network.runs[name] for name in network.path(load)]
    return sum((run.series(frequency) for run in runs), np.zeros(frequency.shape, complex))
