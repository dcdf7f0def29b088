"""What stands on the way to the loudspeaker that is heard, part by part: what every drawing of it shows."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

from auralize.circuit.network import PERFECT, Network
from auralize.rig.choice import Choice
from auralize.units import show_length


@dataclass(frozen=True)
class WayPart:
    """What stands on the way: a run, a transformer, or several that there is no room for."""

    words: tuple[str, ...]
    """What it is called, the longest first."""
    kind: Literal["run", "transformer", "more"]
    near: bool = False
    """Whether there is a joint at its near end."""
    far: bool = False
    coiled: bool = False
    away: str = ""
    """What goes off at its far end."""


def way_parts(choice: Choice) -> list[WayPart]:
    """All that stands on the way, the nearest to the amplifier first."""
    network = choice.network
    way: list[str | None] = [*network.way(choice.listen)]
    return [_part(choice, name, behind) for name, behind in pairwise([*way, None]) if name]


def _part(choice: Choice, name: str, behind: str | None) -> WayPart:
    network = choice.network
    away = _away(network, name, behind, choice.listen)
    if name not in network.runs:
        return WayPart((name,), "transformer", away=away)
    run, lay = network.runs[name], choice.runs[name].lay
    return WayPart(
        (f"{name} {show_length(run.length)}", f"{name} {run.length:.3g} m", name),
        "run",
        run.near != PERFECT,
        run.far != PERFECT,
        lay is not None and lay.coiled,
        away,
    )


def away_at_amplifier(choice: Choice) -> str:
    """What else hangs on the amplifier's own terminals."""
    way = choice.network.way(choice.listen)
    return _away(choice.network, None, way[0] if way else None, choice.listen)


def _away(network: Network, name: str | None, behind: str | None, load: str) -> str:
    """What goes off at the end of a part, but for what goes on to the loudspeaker."""
    loads = [n for n, c in network.loads.items() if c.at == name and n != load]
    lines = [
        n
        for n in (*network.runs, *network.transformers)
        if network.feeder(n) == name and n != behind
    ]
    others = [*lines, *loads]
    if not others:
        return ""
    return f"to {others[0]}" if len(others) == 1 else f"to {others[0]} +{len(others) - 1}"


def folded(parts: Sequence[WayPart], fits: Callable[[Sequence[WayPart]], bool]) -> list[WayPart]:
    """The parts, those in the middle taken together where they do not fit."""
    if fits(parts):
        return list(parts)
    for kept in range(len(parts) - 1, 1, -1):
        before, after = parts[: (kept + 1) // 2], parts[len(parts) - kept // 2 :]
        shown = [*before, WayPart((f"{len(parts) - kept} more",), "more"), *after]
        if fits(shown):
            return shown
    return [WayPart((f"{len(parts)} runs and transformers", f"{len(parts)} parts"), "more")]
