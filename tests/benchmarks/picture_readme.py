"""README's two pictures, made anew: the bench, and the page of a hand-over in Chromium.

    python tests/benchmarks/picture_readme.py [FOLDER]

FOLDER is ``audio_demo/pictures`` if none is given. Needs Pillow and DejaVu Sans Mono, chromium and the extra
``browsers``.
"""

import asyncio
import shutil
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

import picture_screens
from auralize_demo.demo import make_demo
from auralize_tui.theme import DARK
from PIL import Image

from auralize.commands.main import main as auralize
from support.browsers import Chromium

SIZE = (120, 40)
"""Columns and rows of the terminal."""
PAGE = (1280, 1240)
"""Of the window, in points."""
WIDE = 1000
"""Of both pictures, in dots."""
COLOURS = 160
LISTENED = """
const { sound } = window.bench;
await window.bench.ready;
sound.overlay({ choice: 2, signal: "receiving", across: "both" });
sound.play();
await new Promise((done) => setTimeout(done, 6000));
document.querySelector("h2").scrollIntoView();
return sound.position;
"""
"""In the page, before it is looked at."""


def small(picture: Path, to: Path) -> None:
    """As wide as README, in few colours."""
    with Image.open(picture) as image:
        high = round(image.height * WIDE / image.width)
        shrunk = image.convert("RGB").resize((WIDE, high), Image.Resampling.LANCZOS)
        shrunk.quantize(COLOURS, Image.Quantize.FASTOCTREE, dither=Image.Dither.NONE).save(
            to, optimize=True
        )


def the_bench(folder: Path) -> Path:
    app = picture_screens.opened(folder / "saltmarsh.toml")
    where = folder / "bench"
    keys = picture_screens.KEYS["pinned"]
    asyncio.run(picture_screens.picture(app, SIZE, keys, DARK.name, where))
    app.draft.close()
    return where.with_suffix(".png")


def the_page(folder: Path) -> Path:
    made = folder / "client"
    auralize(
        [
            "handover",
            str(folder / "saltmarsh.toml"),
            str(folder / "programme.wav"),
            "--into",
            str(made),
        ]
    )
    browser = Chromium()
    try:
        browser.open(made / "page.html", *PAGE)
        browser.run(LISTENED)
        browser.picture(folder / "page.png")
    finally:
        browser.close()
    return folder / "page.png"


def main(into: Path) -> None:
    into.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        make_demo(folder, lambda share: None, replaces=True)
        shutil.copy(folder / "programme.wav", folder / picture_screens.PROGRAMME)
        small(the_bench(folder), into / "bench.png")
        small(the_page(folder), into / "page.png")


if __name__ == "__main__":
    pictures = Path(__file__).parents[2] / "audio_demo" / "pictures"
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else pictures)
