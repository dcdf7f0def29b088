"""Sample depths: which one a result needs, and floats made into what the file holds, with dither."""

from typing import Any, Final, Literal, cast

import numpy as np
from numpy.typing import NDArray

from auralize.audio.reader import AudioInfo

Depth = Literal["PCM_16", "PCM_24", "PCM_32", "FLOAT", "DOUBLE"]

SAMPLE_BYTES: Final[dict[Depth, int]] = {
    "PCM_16": 2,
    "PCM_24": 3,
    "PCM_32": 4,
    "FLOAT": 4,
    "DOUBLE": 8,
}
FLAC_DEPTHS: Final = ("PCM_16", "PCM_24")
WORDS: Final[dict[Depth, str]] = {
    "PCM_16": "16 bit",
    "PCM_24": "24 bit",
    "PCM_32": "32 bit",
    "FLOAT": "32-bit float",
    "DOUBLE": "64-bit float",
}

"""How each is told."""

SINGLE_BITS: Final = 24
"""Integers of so many bits are exact in single precision."""

DITHER_SEED: Final = 1
DRAWS: Final = 2
"""Random values that the dither of a sample is made of; each takes the bit generator one step on."""


def output_depth(info: AudioInfo, suffix: str = ".wav") -> Depth:
    """The depth of a result that loses nothing of the source, as far as the output format has it.

    16, 24 and 32 bit and floats stay what they are. 8 bit becomes PCM_16, its noise floor being far
    above that of 16 bit. Lossy sources (MP3, Ogg ...) have no depth of their own and decode to more
    than 16 bit: PCM_24. FLAC holds 24 bit at most, so for it 32 bit and floats become PCM_24.
    """
    depth: Depth = "PCM_24"
    if info.subtype in ("FLOAT", "DOUBLE"):
        depth = cast(Depth, info.subtype)
    elif info.bits is not None:
        depth = "PCM_16" if info.bits <= 16 else "PCM_24" if info.bits <= 24 else "PCM_32"
    return "PCM_24" if suffix.lower() == ".flac" and depth not in FLAC_DEPTHS else depth


def sound_bytes(depth: Depth, channels: int, frames: int) -> int:
    """Bytes of so many frames, not compressed."""
    return frames * channels * SAMPLE_BYTES[depth]


class Encoder:
    """Blocks of one sound made into what a file of `depth` holds; `clipped` counts what it cannot.

    Integers are rounded to nearest; 16 bit with triangular dither of +-1 step first, whose noise depends
    on `seed` and not on how the blocks are cut: from sample ``first`` on it is what it would be there.
    """

    def __init__(self, depth: Depth, seed: int = DITHER_SEED, first: int = 0) -> None:
        self.depth: Depth = depth
        self.clipped = 0
        """Samples over full scale so far; integers cannot hold them and got the nearest value."""
        source = np.random.PCG64(seed)
        self._random = np.random.Generator(source.advance(DRAWS * first))

    def encode(self, block: NDArray[Any], highest: float | None = None) -> NDArray[Any]:
        """As libsndfile takes it; int32 carries its bits at the upper end.

        ``highest`` is the magnitude of the samples, if known, which must be finite and, for a float of
        32 bits, within its range.
        """
        if self.depth == "DOUBLE":
            return block
        if self.depth == "FLOAT":
            return block.astype(np.float32)
        steps = self.steps(block, highest).astype(np.int32)
        bits = 8 * SAMPLE_BYTES[self.depth]
        return steps.astype(np.int16) if bits == 16 else steps << (32 - bits)

    def steps(self, block: NDArray[Any], highest: float | None = None) -> NDArray[Any]:
        """The whole numbers, as floats, of a depth that has them; see `encode`."""
        bits = 8 * SAMPLE_BYTES[self.depth]
        dither = triangular(self._random, block.shape) if bits == 16 else None
        steps, clipped = quantise(block, bits, dither, highest)
        self.clipped += clipped
        return steps


def magnitude(block: NDArray[Any]) -> float:
    """The highest of any sample; not finite where one is not."""
    return max(-float(block.min()), float(block.max())) if block.size else 0.0


def quantise(
    block: NDArray[Any],
    bits: int,
    dither: NDArray[np.float64] | None = None,
    highest: float | None = None,
) -> tuple[NDArray[Any], int]:
    """Nearest whole numbers of `bits` bits for full scale 1.0, and how many samples were over full scale.

    `dither` is in steps. What dither alone lifts over the top is held there and not counted. 16 to
    32 bits; the samples must be finite, ``highest`` their magnitude, if known. Those in single precision
    stay in it where it is exact.
    """
    top = 2.0 ** (bits - 1)
    exact = bits <= SINGLE_BITS and dither is None
    steps = np.multiply(block, top, dtype=block.dtype if exact else np.float64)
    clipped = 0
    if top * (magnitude(block) if highest is None else highest) > top - 1:
        nearest = np.rint(steps)
        clipped = int(np.count_nonzero((nearest < -top) | (nearest > top - 1)))
    if dither is not None:
        steps += dither
    np.rint(steps, out=steps)
    if clipped or dither is not None:
        np.clip(steps, -top, top - 1, out=steps)
    return steps, clipped


def triangular(random: np.random.Generator, shape: tuple[int, ...]) -> NDArray[np.float64]:
    """Sum of two uniform values of one step each: +-1 step, mean 0, variance 1/6.

    Drawn sample by sample, so that the values do not depend on how the signal is cut.
    """
    draws = random.random((*shape, DRAWS))
    sums: NDArray[np.float64] = draws[..., 0] + draws[..., 1]
    sums -= 1.0
    return sums
