"""From a key to the screen painted: the bench at work, and the least that Textual can show, in turns."""

from __future__ import annotations

import asyncio
import shutil
import tempfile
import time
from pathlib import Path
from statistics import median
from typing import Any

import numpy as np
import soundfile as sf
from auralize_tui.choice_list import ChoiceList
from auralize_tui.panels import Now
from picture_screens import PROGRAMME, playing
from programmes import RATE, RIG
from textual.app import App, ComposeResult
from textual.widgets import Static

SIZE = (80, 24)
KEYS = ("pagedown", "pageup") * 5
APART = (0.15, 0.25)
"""s between keys, at random: the bench looks at its engine at times of its own."""
LONGEST = 10.0
"""s that a key is waited for."""


class OneStatic(App[None]):
    """As many cells as the bench has, all of them other ones after a key."""

    turned = False

    def compose(self) -> ComposeResult:
        yield Static(self.words)

    @property
    def words(self) -> str:
        width, height = SIZE
        return "\n".join(["ab"[self.turned] * width] * height)

    def on_key(self) -> None:
        self.turned = not self.turned
        self.query_one(Static).update(self.words)


class Painted:
    """Whether widgets that say something else after a key were painted, and when."""

    def __init__(self, app: App[None], *widgets: type[Static]) -> None:
        self.app, self._widgets, self._display = app, widgets, app._display
        self._said: list[str] = []
        self._at: dict[int, float] = {}
        self._done = asyncio.Event()
        app._display = self._paint

    async def after(self, key: str) -> list[float]:
        """s until the new words of each widget were painted."""
        self._said, self._at = self._words(), {}
        self._done.clear()
        asked = time.perf_counter()
        self.app.simulate_key(key)
        await asyncio.wait_for(self._done.wait(), LONGEST)
        return [self._at[number] - asked for number in range(len(self._widgets))]

    def _words(self) -> list[str]:
        return [str(self.app.screen.query_one(widget).render()) for widget in self._widgets]

    def _paint(self, screen: Any, renderable: Any) -> None:
        """Makes the bytes for a terminal, though none is written to."""
        if renderable is not None and self._said:
            renderable.render_segments(self.app.console)
            now = time.perf_counter()
            for number, (old, new) in enumerate(zip(self._said, self._words(), strict=True)):
                if old != new:
                    self._at.setdefault(number, now)
            if len(self._at) == len(self._widgets):
                self._done.set()
        self._display(screen, renderable)


def session(app: App[None], *widgets: type[Static]) -> list[float]:
    """Median s of a number of keys for each of the widgets."""
    random = np.random.default_rng(1)

    async def taken() -> list[list[float]]:
        async with app.run_test(size=SIZE) as pilot:
            await pilot.pause(1.0)
            painted, found = Painted(app, *widgets), []
            for key in KEYS:
                await asyncio.sleep(random.uniform(*APART))
                found.append(await painted.after(key))
            return found

    return [median(column) for column in zip(*asyncio.run(taken()), strict=True)]


def on_the_bench(rig: Path) -> list[float]:
    """s until it says that another choice is heard, and until that is marked in the list, with its curves."""
    app, pace = playing(rig)
    try:
        return session(app, Now, ChoiceList)
    finally:
        pace.done = True
        pace.join()
        app.engine.stop()
        app.draft.close()


def screen(runs: int) -> None:
    """Print s until the bench says what is heard, until its list does, and until a bare app is done."""
    with tempfile.TemporaryDirectory() as name:
        rig = Path(shutil.copy(RIG, name))
        noise = np.random.default_rng(1).normal(0.0, 0.1, (6 * RATE, 2))
        sf.write(rig.parent / PROGRAMME, noise, RATE)
        for _ in range(runs):
            print(*on_the_bench(rig), *session(OneStatic(), Static))
