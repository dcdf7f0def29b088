"""Loudspeakers of which only the kind and the nominal impedance are known: invented, of usual parts.

No loudspeaker is like any of these; values and how far they vary are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from itertools import product
from typing import Final, Literal

import numpy as np

from auralize.circuit.conductor import Complex, Real
from auralize.circuit.crossover import Capacitor, Coil, Crossover, InSeries, Ladder, Rung
from auralize.circuit.loudspeaker import Driver, Load, Resistor, Several, Vent
from auralize.circuit.transformer import Transformer, make_line_transformer

Step = Literal[-1, 0, 1]
"""The least, the usual, the most of what varies."""


@dataclass(frozen=True)
class Variant:
    """What is not known of a loudspeaker, each at its least, as usual, or at its most."""

    resonance: Step = 0
    lowest: Step = 0
    inductance: Step = 0


USUAL: Final = Variant()
_ENDS: Final[tuple[Step, Step]] = (-1, 1)
CORNERS: Final = tuple(Variant(*steps) for steps in product(_ENDS, _ENDS, _ENDS))
"""All that can be at its least or most together."""

RESONANCES: Final = (0.8, 1.0, 1.25)
"""Times those of the boxes and horns below."""
INDUCTANCES: Final = (0.6, 1.0, 1.6)
"""Times those of the voice coils below."""
SHARES: Final = (0.8, 0.88, 1.0)
"""Lowest over nominal impedance: 80 % is the least that IEC 60268-5 allows (value from memory)."""
_PLAIN_SHARES: Final = (0.8, 1.0, 1.25)


@dataclass(frozen=True)
class _Transformed(Load):
    """A load behind a transformer."""

    transformer: Transformer
    load: Load

    def port(self, frequency: Real) -> Complex:
        """Of the primary."""
        matrix, _ = self.transformer.two_port(frequency)
        return np.asarray((matrix @ self.load.port(frequency)[..., None])[..., 0])


def _box(ohm: float, hertz: float, q: float, coil: float, air: float, tuned: float = 0.0) -> Driver:
    """A driver of Re, fs, Qes (Qms 5) and Le, in a box with Vas/volume ``air``, vented if ``tuned``."""
    vent = Vent(tuned, q_leakage=7.0) if tuned else None
    return Driver(ohm, hertz, 5.0, q, coil, 20.0 * coil, air, vent=vent)


def _tweeter(coil: float) -> Driver:
    return Driver(5.8, 900.0, 2.5, 1.3, 0.04e-3 * coil)


def _way(*parts: tuple[Literal["series", "shunt"], Load], end: Load) -> Ladder:
    return Ladder(tuple(Rung(place, part) for place, part in parts), end)


def _small_two_way(f: float, coil: float) -> Load:
    woofer = _box(5.8, 50.0 * f, 0.45, 0.3e-3 * coil, 1.2, 52.0 * f)
    low = _way(
        ("series", Coil(1.0e-3, 0.3)),
        ("shunt", InSeries((Capacitor(8.2e-6), Resistor(5.0)))),
        end=woofer,
    )
    high = _way(
        ("series", Resistor(2.7)),
        ("series", Capacitor(5.6e-6)),
        ("shunt", Coil(0.45e-3, 0.3)),
        end=_tweeter(coil),
    )
    return Crossover({"low": low, "high": high})


def _large_two_way(f: float, coil: float) -> Load:
    woofer = _box(5.6, 42.0 * f, 0.35, 0.7e-3 * coil, 1.5, 48.0 * f)
    low = _way(
        ("series", Coil(1.5e-3, 0.3)),
        ("shunt", InSeries((Capacitor(10e-6), Resistor(6.0)))),
        end=woofer,
    )
    high = _way(
        ("series", Resistor(5.0)),
        ("series", Capacitor(6.8e-6)),
        ("shunt", Coil(0.7e-3, 0.3)),
        ("series", Resistor(6.0)),
        end=Driver(6.0, 650.0, 3.0, 1.1, 0.08e-3 * coil),
    )
    return Crossover({"low": low, "high": high})


def _three_way(f: float, coil: float) -> Load:
    woofer = _box(5.8, 30.0 * f, 0.4, 0.8e-3 * coil, 1.5)
    low = _way(
        ("series", Coil(3.3e-3, 0.4)),
        ("shunt", InSeries((Capacitor(33e-6), Resistor(10.0)))),
        end=woofer,
    )
    middle = _way(
        ("series", Resistor(3.9)),
        ("series", Capacitor(22e-6)),
        ("series", Coil(0.5e-3, 0.2)),
        ("shunt", InSeries((Capacitor(6.8e-6), Resistor(4.0)))),
        end=Driver(6.0, 220.0, 3.0, 0.9, 0.15e-3 * coil),
    )
    high = _way(
        ("series", Resistor(3.3)),
        ("series", Capacitor(4.7e-6)),
        ("shunt", Coil(0.3e-3, 0.2)),
        end=_tweeter(coil),
    )
    return Crossover({"low": low, "middle": middle, "high": high})


def _subwoofer(f: float, coil: float) -> Load:
    return _box(5.4, 32.0 * f, 0.33, 0.8e-3 * coil, 1.0, 36.0 * f)


def _horn(f: float, coil: float) -> Load:
    driver = Driver(6.5, 600.0 * f, 3.0, 0.9, 0.1e-3 * coil, 0.003 * coil)
    return _way(("series", Capacitor(15e-6)), end=driver)


def _ceiling(f: float, coil: float) -> Load:
    tap = make_line_transformer(
        100.0, 6.0, 8.0, insertion_loss=1.0, low_frequency=40.0, high_frequency=25e3
    )
    return _Transformed(tap, _box(6.5, 90.0 * f, 0.9, 0.25e-3 * coil, 0.8))


def _column(f: float, coil: float) -> Load:
    return Several(_box(6.5, 130.0 * f, 0.8, 0.15e-3 * coil, 0.9), series=2, parallel=2)


def _plain(f: float, coil: float) -> Load:
    return Resistor(8.0)


_LOW_MIDDLE, _MIDDLE = 250.0, 1000.0
# Hz; what does not go as far down, or up, is a part of a system.


@dataclass(frozen=True)
class Kind:
    """How a kind of loudspeaker is made, from factors of resonance and inductance, at no matter what ohm."""

    made: Callable[[float, float], Load]
    band: tuple[float, float]
    """Hz in which its lowest impedance counts: what it is rated to play."""
    shares: tuple[float, float, float] = SHARES

    @property
    def is_one_way(self) -> bool:
        """Whether it plays the bass alone, or all but the bass."""
        return self.band[1] < _MIDDLE or self.band[0] > _LOW_MIDDLE


KINDS: Final = {
    "small two-way": Kind(_small_two_way, (45.0, 20e3)),
    "large two-way": Kind(_large_two_way, (40.0, 20e3)),
    "three-way": Kind(_three_way, (30.0, 20e3)),
    "subwoofer": Kind(_subwoofer, (30.0, 200.0)),
    "compression-driver horn": Kind(_horn, (500.0, 20e3)),
    "ceiling with transformer": Kind(_ceiling, (100.0, 16e3)),
    "column": Kind(_column, (100.0, 20e3)),
    "plain": Kind(_plain, (20.0, 20e3), _PLAIN_SHARES),
}
_POINTS: Final = 600
"""Over which the lowest impedance is looked for."""


@dataclass(frozen=True)
class Typical(Load):
    """A loudspeaker of a ``kind`` out of `KINDS`, whose lowest impedance is a share of ``nominal`` ohm."""

    kind: str
    nominal: float
    variant: Variant = USUAL

    def port(self, frequency: Real) -> Complex:
        """Of its network, scaled."""
        network, lowest = _network(self.kind, self.variant)
        share = KINDS[self.kind].shares[1 + self.variant.lowest]
        factor = share * self.nominal / lowest
        return network.port(frequency) * np.array([factor, 1.0])


@lru_cache(maxsize=128)
def _network(kind: str, variant: Variant) -> tuple[Load, float]:
    """The network, and its lowest impedance in ohm in the band that it plays."""
    described = KINDS[kind]
    network = described.made(RESONANCES[1 + variant.resonance], INDUCTANCES[1 + variant.inductance])
    z = np.abs(network.impedance(np.geomspace(*described.band, _POINTS)))
    return network, float(z.min())


def varied(load: Load, variant: Variant) -> Load:
    """The load with what is typical in it as a variant has it; any other load as it is."""
    if isinstance(load, Typical):
        return Typical(load.kind, load.nominal, variant)
    if isinstance(load, Several):
        return Several(varied(load.load, variant), load.series, load.parallel)
    return load
