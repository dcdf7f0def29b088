"""Transformers of constant-voltage lines: at the loudspeakers by power tap, at the amplifier as step-up.

    o--[ r1 ]--[ leakage ]--+------+--+     +--[ r2 ]--o
                            |      |  )|| ||(
                          [Lm]   [Rc] )|| ||(           ratio : 1
    o-----------------------+------+--+     +----------o

Linear: neither saturation (low frequency, high level) nor winding capacitance (far above 20 kHz).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from auralize.circuit import twoport
from auralize.circuit.conductor import Complex, Real

LINE_VOLTAGES: Final = (50.0, 70.7, 100.0)
"""V rms at full programme level of the usual lines (common practice, no source)."""


@dataclass(frozen=True)
class Transformer:
    """``ratio`` of primary to secondary turns; resistances in ohm, inductances in H.

    Leakage, ``primary_inductance`` Lm and ``core_resistance`` Rc (infinite for no core loss) are seen
    from the primary. 0 Hz does not come through.
    """

    ratio: float
    primary_resistance: float
    secondary_resistance: float
    primary_inductance: float
    leakage_inductance: float = 0.0
    core_resistance: float = math.inf

    def __post_init__(self) -> None:
        for name in ("ratio", "primary_inductance", "core_resistance"):
            if not getattr(self, name) > 0.0:
                raise ValueError(f"a transformer's {name.replace('_', ' ')} must be above zero")
        for name in ("primary_resistance", "secondary_resistance", "leakage_inductance"):
            if not getattr(self, name) >= 0.0:
                raise ValueError(f"a transformer's {name.replace('_', ' ')} cannot be below zero")

    def two_port(self, frequency: Real) -> tuple[Complex, Complex]:
        """Chain matrix times s Lm, and s Lm: at 0 Hz the chain matrix itself has no finite elements."""
        s: Complex = 2j * np.pi * np.asarray(frequency, dtype=np.float64).astype(np.complex128)
        factor: Complex = s * self.primary_inductance
        nothing = np.zeros_like(s)
        # Lm beside Rc is an admittance of (1 + s Lm / Rc) / (s Lm).
        core = twoport.chain(factor, nothing, 1.0 + factor / self.core_resistance, factor)
        primary = twoport.series(self.primary_resistance + s * self.leakage_inductance)
        turns = twoport.chain(self.ratio + nothing, nothing, nothing, 1.0 / self.ratio + nothing)
        secondary = twoport.series(self.secondary_resistance + nothing)
        return primary @ core @ turns @ secondary, factor


_NO_CORE: Final = 1e9
# H; at 1 Hz six gigaohm, beside which no load counts.


def lossless(transformer: Transformer) -> Transformer:
    """The turns of a transformer alone."""
    return Transformer(transformer.ratio, 0.0, 0.0, _NO_CORE)


def make_transformer(
    primary_voltage: float,
    secondary_voltage: float,
    power: float,
    *,
    insertion_loss: float,
    low_frequency: float,
    high_frequency: float = math.inf,
    core_resistance: float = math.inf,
) -> Transformer:
    """Transformer for ``power`` in W at rated voltages in V: its rated load is Z = V^2/P on each side.

    ``insertion_loss`` in dB: by how much less the rated load gets at middle frequencies, on a line
    without resistance, than from turns without loss; half of the copper loss is in each winding
    (common practice, no source). ``low_frequency`` in Hz: where the reactance of the primary
    inductance equals the rated impedance; ``high_frequency``: the same for the leakage. Raises
    ValueError where the loss is below zero.
    """
    for name, value in (
        ("primary voltage", primary_voltage),
        ("secondary voltage", secondary_voltage),
        ("power", power),
        ("low frequency", low_frequency),
        ("high frequency", high_frequency),
    ):
        if not value > 0.0:
            raise ValueError(f"a transformer's {name} must be above zero")
    if not insertion_loss >= 0.0:
        raise ValueError(f"an insertion loss of {insertion_loss:g} dB cannot be; it is 0 or above")
    rated = primary_voltage**2 / power
    ratio = primary_voltage / secondary_voltage
    winding = _winding_resistance(rated, 10.0 ** (insertion_loss / 20.0), 1.0 / core_resistance)
    return Transformer(
        ratio=ratio,
        primary_resistance=winding,
        secondary_resistance=winding / ratio**2,
        primary_inductance=rated / (2.0 * math.pi * low_frequency),
        leakage_inductance=rated / (2.0 * math.pi * high_frequency),
        core_resistance=core_resistance,
    )


def _winding_resistance(rated: float, loss: float, core: float) -> float:
    """r of each winding, seen from the primary: r (1 + core (rated + r)) + rated + r = loss rated."""
    linear, constant = 2.0 + core * rated, rated * (loss - 1.0)
    return 2.0 * constant / (linear + math.sqrt(linear**2 + 4.0 * core * constant))


def make_line_transformer(
    line_voltage: float,
    tap_power: float,
    secondary_impedance: float,
    *,
    insertion_loss: float,
    low_frequency: float,
    high_frequency: float = math.inf,
    core_resistance: float = math.inf,
) -> Transformer:
    """Tap of ``tap_power`` in W at a ``line_voltage`` for a loudspeaker of ``secondary_impedance`` ohm.

    Primary impedance V^2/P, ratio V / sqrt(P Z) (common practice, no source). The other arguments are
    those of `make_transformer`. Where the loudspeaker is of another impedance than is stated here,
    it gets another power, as it would.
    """
    if not secondary_impedance > 0.0:
        raise ValueError("a transformer's secondary impedance must be above zero")
    return make_transformer(
        line_voltage,
        math.sqrt(max(tap_power, 0.0) * secondary_impedance),
        tap_power,
        insertion_loss=insertion_loss,
        low_frequency=low_frequency,
        high_frequency=high_frequency,
        core_resistance=core_resistance,
    )
