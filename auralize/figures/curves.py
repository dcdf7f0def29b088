"""What is drawn over frequency, the same on the page and on the screen."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from auralize.circuit.conductor import Complex, Real
from auralize.circuit.levels import drop_db, loss_db
from auralize.circuit.signals import voltage
from auralize.circuit.solution import Across, solve
from auralize.figures.lays import extremes
from auralize.figures.reference import SWEEP
from auralize.rig.choice import Choice


@dataclass(frozen=True)
class Curves:
    """A choice from 20 Hz to 20 kHz; all arrays have the shape of ``frequency``."""

    frequency: Real
    """Hz, rising, equal steps of its logarithm, unless others were asked for."""
    loss_db: Real
    """Receiving relative to sending end; minus infinity where nothing arrives."""
    drop_db: Real
    """Drop relative to the sending end; minus infinity where no cable keeps any."""
    received_db: Real
    """Receiving end relative to the amplifier's own source voltage, of which choices differ in nothing."""
    kept_db: Real
    """The drop, relative to the same."""
    load_ohm: Real
    """Modulus of the loudspeaker's impedance."""
    load_degrees: Real


def curves(choice: Choice, across: Across = "both", frequency: Real = SWEEP) -> Curves:
    """Loss, drop and impedance of the loudspeaker at which a choice is heard, at ``frequency`` in Hz.

    Raises RequestError where the drop ``across`` these conductors cannot be told.
    """
    choice.check_signal("drop", across)
    solution = solve(choice.network, frequency)
    impedance = choice.network.loads[choice.listen].load.impedance(frequency)
    return Curves(
        frequency=frequency,
        loss_db=loss_db(solution, choice.listen),
        drop_db=drop_db(solution, choice.listen, across),
        received_db=_db(voltage(solution, choice.listen, "receiving")),
        kept_db=_db(voltage(solution, choice.listen, "drop", across)),
        load_ohm=np.abs(impedance),
        load_degrees=np.degrees(np.angle(impedance)),
    )


def open_ends(choice: Choice, across: Across = "both") -> list[Curves]:
    """The curves where the lays on the way are at their least and at their most of what is open.

    For a drop over one conductor these are the ends of that. None where no lay adds anything. Takes
    seconds for coils of hundreds of turns. Raises RequestError like `curves`.
    """
    return [curves(end, across) for end in extremes(choice, across)]


def curve_range(choice: Choice, across: Across = "both") -> tuple[Curves, Curves] | None:
    """The lowest and the highest levels of a choice over its `open_ends`, as rendered among them.

    None where there is no such range; the loudspeaker is the same in both.
    """
    ends = open_ends(choice)
    if not ends:
        return None
    drops = ends if across == "both" else open_ends(choice, across)
    known = curves(choice, across)
    found = {
        "loss_db": [known.loss_db, *(end.loss_db for end in ends)],
        "received_db": [known.received_db, *(end.received_db for end in ends)],
        "drop_db": [known.drop_db, *(end.drop_db for end in drops)],
        "kept_db": [known.kept_db, *(end.kept_db for end in drops)],
    }
    ranges = {name: lowest_and_highest(levels) for name, levels in found.items()}
    return (
        replace(known, **{name: low for name, (low, _) in ranges.items()}),
        replace(known, **{name: high for name, (_, high) in ranges.items()}),
    )


def lowest_and_highest(levels: Sequence[Real]) -> tuple[Real, Real]:
    """Of several curves, frequency by frequency."""
    return np.min(levels, axis=0), np.max(levels, axis=0)


def less(one: Real, other: Real) -> Real:
    """The difference of two curves in dB; a gap where either is silent."""
    both = np.isfinite(one) & np.isfinite(other)
    return np.where(both, np.where(both, one, 0.0) - np.where(both, other, 0.0), np.nan)


def _db(ratio: Complex) -> Real:
    with np.errstate(divide="ignore"):
        return 20.0 * np.log10(np.abs(ratio))
