"""Whole pages of a hand-over, soon made: half a second of noise through a rig."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import soundfile

from auralize.handover.options import HandoverOptions
from auralize.handover.page import page_text
from auralize.rig.choice import Choice
from auralize.rig.reading import load_rig
from auralize.rig.stepped import SteppedValue
from support.page_data import made_data

DEMO = Path(__file__).parents[2] / "audio_demo"
STEPS = "runs.pond.length = 20 m, 62 m"


def noise(folder: Path, seconds: float = 0.5, rate: int = 48_000) -> Path:
    """A mono sound file."""
    path = folder / "noise.wav"
    samples = np.random.default_rng(14).normal(0.0, 0.1, round(seconds * rate))
    soundfile.write(path, samples, rate, subtype="PCM_24")
    return path


def material(folder: Path, steps: str | None = STEPS) -> tuple[dict[str, Any], list[Choice]]:
    """The data of a page of the run across the mill pond, and its choices; with a slider, if wanted."""
    options = HandoverOptions(steps=steps and SteppedValue.of(steps))
    rig = DEMO / "saltmarsh.toml"
    return made_data(rig, noise(folder), options), load_rig(rig).pick([])


def written(folder: Path, data: dict[str, Any], choices: list[Choice], name: str = "page") -> Path:
    """The page as a file."""
    path = folder / f"{name}.html"
    path.write_text(page_text(data, choices, choices[0]), encoding="utf-8")
    return path
