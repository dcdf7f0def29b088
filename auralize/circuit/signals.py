"""The three signals of a choice: what is sent, what arrives, and what the cable keeps.

They are one linear family: drop + receiving = sending, at every frequency and in every sample.
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
    """One signal between the conductors, per volt of the amplifier's own source voltage.

    Sending is past the turns of transformers. ``conductors`` 1: the drop over one of them; raises
    ValueError where the two differ, see `Solution.drop`.
    """
    if signal == "drop":
        return solution.drop(load, conductors)
    return solution.reference(load) if signal == "sending" else solution.receiving[load]
