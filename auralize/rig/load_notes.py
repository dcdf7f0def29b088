"""What is to be known of a load that was measured: where it ends, how coarse it is, whether it fits."""

from __future__ import annotations

from typing import Final

import numpy as np

from auralize.circuit.sampled import SampledImpedance
from auralize.units import show, show_frequency

LOWEST_SHARE: Final = 0.8
"""Of the rated impedance, under which |Z| falls nowhere: IEC 60268-5 (value from memory)."""
_FAR_ABOVE: Final = 1.5
"""Times the rated impedance; where |Z| is higher everywhere, that is another loudspeaker's."""
ENOUGH: Final = 12
"""Points an octave from which the drop is told within 0.1 dB, noise apart (tests/circuit/test_between.py)."""
COARSE: Final = 5.5
"""Points an octave below which a resonance between them is a guess."""


def measured_notes(
    sampled: SampledImpedance, derived: bool, rated: float, judged: tuple[float, float]
) -> tuple[str, ...]:
    """Sentences without their subject, the load; ``judged`` from Hz to Hz."""
    beyond = sampled.beyond(*judged)
    found = (
        None if beyond is None else f"is {beyond}",
        _derived(sampled) if derived else None,
        _coarse(sampled, judged),
        _far_from(sampled, rated, judged),
    )
    return tuple(note for note in found if note is not None)


def what_to_measure(judged: tuple[float, float]) -> str:
    """Points and range from which nothing is left open between two frequencies in Hz."""
    return (
        f"measure {ENOUGH} points or more an octave, from {show_frequency(judged[0] / 2.0)} to "
        f"{show_frequency(judged[1])}"
    )


def _derived(sampled: SampledImpedance) -> str:
    """How far a phase is right that came from the magnitude: see tests/circuit/test_derived_phase.py."""
    told = "was measured without its phase: that is derived from the magnitude (minimum phase)"
    if sampled.widest * ENOUGH > 1.0 + _ROUNDED_STEPS:
        return (
            f"{told}, which so few points tell badly: beside a resonance it may be far off; "
            "measure it with its phase, or 24 points an octave"
        )
    return f"{told}, right within some 5 degrees, and 10 in the octave above the lowest frequency"


_ROUNDED_STEPS: Final = 0.05
"""By which the step of a table may be wider where its frequencies are rounded."""


def _coarse(sampled: SampledImpedance, judged: tuple[float, float]) -> str | None:
    if sampled.widest * COARSE <= 1.0:
        return None
    apart = round(1.0 / sampled.widest, 1)
    points = f"{apart:g} points an octave" if apart > 1.0 else "an octave or more between points"
    return (
        f"is measured coarsely ({points} where they lie farthest apart), so that a resonance between "
        f"two of them is a guess; {what_to_measure(judged)}"
    )


def _far_from(sampled: SampledImpedance, rated: float, judged: tuple[float, float]) -> str | None:
    """Where the lowest impedance is no loudspeaker's of the rated one."""
    low, high = judged
    inside = np.geomspace(max(sampled.lowest, low), min(sampled.highest, high), _POINTS)
    lowest = float(np.abs(sampled.impedance(inside)).min())
    if LOWEST_SHARE * _ROUNDING * rated <= lowest <= _FAR_ABOVE * rated:
        return None
    return (
        f"has {show(lowest, 'ohm')} at its lowest, which does not fit its nominal {show(rated, 'ohm')}: "
        f"that is {show(LOWEST_SHARE * rated, 'ohm')} or more by IEC 60268-5 (80 %, value from memory), "
        f"and seldom over {show(_FAR_ABOVE * rated, 'ohm')}; look whether nominal, file and unit are right"
    )


_POINTS: Final = 400
_ROUNDING: Final = 0.98
"""What a meter may be off without a word."""
