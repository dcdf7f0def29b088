"""Powers and heat: what an installation carries when it is driven at a voltage."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from auralize.circuit.conductor import MATERIALS, Complex, Material, Real
from auralize.circuit.network import Network
from auralize.circuit.solution import Solution, solve
from auralize.units import show_frequency


@dataclass(frozen=True)
class Drive:
    """What the rig is driven with: ``volts`` rms at the sending end, spread over ``frequency`` in Hz.

    ``share`` of each frequency in the mean square of the amplifier's own voltage adds up to 1.
    ``crest_factor`` is peak over rms. ``words`` say what it is.
    """

    volts: float
    frequency: tuple[float, ...]
    share: tuple[float, ...]
    crest_factor: float
    words: str

    def __post_init__(self) -> None:
        if not self.volts > 0.0:
            raise ValueError(f"a programme of {self.volts:g} V cannot be; right is above zero")
        if not self.crest_factor >= 1.0:
            raise ValueError("a crest factor is peak over rms, and so 1 or above")

    def within(self, low: float, high: float) -> Drive | None:
        """What of it lies from ``low`` to ``high`` Hz; None where that is nothing."""
        shares = zip(self.frequency, self.share, strict=True)
        kept = [(hertz, share) for hertz, share in shares if low <= hertz <= high]
        whole = sum(share for _, share in kept)
        if whole == 0.0:
            return None
        if len(kept) == len(self.frequency):
            return self
        frequency, share = zip(*((hertz, share / whole) for hertz, share in kept), strict=True)
        words = f"{self.words} within {show_frequency(low)} to {show_frequency(high)}"
        return replace(self, frequency=frequency, share=share, words=words)


_NOISE_POINTS: Final = 601
# 200 a decade: the power into a driver's peak of Q 10 is off by less than 1e-4.
_AUDIBLE: Final = (20.0, 20e3)
# Hz; what is meant where no band is told.


def sine(volts: float, frequency: float) -> Drive:
    """``volts`` rms at one frequency in Hz."""
    words = f"a sine of {show_frequency(frequency)}"
    return Drive(volts, (frequency,), (1.0,), math.sqrt(2.0), words)


def pink_noise(
    volts: float, crest_factor: float, lowest: float = _AUDIBLE[0], highest: float = _AUDIBLE[1]
) -> Drive:
    """``volts`` rms, as much power in each octave between two frequencies in Hz.

    Test noise for loudspeakers has a crest factor of 2 (IEC 60268-5, value from memory), dense
    programme 4, speech and uncompressed music 6 to 10 (common practice, no source).
    """
    if not 0.0 < lowest < highest:
        raise ValueError("pink noise needs a lowest frequency above 0 Hz and a higher highest one")
    frequency = np.geomspace(lowest, highest, _NOISE_POINTS)
    share = np.ones(_NOISE_POINTS)
    share[[0, -1]] = 0.5  # the trapezoidal rule over ln f
    share /= share.sum()
    band = (
        ""
        if (lowest, highest) == _AUDIBLE
        else f" from {' to '.join(map(show_frequency, (lowest, highest)))}"
    )
    return Drive(volts, tuple(frequency), tuple(share), crest_factor, f"pink noise{band}")


def cable_share(solution: Solution, drive: Drive) -> float:
    """Share, 0 to 1, of what the amplifier gives under a drive that runs, joints and terminals make heat of.

    0 where no power flows; of what was solved at the frequencies of the drive.
    """
    return float(share_kept(solution.input_power, solution.cable_share(), drive))


def share_kept(given: Real, kept: Real, drive: Drive) -> Real:
    """Share of all power ``given`` under a drive, ``kept`` being that at each of its frequencies (last axis).

    0 where no power flows.
    """
    weighted = np.array(drive.share) * given
    whole = weighted.sum(axis=-1)
    idle = whole <= 0.0
    return np.where(idle, 0.0, (weighted * kept).sum(axis=-1) / np.where(idle, 1.0, whole))


def driven_weight(sending: Complex, drive: Drive) -> Real:
    """V^2 by which a power per square volt of E counts at each frequency of a drive (last axis).

    Its sum is that of the drive at the ``sending`` end; not finite where that is shorted.
    """
    share = np.array(drive.share)
    mean_square = (share * np.abs(sending) ** 2).sum(axis=-1, keepdims=True)
    with np.errstate(divide="ignore", invalid="ignore"):
        return share * drive.volts**2 / mean_square


@dataclass(frozen=True)
class Budget:
    """Powers in W and currents in A rms, by name."""

    drawn: float
    """What leaves the amplifier: the sum of all powers below."""
    amplifier_current: float
    amplifier_peak: float
    """A; crest factor times rms, which is right for a sine and about right for programme."""
    loads: Mapping[str, float]
    load_current: Mapping[str, float]
    runs: Mapping[str, float]
    """Heat in the cable."""
    run_current: Mapping[str, float]
    """In each conductor, at the near end."""
    joints: Mapping[str, float]
    """Heat in the joints of each run."""
    contacts: Mapping[str, float]
    """Heat in the terminals of each loudspeaker."""
    transformers: Mapping[str, float]


def budget(network: Network, drive: Drive) -> Budget:
    """Where the power goes under a drive. Raises ValueError where the sending end is shorted."""
    solution = solve(network, drive.frequency)
    weight = driven_weight(solution.sending, drive)
    if not np.isfinite(weight).all():
        raise ValueError("the amplifier is shorted at its terminals: no voltage can stand there")

    def total(per_square_volt: Real) -> float:
        return float(np.sum(weight * per_square_volt))

    def rms(per_volt: Complex) -> float:
        return math.sqrt(total(np.abs(per_volt) ** 2))

    current = rms(solution.sent_current)
    return Budget(
        drawn=total(solution.input_power),
        amplifier_current=current,
        amplifier_peak=current * drive.crest_factor,
        loads={n: total(power) for n, power in solution.load_power.items()},
        load_current={n: rms(i) for n, i in solution.current.items()},
        runs={n: total(solution.run_power(n)) for n in network.runs},
        run_current={n: rms(solution.flows[n].near_current) for n in network.runs},
        joints={n: total(solution.joint_power(n)) for n in network.runs},
        contacts={n: total(solution.contact_power(n)) for n in network.loads},
        transformers={n: total(solution.transformer_power(n)) for n in network.transformers},
    )


# Heat in W/(m K) that a two-core flexible cable in free air gives off for each degree of its conductors
# over the air: fitted to the currents for 30 K in BS 7671:2008, table 4F1A (4 mm2 30 A, 6 mm2 39 A,
# 10 mm2 51 A, 16 mm2 73 A), read in a supplier's reprint.
_CONDUCTANCE: Final = 0.34
_CONDUCTANCE_AREA: Final = 4e-6
_CONDUCTANCE_EXPONENT: Final = 0.25

# What current is left of that in free air, by layers on a cylindrical drum; the same table, note 2.
_ON_DRUM: Final = {0: 1.0, 1: 0.85, 2: 0.65, 3: 0.45, 4: 0.35}


def temperature_rise(
    current: float,
    resistance: float,
    area: float,
    *,
    ambient: float = 30.0,
    layers: int = 0,
    material: Material = MATERIALS["copper"],
) -> float:
    """By how many K a two-conductor cable's metal settles above the air; a caution, not a rating.

    ``current`` in A rms in each conductor, ``resistance`` in ohm/m of one at 20 degC, ``area`` in m2,
    ``layers`` on a drum (0: laid out in free air, up to 4). Heat balance with one conductance to the air
    for 0.5 to 16 mm2: the current for 30 K is within 15 % of published ratings from 1.5 mm2 up (thinner
    cables are rated lower: 0.75 mm2 6 A, where this says 11 A).
    Wind, sun, bundles, hours of playing and what the insulation bears are left out. Infinite where the
    balance runs away. Raises ValueError outside of this range.
    """
    if not 0.45e-6 <= area <= 16.5e-6:
        raise ValueError("the estimate of heating holds for 0.5 to 16 mm2")
    if layers not in _ON_DRUM:
        raise ValueError(f"{layers} layers on a drum: the estimate of heating holds up to 4")
    conductance = _CONDUCTANCE * (area / _CONDUCTANCE_AREA) ** _CONDUCTANCE_EXPONENT
    cold = 2.0 * current**2 * resistance / (conductance * _ON_DRUM[layers] ** 2)
    alpha = material.temperature_coefficient
    if alpha * cold >= 1.0:
        return math.inf
    return cold * (1.0 + alpha * (ambient - 20.0)) / (1.0 - alpha * cold)
