"""Programmes that benchmarks work on, and what a process of their own does with them."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import soundfile as sf

RIG = Path(__file__).parents[2] / "audio_demo" / "saltmarsh.toml"
RATE = 48_000
LONGEST_WAV = 180.0
"""min of stereo; beyond that RF64, as 32-bit sizes end."""


def make_programme(path: Path, minutes: float, channels: int = 2, music: bool = False) -> None:
    """24 bit: noise with a swell every second, or the demonstration's programme again and again.

    Written in small pieces: memory stays small.
    """
    if music:
        from auralize_demo.programme import synthesise

        sound = synthesise(RATE)
    else:
        noise = np.random.default_rng(11).normal(0.0, 0.1, (RATE, 2))
        sound = noise * np.linspace(0.2, 1.0, RATE)[:, None]
    frames = round(minutes * 60 * RATE)
    steps = np.rint(np.resize(sound.T, (channels, len(sound))).T * 2.0**23).astype(np.int32) << 8
    kind = "RF64" if minutes * channels > LONGEST_WAV * 2 else "WAV"
    with sf.SoundFile(path, "w", RATE, channels, "PCM_24", format=kind) as file:
        for at in range(0, frames, len(sound)):
            file.write(steps[: frames - at])


def as_text(taps: Path, text: Path) -> None:
    """The taps of a WAV file as `sox fir` reads them; prints how many they are."""
    values = sf.read(taps)[0]
    text.write_text("".join(f"{value:.17g}\n" for value in values))
    print(len(values))


def convolve(source: Path, taps: Path, result: Path) -> None:
    """The whole file at once, in double precision, by SciPy: what a short script does."""
    from scipy.signal import oaconvolve

    sound, rate = sf.read(source, always_2d=True)
    out = oaconvolve(sound, sf.read(taps, always_2d=True)[0], axes=0)[: len(sound)]
    sf.write(result, out, rate, "PCM_24")


def loudness(minutes: float, runs: int) -> None:
    """Print pairs of seconds: our meter and pyloudnorm on one array, and how far they are apart."""
    import pyloudnorm
    from auralize_demo.programme import synthesise

    from auralize.audio.loudness import LoudnessMeter

    sound = np.resize(synthesise(RATE), (round(minutes * 60 * RATE), 2))

    def ours() -> float:
        meter = LoudnessMeter(RATE, 2)
        for at in range(0, len(sound), BLOCK):
            meter.add(sound[at : at + BLOCK])
        return meter.integrated

    def theirs() -> float:
        return float(pyloudnorm.Meter(RATE).integrated_loudness(sound))

    for _ in range(runs):
        (mine, my_loudness), (others, their_loudness) = timed(ours), timed(theirs)
        print(mine, others, my_loudness - their_loudness)


BLOCK = 1 << 15
"""Frames given to a meter at a time, as the renderer does."""


def timed(work: Callable[[], float]) -> tuple[float, float]:
    """Seconds that it takes, and what it finds."""
    start = time.perf_counter()
    found = work()
    return time.perf_counter() - start, found
