"""Pictures of every screen, at four sizes, dark, light and without colour: to be looked at.

    python tests/benchmarks/picture_screens.py FOLDER [NAME ...]

Writes SIZE-LOOK-NAME.svg, and .txt of what stands on it; .png where Pillow and DejaVu Sans Mono are.
"""

import asyncio
import importlib.util
import os
import shutil
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

import numpy as np
import soundfile as sf
from auralize_tui.app import BenchApp
from auralize_tui.theme import CONTRAST, DARK, LIGHT
from auralize_tui.trials import TrialScreen
from bench_analyser import Pace

from auralize.gains import Gains
from auralize.live.engine import Engine
from auralize.live.status import Event
from auralize.rig.editing import RigDraft
from auralize.trials.sitting import Sitting
from support.bench_engine import SilentEngine

FONT = Path("/usr/share/fonts/truetype/dejavu/DejaVuSansMono.ttf")
BOLD = FONT.with_name("DejaVuSansMono-Bold.ttf")
LETTER, CELL = 20, (12, 23)
"""Of the pictures in PNG: points of a letter, dots of a cell."""
PROGRAMME = "the-miller-and-the-tide.wav"
SIZES = [(76, 21), (80, 24), (120, 40), (200, 60)]
LOOKS = {"dark": DARK.name, "light": LIGHT.name, "contrast": CONTRAST.name, "mono": None}
KEYS = {
    "start": [],
    "drop": ["space", "2", "d"],
    "drop-over-plus": ["d", "c"],
    "pinned": ["p", "3", "p", "d"],
    "curves": ["v"],
    "card": ["3", "d", "i"],
    "find": ["slash", "b", "e"],
    "help": ["question_mark"],
    "edit": ["e"],
    "presets": ["y"],
    "places": ["t"],
    "settings": ["W"],
    "files": ["x"],
    "blind": ["b"],
    "palette": ["ctrl+p"],
}
"""Screens of the rig of the demo, by the keys that lead there."""
RIGS = {
    "coil": ("lay.toml", ["pagedown", "d"]),
    "coil-card": ("lay.toml", ["pagedown", "i"]),
    "line": ("path.toml", ["4", "d"]),
    "line-card": ("path.toml", ["4", "i"]),
    "ceiling": ("boathouse.toml", ["d"]),
    "many": ("many.toml", [*["pagedown"] * 25, "p", "pagedown", "p", "d"]),
}
ANALYSER = {
    "analyser": ["a"],
    "analyser-drop": ["2", "d", "p", "3", "p", "d", "a"],
    "analyser-line": ["2", "d", "a", "a"],
    "analyser-held": ["2", "d", "a", "h", "k", "f"],
    "analyser-relative": ["2", "r", "a", "f", "f"],
}
"""The same with the real engine at work, which makes blocks as a device asks for them."""
NEWS = [
    Event("fault", "null sink is gone; playing goes on when it is back, or choose another device"),
    Event("edit", "reel: the change is heard"),
]


class Practice:
    """Stands in for a session."""

    protocol, answered = "triangle", 3
    question = f"drop of reel against drop of bought, made equally loud; {PROGRAMME}"

    def present(self, presentation, player):
        player(0)

    def answer(self, index):
        return None


def many(folder: Path) -> None:
    """A rig of sixty choices."""
    text = (folder / "saltmarsh.toml").read_text("utf-8")
    for n in range(57):
        text += f'\n[choices.reel-{n + 10}]\nlabel = "{n + 10} m of the reel"\n'
        text += f'runs.pond = {{ cable = "reel", length = "{n + 10} m" }}\n'
    (folder / "many.toml").write_text(text, "utf-8")


def opened(rig: Path) -> BenchApp:
    draft = RigDraft(rig)
    engine = SilentEngine(draft.rig.choices.values())
    engine.now(gains=Gains(0.0, 12.0, -1.5), peak_dbfs=-14.0)
    return BenchApp(draft, rig.parent / PROGRAMME, engine, rig.parent / "trials")


async def picture(app: BenchApp, size, keys, look, where: Path, before=None) -> None:
    async with app.run_test(size=size) as pilot:
        await pilot.pause(0.1)
        if look is not None:
            app.theme = look
        if before:
            await before(pilot)
        await pilot.press(*keys)
        await pilot.pause(0.9)
        where.with_suffix(".svg").write_text(app.export_screenshot(simplify=True), "utf-8")
        strips = app.screen._compositor.render_strips()
        lines = ["".join(segment.text for segment in strip).rstrip() for strip in strips]
        where.with_suffix(".txt").write_text("\n".join(lines) + "\n", "utf-8")
    if FONT.exists() and importlib.util.find_spec("PIL"):
        painted(strips, look, size).save(where.with_suffix(".png"))


