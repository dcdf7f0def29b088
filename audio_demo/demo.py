"""The demonstration: the scenario's rig file and programme, rendered through every choice."""

from __future__ import annotations

import textwrap
from collections.abc import Callable
from importlib import resources
from pathlib import Path

import numpy as np

from audio_demo.programme import SECTIONS, synthesise
from auralize import show
from auralize.audiofile import AudioWriter
from auralize.errors import AuralizeError
from auralize.figures import figures
from auralize.render import Rendered, render
from auralize.rig import load_rig
from auralize.textfile import write_text

RATE = 48_000
PROGRAMME = "programme.wav"
RIG_FILES = ("saltmarsh.toml", "lobby.toml")


def make_demo(folder: Path, progress: Callable[[float], None]) -> str:
    """Write rig files and programme into ``folder``, render every choice of the first; say what to play."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise AuralizeError(f"{folder}: this folder cannot be made: {reason}") from None
    for name in RIG_FILES:
        write_text(folder / name, resources.files("audio_demo").joinpath(name).read_text("utf-8"))
    programme = folder / PROGRAMME
    _write_programme(programme)
    rig = load_rig(folder / RIG_FILES[0])
    choices = rig.pick([])
    done = render(programme, choices, folder, progress=progress)
    found = [figures(choice) for choice in choices]
    return "\n\n".join(
        [show.as_table(rig.title, found), show.as_gains(done), _what_to_play(folder, done)]
    )


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
        f"Everything is in {folder}. Play these, quietly at first:",
        f"  1. {PROGRAMME}: what the amplifier is given",
        f"  2. {drops[0]}: what the first choice keeps, {made:+.0f} dB made up",
        *(f"     {name}: the same gain, another choice" for name in drops[1:]),
        f"  3. {receiving[0]}: what arrives",
        *(f"     {name}: another choice" for name in receiving[1:]),
        "In the programme:",
    ]
    for section in SECTIONS:
        head = f"  {section.start:4.1f} to {section.end:4.1f} s  "
        words = f"{section.name}. {section.listen_for}"
        lines.append(
            textwrap.fill(words, 80, initial_indent=head, subsequent_indent=" " * len(head))
        )
    return "\n".join(lines)
