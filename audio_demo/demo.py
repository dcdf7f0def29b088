"""The demonstration: the scenario's rig files and programme, rendered through some choices."""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from importlib import resources
from pathlib import Path
from typing import Final

import numpy as np

from auralize.audio.writer import AudioWriter
from auralize.circuit.signals import Signal
from auralize.circuit.solution import Across
from auralize.figures.headlines import headline
from auralize.files import StagedText, commit_set, make_folder, write_bytes
from auralize.outputs import (
    check_ours,
    facts_beside,
    fingerprint,
    marked,
    origin,
    sidecar,
)
from auralize.renderer.facts import RenderedFile
from auralize.renderer.files import render
from auralize.renderer.options import RenderOptions
from auralize.rig.reading import load_rig

from .programme import SECTIONS, synthesise

RATE = 48_000
PROGRAMME = "programme.wav"
RIG_FILES = ("saltmarsh.toml", "lay.toml", "lobby.toml", "path.toml", "boathouse.toml")
SWEEP_FILE = "pond-tolerances.toml"


@dataclass(frozen=True)
class Part:
    """What is rendered of one rig file."""

    rig_file: str
    choices: tuple[str, ...]
    signals: tuple[Signal, ...]
    across: Across = "both"


RENDERED: Final = (
    Part("saltmarsh.toml", ("reel", "bought", "beams"), ("receiving", "drop")),
    Part("lay.toml", ("laid-out", "apart"), ("drop",)),
    Part("lay.toml", ("laid-out", "plus-inside"), ("drop",), "minus"),
)
FIRST: Final[tuple[tuple[str, Signal, Across, str], ...]] = (
    ("reel", "drop", "both", "kept by 2.5 mm2 twin"),
    ("beams", "drop", "both", "kept by cores round beams"),
    ("reel", "receiving", "both", "arrives through the twin"),
    ("beams", "receiving", "both", "arrives through the cores"),
    ("laid-out", "drop", "minus", "kept by minus, laid out"),
    ("plus-inside", "drop", "minus", "minus outside in a coil"),
)
"""What to play first, in this order, in few words."""
_WIDTH: Final = 80


def make_demo(folder: Path, progress: Callable[[float], None], replaces: bool = False) -> str:
    """Write rig files and programme into ``folder``, render the choices; say what to play first.

    Files that are there and are not as the demonstration left them stay, unless it ``replaces`` them.
    """
    make_folder(folder)
    programme, call = folder / PROGRAMME, fingerprint("demo")
    for name in (*RIG_FILES, SWEEP_FILE, PROGRAMME):
        check_ours(folder / name, call, replaces)
    for text in (*RIG_FILES, f"sweeps/{SWEEP_FILE}"):
        content = resources.files(__package__).joinpath(text).read_bytes()
        write_bytes(folder / Path(text).name, marked(content, ".toml", call))
    _write_programme(programme, call)
    outputs: list[RenderedFile] = []
    for number, part in enumerate(RENDERED):
        chosen = load_rig(folder / part.rig_file).pick(list(part.choices))
        options = RenderOptions(
            signals=part.signals,
            across=part.across,
            suffix=".flac",
            replaces=replaces,
        )
        outputs += render(programme, chosen, folder, options, _part(progress, number)).outputs
    return "\n".join([*_what_was_made(folder), *_to_play(outputs), *_sections()])


def _part(progress: Callable[[float], None], number: int) -> Callable[[float], None]:
    return lambda share: progress((number + share) / len(RENDERED))


def _write_programme(path: Path, call: str) -> None:
    sound = synthesise(RATE)
    comment = "programme of the Saltmarsh Tide Mill, synthesised"
    with (
        StagedText(sidecar(path)) as beside,
        AudioWriter(path, RATE, 2, "PCM_16", len(sound), f"{comment}; {origin()}") as writer,
    ):
        writer.write(np.asarray(sound, dtype=np.float64))
        writer.finish()
        told = {"file": path.name, "about": comment}
        beside.stage(facts_beside(writer.sha256(), told, call))
        commit_set([writer.staged, beside.staged])


def _what_was_made(folder: Path) -> list[str]:
    chosen = load_rig(folder / RENDERED[0].rig_file).pick(list(RENDERED[0].choices))
    losses = ", ".join(f"{one.name} {headline(one).loss_db:.2f} dB" for one in chosen)
    words = (
        f"In {folder}: {SECTIONS[-1].end:.0f} s of programme, and what the cables of the Saltmarsh Tide "
        f"Mill make of it (loss at 1 kHz: {losses}). Play first, quietly:"
    )
    return textwrap.wrap(words, _WIDTH, break_long_words=False)


def _to_play(outputs: Sequence[RenderedFile]) -> list[str]:
    rows = [(PROGRAMME, "what the amplifier is given")]
    made = {(o.choice, o.signal, o.across): o for o in outputs}
    for name, signal, across, words in FIRST:
        output = made[name, signal, across]
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
