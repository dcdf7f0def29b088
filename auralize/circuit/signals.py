"""The three signals of a choice: what is sent, what arrives, and what the cable keeps.

They are one linear family: drop + receiving = sending, at every frequency and in every sample. All
are relative to what the turns of transformers alone make of the source, here and nowhere else, so that
0 dB is a line without loss.
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
    """One signal between the conductors, per volt of the amplifier's own source voltage past all turns.

    ``across`` is of the drop alone; raises ValueError where it cannot be told, see `Solution.drop`.
    """
    if signal == "drop":
        found = solution.drop(load, across)
    else:
        found = solution.reference(load) if signal == "sending" else solution.receiving[load]
    return found / solution.network.ratio(load)


def drops(solution: Solution, load: str) -> dict[Across, Complex]:
    """`voltage` of the drop over both conductors and, where each can be told, over plus and minus."""
    try:
        return {across: voltage(solution, load, "drop", across) for across in ACROSS}
    except ValueError:
        return {"both": voltage(solution, load, "drop")}
