"""What the analyser costs: its share of one core, picture by picture, and what the tap takes in the callback.

    python tests/benchmarks/bench_analyser.py [SECONDS]

plays noise through the demo's rig at the pace of a device, the bench on a screen of 80 x 24 in memory (the
bytes of each picture are made, and not sent), and prints processor time (user and system, of the process)
over seconds of sound: the bench with its curves, then with third octaves, then with the fine line. What is
more than with the curves is the analyser's: its thread, the drawing, and the bytes for the terminal. The
rest is the bench itself, mostly the audio callback. Then blocks with the tap and without, in turns.
"""

from __future__ import annotations

import asyncio
import os
import sys
import tempfile
import threading
import time
from pathlib import Path
from typing import Any

import numpy as np
import soundfile as sf
from auralize_tui.analyser import AnalyserPanel
from auralize_tui.analysing import PICTURES
from auralize_tui.app import BenchApp

from auralize.gains import End
from auralize.live.engine import Engine
from auralize.live.listening import Listening
from auralize.live.tap import Tap
from auralize.rig.editing import RigDraft

RIG = Path(__file__).parents[2] / "audio_demo" / "saltmarsh.toml"
RATE, BLOCK = 48_000, 512
SIZE = (80, 24)
ROUNDS = 15
"""Turns with the tap and without."""


class Pace(threading.Thread):
    """Makes blocks as a device asks for them."""

    def __init__(self, listening: Listening) -> None:
        super().__init__(daemon=True)
        self.listening, self.done = listening, False

    def run(self) -> None:
        out, due = np.zeros((BLOCK, 2), np.float32), time.perf_counter()
        while not self.done:
            due += BLOCK / RATE
            time.sleep(max(0.0, due - time.perf_counter()))
            self.listening.render(out)


class Bench(BenchApp):
    """Makes the bytes for a terminal, though none is written to."""

    def _display(self, screen: Any, renderable: Any) -> None:
        if renderable is not None:
            renderable.render_segments(self.console)
        super()._display(screen, renderable)


async def share(pilot: Any, seconds: float) -> tuple[float, float]:
    """Processor time over time, and pictures a second (of the analyser, if it is shown)."""
    panel = pilot.app.screen.query_one(AnalyserPanel)
    drawn, rows = 0, panel.rows

    def counted() -> object:
        nonlocal drawn
        drawn += 1
        return rows()

    panel.rows = counted
    await asyncio.sleep(2.0)
    drawn, began, used = 0, time.perf_counter(), time.process_time()
    await asyncio.sleep(seconds)
    took = time.perf_counter() - began
    panel.rows = rows
    return (time.process_time() - used) / took, drawn / took


async def watched(app: BenchApp, seconds: float) -> None:
    """Print the shares, one view after another."""
    async with app.run_test(size=SIZE) as pilot:
        await pilot.pause(1.0)
        app.engine.hear(End("drop", "reel"))
        app.engine.play()
        found = {}
        for view in ("curves", "third octaves", "fine line"):
            found[view], pictures = await share(pilot, seconds)
            told = f", {pictures:.1f} pictures a second (asked for: {PICTURES:g})"
            more = found[view] - found["curves"]
            print(
                f"  {view}: {100 * found[view]:.1f} % of a core; {100 * more:.1f} % more than with the curves"
                f"{told if view != 'curves' else ''}"
            )
            await pilot.press("a")
        print(f"  blocks lost: {getattr(app.screen, 'lost', 0)}")


def tap_cost(listening: Listening) -> tuple[float, float]:
    """Median s of a block without a tap and with one, in turns."""
    out, took = np.zeros((BLOCK, 2), np.float32), {False: [], True: []}
    for turn in range(2 * ROUNDS):
        tapped = bool(turn % 2)
        listening.player.tap = Tap(BLOCK, 2, RATE) if tapped else None
        time.sleep(0.3)
        for _ in range(40):
            start = time.perf_counter()
            listening.render(out)
            took[tapped].append(time.perf_counter() - start)
    listening.player.tap = None
    return float(np.median(took[False])), float(np.median(took[True]))


def main() -> None:
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 20.0
    os.environ.setdefault("TERM", "xterm-256color")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        rig, source = folder / "rig.toml", folder / "noise.wav"
        rig.write_bytes(RIG.read_bytes())
        sf.write(source, np.random.default_rng(1).normal(0.0, 0.1, (6 * RATE, 2)), RATE, "FLOAT")
        draft = RigDraft(rig)
        engine = Engine(source, list(draft.rig.choices.values()), volumes=folder / "v.json")
        listening = engine._listening
        while listening.status().certainty != "measured":
            time.sleep(0.1)
        engine.loop((0.0, 6.0))
        engine.play()
        bare, tapped = tap_cost(listening)
        pace = Pace(listening)
        pace.start()
        asyncio.run(watched(Bench(draft, source, engine, folder), seconds))
        pace.done = True
        pace.join()
        print(
            f"  a block: {1e6 * bare:.0f} us without the tap, {1e6 * tapped:.0f} us with it "
            f"({100 * (tapped - bare) * RATE / BLOCK:.3f} % of what a block lasts)"
        )
        engine.stop()


if __name__ == "__main__":
    main()
