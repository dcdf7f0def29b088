"""Bare pages with nothing but some of the scripts of a hand-over, and what goes into them and comes out."""

import base64
from collections.abc import Sequence
from importlib.resources import files
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

SAMPLES = """
const samples = (text) => new Float32Array(Uint8Array.from(atob(text), (c) => c.charCodeAt(0)).buffer);
const bytes = (text) => Uint8Array.from(atob(text), (c) => c.charCodeAt(0));
"""
"""Defines how a page reads what `sent` and `base64_of` make."""


def script_page(folder: Path, scripts: Sequence[str], more: str = "") -> Path:
    """A page with these scripts of auralize.handover, in the order given, and ``more`` after them."""
    parts = [(files("auralize.handover") / name).read_text("utf-8") for name in scripts]
    inside = "".join(f"<script>{part}</script>\n" for part in [SAMPLES, *parts, more])
    path = folder / "scripts.html"
    path.write_text(
        f'<!doctype html><meta charset="utf-8"><link rel="icon" href="data:,">\n{inside}', "utf-8"
    )
    return path


def base64_of(content: bytes) -> str:
    """For `bytes` in the page."""
    return base64.b64encode(content).decode()


def sent(signal: NDArray[np.floating]) -> list[str]:
    """A signal (frames, channels), rounded to single precision, for `samples` in the page by channel."""
    return [base64_of(channel.astype("<f4").tobytes()) for channel in signal.T]
