"""The numbers that follow from a rig: what people ask for, in the units they ask in."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any, Final

import numpy as np

from auralize.circuit.conductor import Real
from auralize.circuit.network import Network, Solution, solve, source_impedance
from auralize.rig import Choice

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
        lines=_lines(network, load, np.asarray(frequencies, dtype=np.float64)),
    )


def loss_db(solution: Solution, load: str) -> Real:
    """Level of the receiving end relative to the sending end, over the solution's frequencies."""
    return 20.0 * np.log10(np.abs(solution.receiving[load] / solution.sending))


def drop_db(solution: Solution, load: str) -> Real:
    """Level of the drop relative to the sending end."""
    return 20.0 * np.log10(np.abs(solution.drop(load) / solution.sending))


def _lines(network: Network, load: str, frequency: Real) -> tuple[Line, ...]:
    solution = solve(network, frequency)
    ratio = solution.receiving[load] / solution.sending
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
    return sum(
        (r.cable.series(frequency) * r.length for r in runs), np.zeros(frequency.shape, complex)
    )
