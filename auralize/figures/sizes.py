"""The usual sizes of conductors, with what they have per length: a table for one screen."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from auralize.circuit.conductor import MATERIALS, STRANDED_FILL, StrandClass, make_conductor
from auralize.circuit.sizing import EVEN_GAUGES, METRIC_AREAS
from auralize.figures.columns import columns
from auralize.rig.cables import CONSTRUCTIONS
from auralize.spellings import plain
from auralize.units import FOOT, INCH, gauge_area, nearest_gauge, parse

_CLASS: Final[StrandClass] = 5
_CELSIUS: Final = 20.0


@dataclass(frozen=True)
class UsualSize:
    """A conductor of copper: ``area`` in m2, ``resistance`` in ohm/m at 20 degC, ``diameter`` in m."""

    name: str
    strands: str
    area: float
    resistance: float
    diameter: float


def usual_sizes() -> list[UsualSize]:
    """Metric sizes by IEC 60228 class 5 and even gauges of ASTM B258 by area, the thinnest first."""
    metric = [_size(f"{area * 1e6:g} mm2", f"class {_CLASS}", area) for area in METRIC_AREAS]
    gauges = [_size(f"{gauge} AWG", "stranded", gauge_area(gauge)) for gauge in EVEN_GAUGES]
    return sorted([*metric, *gauges], key=lambda size: size.area)


def thicker(size: str) -> str:
    """The usual size after one as people write it, of its own series; half as thick after the last.

    Raises ValueError for what is no size.
    """
    area = parse(size, "area")
    unit = "AWG" if plain(size, "area").endswith("AWG") else "mm2"
    after = [s.name for s in usual_sizes() if s.name.endswith(unit) and s.area > 1.001 * area]
    return after[0] if after else f"{area * 0.5e6:.3g} mm2"


def _size(name: str, strands: str, area: float) -> UsualSize:
    by_class: StrandClass | None = _CLASS if strands.startswith("class") else None
    conductor = make_conductor(area, MATERIALS["copper"], by_class, STRANDED_FILL[_CLASS], _CELSIUS)
    return UsualSize(name, strands, area, conductor.resistance, 2.0 * conductor.radius)


def as_sizes() -> str:
    """The table."""
    rows = [("size", "strands", "mm2", "AWG", "ohm/km", "ohm/kft", "mm", "in")]
    for size in usual_sizes():
        rows.append(
            (
                size.name,
                size.strands,
                f"{size.area * 1e6:.3g}",
                f"{nearest_gauge(size.area):.1f}",
                f"{size.resistance * 1e3:#.3g}",
                f"{size.resistance * 1e3 * FOOT:#.3g}",
                f"{size.diameter * 1e3:.2f}",
                f"{size.diameter / INCH:.3f}",
            )
        )
    return "\n".join(
        [
            "One conductor of copper at 20 degC; a run has two, there and back. Metric: most",
            "that IEC 60228 class 5 allows; gauges: ASTM B258, by area. Diameter is bare.",
            columns(rows),
            f"For {', '.join(CONSTRUCTIONS[:-1])}:",
            "`auralize keys cables` says what each takes.",
        ]
    )
