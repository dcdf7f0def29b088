"""The three signals of a choice: what is sent, what arrives, and what the cable keeps.

They are one linear family: drop + receiving = sending, at every frequency and in every sample.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final, Literal

from auralize.circuit.conductor import Complex
from auralize.circuit.solution import ACROSS, Across, Solution

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


def over(signal: Signal, across: Across) -> str:
    """What follows the name of a signal: which conductor the drop is over; nothing for all else."""
    return f" {ACROSS_WORDS[across]}" if signal == "drop" and across != "both" else ""


def signal_words(signal: Signal, across: Across) -> str:
    """A signal in words, as "drop over plus"."""
    return f"{SIGNAL_WORDS[signal]}{over(signal, across)}"


def voltage(solution: Solution, load: str, signal: Signal, across: Across = "both") -> Complex:
    """One signal between the conductors, per volt of the amplifier's own source voltage.

    Sending is past the turns of transformers. ``across`` is of the drop alone; raises ValueError
    where it cannot be told, see `Solution.drop`.
    """
    if signal == "drop":
        return solution.drop(load, across)
    return solution.reference(load) if signal == "sending" else solution.receiving[load]


def drops(solution: Solution, load: str) -> dict[Across, Complex]:
    """The drop over both conductors and, where each can be told, over plus and over minus."""
    try:
        return {across: solution.drop(load, across) for across in ACROSS}
    except ValueError:
        return {"both": solution.drop(load)}
