"""Sound files to read and to write in the tests, and how a refusal is to read."""

import os
from pathlib import Path

import numpy as np
import soundfile as sf
from numpy.typing import NDArray

from auralize.audio.depth import Depth
from auralize.audio.reader import read_blocks
from auralize.audio.writer import AudioWriter

Array = NDArray[np.float64]

RATE = 44_100
FRAMES = 5_000
BLOCK_SIZES = [1, 64, 65, 128, 8192, 8193]


def integers(
    bits: int, frames: int = FRAMES, channels: int = 2, seed: int = 1
) -> NDArray[np.int64]:
    """Any value of that many bits, the two extremes among them."""
    top = 1 << (bits - 1)
    values = np.random.default_rng(seed).integers(-top, top, (frames, channels))
    values[0], values[1] = -top, top - 1
    return values


def make(path: Path, subtype: str = "PCM_24", kind: str = "WAV", rate: int = RATE) -> Path:
    """A file made by libsndfile alone, of any 24-bit values (low level where coding is lossy)."""
    samples = integers(24)
    with sf.SoundFile(str(path), "w", rate, 2, subtype, format=kind) as file:
        if subtype.startswith("PCM"):
            file.write((samples << 8).astype(np.int32))
        else:
            file.write(samples / 2.0**25)
    return path


def read_all(path: Path, size: int = 1000) -> Array:
    return np.concatenate(list(read_blocks(path, size)))


def write_all(path: Path, block: Array, depth: Depth = "PCM_24", **options: int | str) -> int:
    """Write one block; the samples that were clipped."""
    with AudioWriter(path, RATE, block.shape[1], depth, len(block), **options) as writer:  # type: ignore[arg-type]
        writer.write(block)
    return writer.clipped


def leftovers(folder: Path) -> list[str]:
    return sorted(name for name in os.listdir(folder))


def assert_one_sentence(text: str, path: Path) -> None:
    """It names the file, says one thing, and has no full stop, as it is put behind other words."""
    assert text.startswith(str(path))
    assert not text.endswith(".")  # one sentence, put behind another word
    assert ". " not in text.replace(str(path), "")
    assert "\n" not in text
