"""From the key that takes an edit to the block in which it is heard, at the real screen.

    python tests/benchmarks/bench_edits.py

starts a sound server of its own, opens the bench on the demo's rig with a coiled choice besides, plays,
and edits length, conductor and temperature by keys; prints the times and the gaps in the sound.
"""

from __future__ import annotations

import asyncio
import os
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

sys.path.insert(0, str(Path(__file__).parents[1]))
from auralize_tui.app import BenchApp
from textual.pilot import Pilot
from textual.widgets import Input

from auralize.live.engine import Engine
from auralize.live.player import Switch
from auralize.rig.editing import RigDraft
from support.live_session import COILED, RIG, make_programme
from support.sound_server import SoundServer

EDITS = (
    (0, ("40 m", "170 ft", "45 m", "60 m", "55 m")),
    (7, ("1.5 mm2", "4 mm2", "6 mm2", "10 mm2")),
    (1, ("30 degC", "40 degC", "-5 degC")),
)
"""Row of the field in the list of the edit screen, and what is typed."""


@dataclass(frozen=True)
class Measured:
    """What one session at the screen took."""

    delays: NDArray[np.float64]
    """s from the key to the making of the block."""
    underruns: int


def measure(folder: Path) -> Measured:
    """Edit by keys; needs a sound server to play on."""
    rig = folder / "mill.toml"
    rig.write_text(RIG.read_text(encoding="utf-8") + COILED, encoding="utf-8")
    programme = folder / "programme.wav"
    make_programme(programme, seconds=60.0)
    draft = RigDraft(rig)
    choices = list(draft.rig.choices.values())
    engine = Engine(programme, choices, volumes=folder / "volumes.json", journal=True)
    engine.start()
    app = BenchApp(draft, programme, engine, folder)
    delays: list[float] = []

    async def session() -> None:
        async with app.run_test(size=(80, 24)) as pilot:
            while engine.status().certainty != "measured" or engine.status().state != "running":
                await pilot.pause(0.1)
            await pilot.press("space")
            for row, values in EDITS:
                for value in values:
                    delays.append(await _edit(pilot, engine, row, value))

    try:
        asyncio.run(session())
        return Measured(np.array(delays), engine.status().underruns)
    finally:
        engine.stop()


async def _edit(pilot: Pilot[None], engine: Engine, row: int, value: str) -> float:
    await pilot.press("e")
    await pilot.pause(0.2)
    await pilot.press(*["down"] * row, "enter")
    await pilot.pause(0.2)
    pilot.app.screen.query_one(Input).value = value
    await pilot.pause(0.2)
    before, asked = engine.status().switches, time.perf_counter()
    await pilot.press("enter")
    while engine.status().switches == before:
        if time.perf_counter() > asked + 5.0:
            raise TimeoutError(f"{value} was not heard: {pilot.app.screen}")
        await asyncio.sleep(0.005)
    made = [e.time for e in engine.journal[1] if any(isinstance(c, Switch) for c in e.commands)]
    await pilot.pause(0.8)
    return made[before] - asked


def main() -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "server").mkdir()
        with SoundServer(folder / "server") as server:
            os.environ.update(server.environment)
            found = measure(folder)
    median, worst = (1e3 * float(np.quantile(found.delays, q)) for q in (0.5, 1.0))
    print(
        f"{len(found.delays)} edits at the screen: heard after {median:.0f} ms (median), "
        f"{worst:.0f} ms (worst), device not counted; {found.underruns} gaps in the sound"
    )


if __name__ == "__main__":
    main()
