"""A load of which only the kind is known, and the sentence that says so wherever it is shown."""

from __future__ import annotations

from typing import Final

from auralize import units
from auralize.circuit.typical import INDUCTANCES, KINDS, RESONANCES, Typical
from auralize.rig.table import Table


def read_typical(load: Table, rated: float) -> tuple[Typical, tuple[str, ...]]:
    """The load, and what is to be known of it; raises RigError."""
    kind = load.one_of("kind", KINDS)
    band = usual_band(load)
    said = (
        ()
        if band is None
        else (
            f"is judged from {units.show_frequency(band[0])} to "
            f"{units.show_frequency(band[1])}, as no band is given",
        )
    )
    return Typical(kind, rated), (_note(kind, rated), *said)


def usual_band(load: Table) -> tuple[float, float] | None:
    """Hz within which a load is judged that is one way of a system, where none is given."""
    if load.text("type") != "typical" or "band" in load:
        return None
    kind = KINDS[load.one_of("kind", KINDS)]
    return kind.band if kind.is_one_way else None


def _note(kind: str, rated: float) -> str:
    lowest = KINDS[kind].shares
    varies = f"lowest impedance {_percent(lowest[0])} to {_percent(lowest[2])} of nominal"
    if kind != "plain":
        varies = (
            f"resonance {RESONANCES[0]:g} to {RESONANCES[2]:g} times what is rendered, coil inductance "
            f"{INDUCTANCES[0]:g} to {INDUCTANCES[2]:g} times, {varies}"
        )
    return (
        f"is typical, invented: {WORDS[kind]} of {rated:g} ohm that nobody made. It may have: {varies} "
        "(common practice, no source; 80 % is the least of IEC 60268-5, value from memory)"
    )


def _percent(share: float) -> str:
    return f"{100.0 * share:.0f} %"


WORDS: Final = {
    "small two-way": "a small two-way loudspeaker",
    "large two-way": "a large two-way loudspeaker",
    "three-way": "a three-way loudspeaker",
    "subwoofer": "a subwoofer",
    "compression-driver horn": "a horn with a compression driver",
    "ceiling with transformer": "a ceiling loudspeaker with its transformer",
    "column": "a column loudspeaker",
    "plain": "a resistance",
}
"""Each kind in a sentence."""
