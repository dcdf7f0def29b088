"""What is drawn over frequency, the same on the page and on the screen."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from auralize.circuit.conductor import Real
from auralize.circuit.levels import drop_db, loss_db
from auralize.circuit.solution import Across, solve
from auralize.figures.reference import SWEEP
from auralize.rig.choice import Choice


@dataclass(frozen=True)
class Curves:
    """A choice from 20 Hz to 20 kHz; all arrays have the shape of ``frequency``."""

    frequency: Real
    """Hz, rising, equal steps of its logarithm."""
    loss_db: Real
    """Receiving relative to sending end; minus infinity where nothing arrives."""
    drop_db: Real
    """Drop relative to the sending end; minus infinity where no cable keeps any."""
    load_ohm: Real
    """Modulus of the loudspeaker's impedance."""
    load_degrees: Real


def curves(choice: Choice, across: Across = "both") -> Curves:
    """Loss, drop and impedance of the loudspeaker at which a choice is heard.

    Raises RequestError where the drop ``across`` these conductors cannot be told.
    """
    choice.check_signal("drop", across)
    solution = solve(choice.network, SWEEP)
    impedance = choice.network.loads[choice.listen].load.impedance(SWEEP)
    return Curves(
        frequency=SWEEP,
        loss_db=loss_db(solution, choice.listen),
        drop_db=drop_db(solution, choice.listen, across),
        load_ohm=np.abs(impedance),
        load_degrees=np.degrees(np.angle(impedance)),
    )
