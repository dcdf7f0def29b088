"""What no data sheet of a cable says, taken as is usual for its size where a rig file leaves it out."""

from __future__ import annotations

from typing import Final

from auralize.rig.table import Table

LAY_RATIO: Final = 18.0
"""Lay length over the distance of cores that lie across from each other; 15 to 25 is usual (common
practice, no source). From one to the other the length of the cores changes by 1.4 %."""
SHIELD: Final = 0.3e-3
"""m; thickness of a braid (common practice, no source)."""

_WALLS: Final = ((1.0, 0.6), (1.5, 0.7), (6.0, 0.8), (16.0, 1.0), (35.0, 1.2), (70.0, 1.4))
_THICKEST: Final = 1.6
# mm of insulation up to so many mm2: PVC-insulated cores of IEC 60227-3 (values from memory).


def usual_lay_length(across: float) -> float:
    """m, of cores that lie ``across`` m from each other."""
    return LAY_RATIO * across


def usual_wall(cable: Table) -> float:
    """Thickness in m of the insulation of a conductor of that size."""
    area = cable.quantity("conductor", "area", "0.03 mm2", "120 mm2")
    square_mm = area * 1e6 * (1.0 - 1e-9)
    return 1e-3 * next((wall for most, wall in _WALLS if square_mm <= most), _THICKEST)


def assumed(cable: Table, taken: dict[str, float]) -> tuple[str, ...]:
    """A sentence on those keys of a cable that were ``taken`` to be so many m, as they were left out."""
    parts = [f"{key} {metres * 1e3:.3g} mm" for key, metres in taken.items() if key not in cable]
    if not parts:
        return ()
    return (
        f"cable {cable.place[-1]} is taken to have {' and '.join(parts)}, as is usual for its size "
        "(common practice, no source); give what is known",
    )
