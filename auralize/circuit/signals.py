"""The three signals of a choice: what is sent, what arrives, and what the cable keeps.

They are one linear family: drop + receiving = sending, at every frequency and in every sample. All
are relative to what the turns of transformers alone make of the source, here and nowhere else, so that
0 dB is a line without loss.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final, Literal

from auralize.circuit.conductor import Complex
from auralize.circuit.solution import Solution

Signal = Literal["receiving", "drop", "sending"]
SIGNALS: Final[tuple[Signal, ...]] = ("receiving", "drop", "sending")
SIGNAL_WORDS: Final[Mapping[Signal, str]] = {
    "receiving": "receiving end",
    "drop": "drop",
    "sending": "sending end",
}


def voltage(solution: Solution, load: str, signal: Signal, conductors: int = 2) -> Complex:
    """One signal between the conductors, per volt of the amplifier's own source voltage past all turns.

    ``conductors`` 1: the drop over one of them; raises
    ValueError where the two differ, see `Solution.drop`.
    """
    if signal == "drop":
        found = solution.drop(load, conductors)
    else:
        found = solution.reference(load) if signal == "sending" else solution.receiving[load]
    return found / solution.network.ratio(load)
