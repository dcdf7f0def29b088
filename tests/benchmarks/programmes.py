"""Programmes that benchmarks work on, and what a process of their own does with them."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any, ParamSpec, TypeVar

import numpy as np
import soundfile as sf
from numpy.typing import NDArray

P = ParamSpec("P")
T = TypeVar("T")
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
    """Print seconds: our meter in single precision (as the renderer has 16 and 24 bit) and in double, and
    pyloudnorm, on the same samples; and how far apart the first and the last are."""
    import pyloudnorm
    from auralize_demo.programme import synthesise

    from auralize.audio.loudness import LoudnessMeter

    sound = np.resize(synthesise(RATE), (round(minutes * 60 * RATE), 2))

    single = sound.astype(np.float32)

    def ours(samples: Any) -> float:
        meter = LoudnessMeter(RATE, 2)
        for at in range(0, len(samples), BLOCK):
            meter.add(samples[at : at + BLOCK])
        return meter.integrated

    def theirs() -> float:
        return float(pyloudnorm.Meter(RATE).integrated_loudness(sound))

    for _ in range(runs):
        mine, my_loudness = timed(lambda: ours(single))
        double, _ = timed(lambda: ours(sound))
        others, their_loudness = timed(theirs)
        print(mine, double, others, my_loudness - their_loudness)


BLOCK = 3 << 15
"""Frames given to a meter at a time, as the renderer does."""


def design(runs: int, *rates: int) -> None:
    """Print for each rate in kHz the seconds that the filters of a choice take, and those of firwin2's.

    A rig read anew and no cache filled: as the first filter after a start. firwin2 is given magnitudes, and
    as many taps, or one more: even numbers let nothing through at Nyquist. Its phase is linear, and it knows
    of no error.
    """
    from scipy.signal import firwin2

    from auralize.filters.fir import design_run
    from auralize.rig.reading import load_rig

    for _ in range(runs):
        for rate in rates:
            forget()
            choice, hertz = load_rig(RIG)["reel"], 1000 * rate
            mine, found = timed(design_run, choice.network, choice.listen, hertz)
            wanted = [magnitudes(f.taps) for f in (found.sending, found.receiving, found.drop)]
            others, _ = timed(lambda asked: [firwin2(*one) for one in asked], wanted)
            print(mine, others, end=" ")
        print()


def magnitudes(taps: NDArray[np.float64]) -> tuple[int, NDArray[np.float64], NDArray[np.float64]]:
    """As firwin2 is asked for them: how many taps, frequencies as a share of Nyquist, what comes through."""
    fine = np.abs(np.fft.rfft(taps, 1 << 17))[::64]
    return len(taps) | 1, np.linspace(0.0, 1.0, len(fine)), fine


def forget() -> None:
    """Empty the caches of auralize."""
    ours = [module for name, module in sys.modules.items() if name.partition(".")[0] == "auralize"]
    for one in {id(one): one for module in ours for one in vars(module).values()}.values():
        if hasattr(one, "cache_clear"):
            one.cache_clear()


ROWS = 8
"""Rows of blocks in a round, each of another signal."""


def block(runs: int) -> None:
    """Print seconds of a block: the mean as the player makes it; the 99th percentile, but for those that fade
    over and come after a pause; what it lasts; and the mean of the same signals convolved by SciPy in one go,
    without fades, gains and limiter."""
    from bench_callback import BLOCK as PLAYED
    from bench_callback import ROW, _signals, _wait_for_the_reader
    from bench_play import _switch, playing
    from scipy.signal import oaconvolve

    noise = np.random.default_rng(1).normal(0.0, 0.1, (4 * RATE, 2))
    out = np.zeros((PLAYED, 2), np.float32)
    with playing(noise) as listening:
        signals = _signals(listening)
        for _ in range(runs):
            mine, whole = np.zeros((ROWS, ROW)), 0.0
            for row in range(ROWS):
                heard = signals[row % len(signals)]
                _switch(listening, heard)
                _wait_for_the_reader(listening)
                frames = listening.transport.position + np.arange(ROW * PLAYED)
                sound = noise.take(frames, axis=0, mode="wrap")
                mine[row] = [timed(listening.render, out)[0] for _ in range(ROW)]
                taps = listening._known.voice(heard).taps[:, None]
                whole += timed(oaconvolve, sound, taps, axes=0)[0]
            slowest = np.quantile(mine[:, 1:], 0.99)
            print(mine.mean(), slowest, PLAYED / RATE, whole / mine.size)


def timed(work: Callable[P, T], *given: P.args, **named: P.kwargs) -> tuple[float, T]:
    """Seconds that it takes, and what it finds."""
    start = time.perf_counter()
    found = work(*given, **named)
    return time.perf_counter() - start, found