def painted(strips, look, size):
    """The cells of the screen, each in its own place, as no converter of SVG draws them."""
    from PIL import Image, ImageDraw, ImageFont

    wide, high = CELL
    fonts = [ImageFont.truetype(str(path), LETTER) for path in (FONT, BOLD)]
    ground = (255, 255, 255) if look == LIGHT.name else (12, 12, 12)
    ink = tuple(255 - part for part in ground)
    image = Image.new("RGB", (size[0] * wide, size[1] * high), ground)
    draw = ImageDraw.Draw(image)
    for row, strip in enumerate(strips):
        column = 0
        for segment in strip:
            style = segment.style
            front, back = (
                colour.get_truecolor() if colour and not colour.is_default else default
                for colour, default in (
                    (style and style.color, ink),
                    (style and style.bgcolor, ground),
                )
            )
            front, back = (back, front) if style and style.reverse else (front, back)
            for sign in segment.text:
                at = column * wide, row * high
                draw.rectangle((*at, at[0] + wide - 1, at[1] + high - 1), fill=tuple(back))
                if "\u2800" <= sign <= "\u28ff":
                    braille(draw, at, ord(sign) - 0x2800, tuple(front))
                else:
                    draw.text(at, sign, tuple(front), fonts[bool(style and style.bold)])
                column += 1
    return image


def braille(draw, at, bits, colour):
    """The dots of a cell, which the font has not; numbered as Unicode does (value from memory)."""
    places = ((0, 0), (0, 1), (0, 2), (1, 0), (1, 1), (1, 2), (0, 3), (1, 3))
    for bit, (across, down) in enumerate(places):
        if bits >> bit & 1:
            x, y = at[0] + 2 + 6 * across, at[1] + 2 + 6 * down
            draw.ellipse((x, y, x + 2, y + 2), fill=colour)


async def trial(pilot) -> None:
    engine = pilot.app.engine
    sitting = Sitting(Practice(), engine.hear_slot, lambda: 1.0)
    await pilot.app.push_screen(TrialScreen(sitting, engine))


async def news(pilot) -> None:
    pilot.app.engine.told += NEWS


def playing(rig: Path) -> tuple[BenchApp, Pace]:
    """The bench with the demo's programme in it, at the pace of a device that is not there."""
    draft, source = RigDraft(rig), rig.parent / PROGRAMME
    engine = Engine(source, list(draft.rig.choices.values()), volumes=rig.parent / "v.json")
    while engine.status().certainty != "measured":
        time.sleep(0.05)
    engine.loop((0.0, 1.0))
    engine.play()
    pace = Pace(engine._listening)
    pace.start()
    return BenchApp(draft, source, engine, rig.parent / "trials"), pace


def all_of_them(rigs: Path):
    """Name, rig, keys, what is done before them."""
    for name, keys in KEYS.items():
        yield name, rigs / "saltmarsh.toml", keys, None
    for name, (rig, keys) in RIGS.items():
        yield name, rigs / rig, keys, None
    for name, keys in ANALYSER.items():
        yield name, rigs / "saltmarsh.toml", keys, None
    yield "news", rigs / "saltmarsh.toml", [], news
    yield "trial", rigs / "saltmarsh.toml", ["2", "up"], trial


def main(folder: Path, wanted: list[str]) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as place:
        rigs = Path(place)
        for rig in (Path(__file__).parents[2] / "audio_demo").glob("*.toml"):
            shutil.copy(rig, rigs)
        many(rigs)
        noise = np.random.default_rng(13).normal(0.0, 0.1, 48_000)
        sf.write(rigs / PROGRAMME, np.cumsum(noise) / 48.0, 48_000)
        for name, rig, keys, before in all_of_them(rigs):
            if wanted and name not in wanted:
                continue
            for width, height in SIZES:
                for look, theme in LOOKS.items():
                    os.environ.pop("NO_COLOR", None)
                    if theme is None:
                        os.environ["NO_COLOR"] = "1"
                    where = folder / f"{width}x{height}-{look}-{name}"
                    app, pace = playing(rig) if name in ANALYSER else (opened(rig), None)
                    asyncio.run(picture(app, (width, height), keys, theme, where, before))
                    if pace:
                        pace.done = True
                        pace.join()
                    app.draft.close()
            print(name)


if __name__ == "__main__":
    if len(sys.argv) < 2:
        raise SystemExit(__doc__)
    main(Path(sys.argv[1]), sys.argv[2:])
