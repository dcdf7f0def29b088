"""A run at other lengths: what lies coiled stays as the rig describes it, the rest is more or less."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np

from auralize.circuit.network import Network
from auralize.circuit.sizing import SHORTEST_RUN
from auralize.errors import RigError
from auralize.rig.choice import Choice
from auralize.rig.reading import Rig
from auralize.units import parse

_STEPS: Final = 60
# In which the shortest length is looked for that makes a coil at all.


@dataclass(frozen=True)
class Lengths:
    """What lengths of a run can be asked for: from ``shortest`` m on."""

    shortest: float
    at: Callable[[float], Network | None]
    """The installation with the run of that length in m; None where the rig's rules refuse it."""


def lengths_of(rig: Rig, choice: Choice, run: str) -> Lengths:
    """The lengths of one run of a choice.

    A coil of turns or of a length that the rig names stays as it is, and the run cannot be shorter; a
    reel or coil that takes the whole run grows with it.
    """
    closed = choice.runs[run].cable.closed  # coiled or not, it is the same
    wound = 0.0 if closed else _wound(rig.of(choice)["runs"][run].get("lay", {}))

    def built(length: float, *more: tuple[tuple[str, ...], Any]) -> Network | None:
        changed = {("runs", run, "length"): f"{length!r} m", **dict(more)}
        try:
            return rig.changed(choice, changed).network
        except RigError:
            return None

    here = choice.network.runs[run]
    if wound is None:
        steps = np.geomspace(SHORTEST_RUN, here.length, _STEPS)
        return Lengths(next(float(m) for m in steps if built(float(m)) is not None), built)
    if wound == 0.0:
        return Lengths(SHORTEST_RUN, built)
    straight = (("runs", run, "lay"), {"shape": "straight"})
    laid_out = built(here.length, straight)
    assert laid_out is not None  # the same run without its coil
    twist = laid_out.runs[run].added
    coil = here.added

    def at(length: float) -> Network | None:
        """The coil is as it was; what is laid out, and the twist in it, is as long as it is now."""
        network = built(length, straight)
        if network is None or coil is None:
            return network
        rest = network.runs[run].added

        def added(f: Any) -> Any:
            more = 0.0 if rest is None or twist is None else rest(f) - twist(f)
            return coil(f) + more

        return replace(network, runs={**network.runs, run: replace(network.runs[run], added=added)})

    return Lengths(max(wound, SHORTEST_RUN), at)


def _wound(lay: Mapping[str, Any]) -> float | None:
    """m of cable in the coils that a lay describes; None for all of the run, 0 for none."""
    if lay.get("shape", "straight") == "straight":
        return 0.0
    second = lay.get("second")
    coils = [lay] if second is None else [lay, second]
    wound = [_in_coil(coil) for coil in coils]
    known = [length for length in wound if length is not None]
    return max(known) if len(known) == len(wound) else None


def _in_coil(coil: Mapping[str, Any]) -> float | None:
    if "coiled" in coil:
        return parse(str(coil["coiled"]), "length")
    if "turns" in coil:
        return float(coil["turns"]) * math.pi * parse(str(coil["mean_diameter"]), "length")
    return None
