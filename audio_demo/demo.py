"""The demonstration: the scenario's rig files and programme, rendered through some choices."""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Sequence
from importlib import resources
from pathlib import Path
from typing import Final

import numpy as np

from auralize.audio.writer import AudioWriter
from auralize.circuit.signals import Signal
from auralize.figures.numbers import figures
from auralize.files import make_folder, write_text
from auralize.renderer.facts import RenderedFile
from auralize.renderer.files import RenderOptions, render
from auralize.rig.choice import Choice
from auralize.rig.reading import load_rig

from .programme import SECTIONS, synthesise

RATE = 48_000
PROGRAMME = "programme.wav"
RIG_FILES = ("saltmarsh.toml", "lay.toml", "lobby.toml", "path.toml")
"""Rendered: of the first what arrives, and the drop; of the second the drops of some choices."""
RENDERED: Final[tuple[tuple[tuple[str, ...], tuple[Signal, ...]], ...]] = (
    (("reel", "bought", "beams"), ("receiving", "drop")),
    (("laid-out", "apart", "apart-steel"), ("drop",)),
)
"""Choices and signals of these two."""
FIRST: Final[tuple[tuple[str, Signal, str], ...]] = (
    ("reel", "drop", "kept by 2.5 mm2 twin"),
    ("beams", "drop", "kept by single cores round beams"),
    ("reel", "receiving", "arrives through 2.5 mm2 twin"),
    ("beams", "receiving", "arrives through single cores"),
    ("laid-out", "drop", "kept by twin, laid out"),
    ("apart", "drop", "kept by cores, each coiled"),
)
"""What to play first, in this order, in few words."""
_WIDTH: Final = 80


def make_demo(folder: Path, progress: Callable[[float], None]) -> str:
    """Write rig files and programme into ``folder``, render the choices; say what to play first."""
    make_folder(folder)
    for name in RIG_FILES:
        write_text(folder / name, resources.files(__package__).joinpath(name).read_text("utf-8"))
    programme = folder / PROGRAMME
    _write_programme(programme)
    outputs: list[RenderedFile] = []
    choices: dict[str, Choice] = {}
    for number, (names, signals) in enumerate(RENDERED):
        chosen = load_rig(folder / RIG_FILES[number]).pick(list(names))
        options = RenderOptions(signals=signals, suffix=".flac")
        done = render(programme, chosen, folder, options, _half(progress, number))
        outputs += done.outputs
        choices |= {choice.name: choice for choice in chosen}
    return "\n".join([*_what_was_made(folder, choices), *_to_play(outputs), *_sections()])


def _half(progress: Callable[[float], None], number: int) -> Callable[[float], None]:
    return lambda share: progress((number + share) / 2)


def _write_programme(path: Path) -> None:
    sound = synthesise(RATE)
    comment = "programme of the Saltmarsh Tide Mill, synthesised"
    with AudioWriter(path, RATE, 2, "PCM_16", len(sound), comment) as writer:
        writer.write(np.asarray(sound, dtype=np.float64))


def _what_was_made(folder: Path, choices: dict[str, Choice]) -> list[str]:
    losses = ", ".join(f"{name} {figures(choices[name]).loss_db:.2f} dB" for name in RENDERED[0][0])
    words = (
        f"In {folder}: {SECTIONS[-1].end:.0f} s of programme, and what the cables of the Saltmarsh Tide "
        f"Mill make of it (loss at 1 kHz: {losses}). Play first, quietly:"
    )
    return textwrap.wrap(words, _WIDTH, break_long_words=False)


def _to_play(outputs: Sequence[RenderedFile]) -> list[str]:
    rows = [(PROGRAMME, "what the amplifier is given")]
    made = {(o.choice, o.signal): o for o in outputs}
    for name, signal, words in FIRST:
        output = made[name, signal]
        gain = f" ({output.gains.total:+.0f} dB)" if signal == "drop" else ""
        rows.append((output.path.name, f"{words}{gain}"))
    widest = max(len(name) for name, _ in rows)
    return [f"  {name:<{widest}}  {words}" for name, words in rows]


def _sections() -> list[str]:
    return [
        "Listen for:",
        *(
            f"  {section.start:4.1f} s  {section.name}: {section.listen_for.rpartition(': ')[2]}"
            for section in SECTIONS
        ),
    ]
