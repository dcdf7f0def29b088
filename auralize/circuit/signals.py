"""The three signals of a choice: what is sent, what arrives, and what the cable keeps.

They are one linear family: drop + receiving = sending, at every frequency and in every sample.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final, Literal

from auralize.circuit.conductor import Complex
from auralize.circuit.solution import Across, Solution

Signal = Literal["receiving", "drop", "sending"]
SIGNALS: Final[tuple[Signal, ...]] = ("receiving", "drop", "sending")
SIGNAL_WORDS: Final[Mapping[Signal, str]] = {
    "receiving": "receiving end",
    "drop": "drop",
    "sending": "sending end",
}
ACROSS_WORDS: Final[Mapping[Across, str]] = {
    "both": "over both conductors",
    "plus": "over plus",
    "minus": "over minus",
}


def voltage(solution: Solution, load: str, signal: Signal, across: Across = "both") -> Complex:
    """One signal between the conductors, per volt of the amplifier's own source voltage.

    Sending is past the turns of transformers. ``across`` is of the drop alone; raises ValueError
    where it cannot be told, see `Solution.drop`.
    """
    if signal == "drop":
        return solution.drop(load, across)
    return solution.reference(load) if signal == "sending" else solution.receiving[load]
