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
from auralize.files import StagedText, commit_set, make_folder, write_bytes
from auralize.outputs import check_ours, facts_beside, fingerprint, marked, origin, sidecar
from auralize.renderer.facts import Rendered
from auralize.renderer.files import render
from auralize.renderer.options import RenderOptions
from auralize.renderer.text import as_gains
from auralize.rig.reading import load_rig

from .programme import SECTIONS, synthesise

RATE = 48_000
PROGRAMME = "programme.wav"
RIG_FILES = ("saltmarsh.toml", "lay.toml", "lobby.toml", "path.toml")
"""Rendered: the first (what arrives, and the drop) and the second (the drops)."""


_SIGNALS: tuple[tuple[Signal, ...], ...] = (("receiving", "drop"), ("drop",))


def make_demo(folder: Path, progress: Callable[[float], None], replaces: bool = False) -> str:
    """Write rig files and programme into ``folder``, render the choices; say what to play.

    Files that are there and are not as the demonstration left them stay, unless it ``replaces`` them.
    """
    make_folder(folder)
    programme, call = folder / PROGRAMME, fingerprint("demo")
    for name in (*RIG_FILES, PROGRAMME):
        check_ours(folder / name, call, replaces)
    for name in RIG_FILES:
        rig_file = resources.files(__package__).joinpath(name).read_bytes()
        write_bytes(folder / name, marked(rig_file, ".toml", call))
    _write_programme(programme, call)
    text: list[str] = []
    for number, signals in enumerate(_SIGNALS):
        rig = load_rig(folder / RIG_FILES[number])
        choices = rig.pick([])
        half = _half(progress, number)
        done = render(
            programme, choices, folder, RenderOptions(signals=signals, replaces=replaces), half
        )
        text += [
            as_table(rig.title, [figures(choice) for choice in choices]),
            as_gains(done),
        ]
        text.append(_what_to_play(folder, done))
    return "\n\n".join([*text, _sections()])


def _half(progress: Callable[[float], None], number: int) -> Callable[[float], None]:
    return lambda share: progress((number + share) / 2)


def _write_programme(path: Path, call: str) -> None:
    sound = synthesise(RATE)
    comment = "programme of the Saltmarsh Tide Mill, synthesised"
    with (
        StagedText(sidecar(path)) as beside,
        AudioWriter(path, RATE, 2, "PCM_24", len(sound), f"{comment}; {origin()}") as writer,
    ):
        writer.write(np.asarray(sound, dtype=np.float64))
        writer.finish()
        told = {"file": path.name, "about": comment}
        beside.stage(facts_beside(writer.staged.temporary, told, call))
        commit_set([writer.staged, beside.staged])


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
