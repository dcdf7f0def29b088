"""The demonstration: the scenario's rig file and programme, rendered through every choice."""

from __future__ import annotations

import textwrap
from collections.abc import Callable
from importlib import resources
from pathlib import Path

import numpy as np

from auralize.audio.writer import AudioWriter
from auralize.circuit.signals import Signal
from auralize.figures.numbers import figures
from auralize.figures.text import as_table
from auralize.files import make_folder, write_text
from auralize.renderer.facts import Rendered
from auralize.renderer.files import RenderOptions, render
from auralize.renderer.text import as_gains
from auralize.rig.reading import load_rig

from .programme import SECTIONS, synthesise

RATE = 48_000
PROGRAMME = "programme.wav"
RIG_FILES = ("saltmarsh.toml", "lay.toml", "lobby.toml", "path.toml", "boathouse.toml")
"""Rendered: the first (what arrives, and the drop) and the second (the drops)."""


_SIGNALS: tuple[tuple[Signal, ...], ...] = (("receiving", "drop"), ("drop",))


def make_demo(folder: Path, progress: Callable[[float], None]) -> str:
    """Write rig files and programme into ``folder``, render the choices; say what to play."""
    make_folder(folder)
    for name in RIG_FILES:
        write_text(folder / name, resources.files(__package__).joinpath(name).read_text("utf-8"))
    programme = folder / PROGRAMME
    _write_programme(programme)
    text: list[str] = []
    for number, signals in enumerate(_SIGNALS):
        rig = load_rig(folder / RIG_FILES[number])
        choices = rig.pick([])
        half = _half(progress, number)
        done = render(programme, choices, folder, RenderOptions(signals=signals), half)
        text += [
            as_table(rig.title, [figures(choice) for choice in choices]),
            as_gains(done),
        ]
        text.append(_what_to_play(folder, done))
    return "\n\n".join([*text, _sections()])


def _half(progress: Callable[[float], None], number: int) -> Callable[[float], None]:
    return lambda share: progress((number + share) / 2)


def _write_programme(path: Path) -> None:
    sound = synthesise(RATE)
    comment = "programme of the Saltmarsh Tide Mill, synthesised"
    with AudioWriter(path, RATE, 2, "PCM_24", len(sound), comment) as writer:
        writer.write(np.asarray(sound, dtype=np.float64))


def _what_to_play(folder: Path, done: Rendered) -> str:
    receiving = [o.path.name for o in done.outputs if o.signal == "receiving"]
    drops = [o.path.name for o in done.outputs if o.signal == "drop"]
    made = next(o.gains.makeup for o in done.outputs if o.signal == "drop")
    lines = [
        f"Play these, quietly at first (all in {folder}):",
        f"  {PROGRAMME}: what the amplifier is given",
    ]
    lines += [f"  {drops[0]}: what the cable keeps, {made:+.0f} dB made up"]
    lines += [f"  {name}: the same gain, another choice" for name in drops[1:]]
    lines += [f"  {name}: what arrives" for name in receiving]
    return "\n".join(lines)


def _sections() -> str:
    lines = ["In the programme:"]
    for section in SECTIONS:
        head = f"  {section.start:4.1f} to {section.end:4.1f} s  "
        words = f"{section.name}. {section.listen_for}"
        lines.append(
            textwrap.fill(words, 80, initial_indent=head, subsequent_indent=" " * len(head))
        )
    return "\n".join(lines)
