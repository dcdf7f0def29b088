"""Both conductors laid in figures of eight on a floor: two filaments along one path.

Accuracy is stated in `added_impedance`.
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from numpy.typing import NDArray

from auralize.circuit.crowding import crowding_of_paths
from auralize.circuit.lay_effect import Effect
from auralize.circuit.lays import FigureOfEight, LaidCable
from auralize.circuit.paths import path_inductance

EIGHT_POINTS: Final = 64
# Polyline points on one figure; doubling them changes L by less than 0.5 % (tested).
_CROSSING: Final = 8
# Even power of the cosine that shapes the rise at the crossing: over a fifth of the figure.


def eight_effect(lay: FigureOfEight, cable: LaidCable) -> Effect:
    """Raises ValueError where the lobes are too small for the cable, or it cannot lie so."""
    least = 0.5 * min(lay.lobe_length, lay.lobe_width)
    if least < cable.width:
        raise ValueError(
            f"a lobe {least * 2.0:g} m across is too small for a cable {cable.width:g} m wide"
        )
    if lay.facing == "random":  # as in a coil: unrelated orientations couple to nothing in the mean
        return Effect(np.zeros(2))
    cable.require_flat_sides(lay.facing)
    paths = eight_paths(lay, cable)
    inductance = path_inductance(paths, [1.0, -1.0], cable.spacing, EIGHT_POINTS)
    return Effect(inductance, lambda: crowding_of_paths(paths, cable, EIGHT_POINTS))


def eight_paths(
    lay: FigureOfEight, cable: LaidCable, points: int = EIGHT_POINTS
) -> list[NDArray[np.float64]]:
    """Centre lines of both conductors, shape (points, 3) in m; ``points`` for each figure."""
    on_edge = lay.facing == "edge to edge"
    height = cable.width if on_edge else cable.thickness
    count = math.ceil(lay.figures * points)
    t = np.linspace(0.0, 2.0 * np.pi * lay.figures, count + 1)
    x, y = lay.lobe_length * np.sin(t), 0.5 * lay.lobe_width * np.sin(2.0 * t)
    # Both strands pass each crossing, so the pile grows twice as fast there as in the lobes.
    z = height * t / (2.0 * np.pi) * (1.0 + np.cos(t) ** _CROSSING)
    dx, dy = lay.lobe_length * np.cos(t), lay.lobe_width * np.cos(2.0 * t)
    speed = np.hypot(dx, dy)
    nothing = np.zeros_like(t)
    level = [-dy / speed, dx / speed, nothing]
    offset = 0.5 * cable.spacing * np.stack([nothing, nothing, nothing + 1.0] if on_edge else level)
    centre = np.stack([x, y, z])
    return [(centre + offset).T, (centre - offset).T]
