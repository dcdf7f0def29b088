"""A rig file of loads, part by part, and what is read from it."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from auralize.figures import text as show
from auralize.figures.numbers import figures
from auralize.rig.choice import Choice
from auralize.rig.reading import load_rig

DRIVER = """type = "driver"
nominal = "8 ohm"
Re = "5.5 ohm"
fs = "42 Hz"
Qms = 5.0
Qes = 0.38
"""
RESISTOR = 'type = "resistor"\nresistance = "8 ohm"\n'
TWIN = 'construction = "twin"\nconductor = "2.5 mm2"\ninsulation = "0.8 mm"\n'
MEASURED = 'type = "measured"\nnominal = "8 ohm"\n'
TAP = 'line = "100 V"\ntap = "20 W"\nsecondary = "8 ohm"\n'


def text(
    load: str = RESISTOR,
    *,
    top: str = "",
    amplifier: str = "",
    cable: str = TWIN,
    run: str = "",
    more: str = "",
) -> str:
    """A rig of the ferry landing: one run, one load, and lines of TOML put into each part."""
    return f"""{top}
[amplifier]
resistance = "0.05 ohm"
{amplifier}
[cables.reel]
{cable}
[runs.quay]
cable = "reel"
length = "62 m"
{run}
[loads.landing]
{load}
{more}
"""


def crossover(*rungs: str, end: str = "to woofer") -> str:
    """A load of one way with these rungs."""
    ladder = ", ".join(f'"{rung}"' for rung in (*rungs, end))
    woofer = DRIVER.split("\n", 2)[2]
    return f"""type = "crossover"
nominal = "8 ohm"
[loads.landing.ways]
low = [{ladder}]
[loads.landing.drivers.woofer]
{woofer}"""


def written(folder: Path, content: str) -> Path:
    path = folder / "landing.toml"
    path.write_text(content, encoding="utf-8")
    return path


def the(folder: Path, content: str) -> Choice:
    (choice,) = load_rig(written(folder, content)).choices.values()
    return choice


def table(choice: Choice, *frequencies: float) -> str:
    """The figures as they are printed."""
    return show.as_table("landing", [figures(choice, frequencies or (1000.0,))])


def flat(printed: str) -> str:
    """Without the line breaks that the width of the terminal asks for."""
    return " ".join(printed.split())


F = np.geomspace(20.0, 20e3, 31)


def beside(*parts: complex | np.ndarray) -> complex | np.ndarray:
    return 1.0 / sum(1.0 / part for part in parts)
