"""The region that goes into a page, against a search by brute force over whole signals."""

from __future__ import annotations

import tracemalloc
from pathlib import Path

import numpy as np
import pytest
import soundfile as sf

import auralize as au
from auralize.audio.loudness import k_weighting, power_response
from auralize.handover.region import Region, differing
from auralize.renderer.files import Designs
from auralize.renderer.parts import Share
from auralize.renderer.take import WHOLE, Excerpt, Take
from auralize.rig.choice import Choice
from auralize.rig.reading import load_rig
from support.command import RATE, RIG, Array

SECONDS, WINDOW = 6.0, 1.5


def sound(seed: int = 1) -> Array:
    """Noise that is dull, but for two bright seconds, and louder in its dull end."""
    random = np.random.default_rng(seed)
    noise = random.normal(0.0, 0.02, (round(SECONDS * RATE), 2))
    dull = np.cumsum(noise, axis=0) * 0.03
    dull[4 * RATE :] *= 3.0
    bright = np.zeros_like(noise)
    bright[2 * RATE : 4 * RATE] = np.diff(noise[2 * RATE - 1 : 4 * RATE], axis=0)
    return np.asarray(dull + bright)


@pytest.fixture
def take(tmp_path: Path) -> Take:
    sf.write(tmp_path / "bells.wav", sound(), RATE, "DOUBLE")
    return Take.of(tmp_path / "bells.wav", WHOLE)


def found(take: Take, choices: list[Choice], seconds: float = WINDOW) -> Region:
    told: list[float] = []
    region = differing(take, choices, Designs(), Share(told.append, 1, take.frames)).region(seconds)
    assert told[-1] == pytest.approx(1.0)
    return region


def rig(tmp_path: Path, inductance: str) -> list[Choice]:
    """Choices that differ in level alone, or (10 uH/m in one of them) in their top."""
    text = RIG.replace('inductance = "1 nH/m"', f'inductance = "{inductance}"', 1)
    (tmp_path / "sluice.toml").write_text(text)
    return list(load_rig(tmp_path / "sluice.toml").choices.values())


def weighted(signal: Array) -> Array:
    """K-weighting by way of its power response alone, over the whole signal at once."""
    spectrum = np.fft.rfft(signal, axis=0)
    at = np.arange(len(spectrum)) / len(signal)
    heard = spectrum * np.sqrt(power_response(k_weighting(RATE), at))[:, None]
    return np.asarray(np.fft.irfft(heard, len(signal), axis=0))


def apart(one: Array, other: Array) -> Array:
    """Power of the difference in every 100 ms, made equally loud."""
    a, b = weighted(one), weighted(other)
    power = np.square(a - b * np.linalg.norm(a) / np.linalg.norm(b)).sum(axis=1)
    return np.asarray(power.reshape(-1, RATE // 10).sum(axis=1))


def test_it_is_where_a_search_by_brute_force_finds_it(take: Take, tmp_path: Path) -> None:
    thin, thick = rig(tmp_path, "10 uH/m")
    samples, _ = sf.read(take.info.path, always_2d=True)
    one, other = (np.asarray(au.render(samples, RATE, choice)) for choice in (thin, thick))
    for choices, power, words in (
        ([thin, thick], apart(one, other), "there thin and thick differ most, made equally loud"),
        ([thin], apart(one, samples), "there thin and the source differ most, made equally loud"),
    ):
        width = round(10 * WINDOW)
        sums = np.convolve(power, np.ones(width), "valid")
        region = found(take, choices)
        assert region == Region(region.start, WINDOW, words)
        # The weighting there has a phase, a few ms of it: windows that are nearly alike may change places.
        assert sums[round(10.0 * region.start)] > 0.98 * sums.max()
        assert sums.max() > 2.0 * np.median(sums)
        assert 2.0 <= region.start <= 4.0 - WINDOW  # where it is bright


def test_of_three_it_is_the_two_that_differ_most(take: Take, tmp_path: Path) -> None:
    (tmp_path / "sluice.toml").write_text(
        RIG.replace('inductance = "1 nH/m"', 'inductance = "2 uH/m"', 1)
        + '\n[choices.longest]\nruns.path = { cable = "thin", length = "1 km" }\n'
    )
    choices = list(load_rig(tmp_path / "sluice.toml").choices.values())
    assert found(take, choices).why.startswith("there thick and longest differ most")


def test_without_any_difference_it_is_the_beginning(take: Take, tmp_path: Path) -> None:
    """One in level or polarity alone is none, once both are equally loud and of one polarity."""
    choices = rig(tmp_path, "1 nH/m")
    (tmp_path / "sluice.toml").write_text(
        RIG + '\n[choices.swapped]\nruns.path.cable = "thin"\nloads.sluice.reversed = true\n'
    )
    swapped = load_rig(tmp_path / "sluice.toml")["swapped"]
    silent = tmp_path / "silent.wav"
    sf.write(silent, np.zeros((RATE, 1)), RATE)
    bare = [choice for choice in choices if choice.name == "thin"]
    for source, some in (
        (Take.of(silent, WHOLE), choices),
        (take, [*bare, *bare]),
        (take, [*bare, swapped]),
    ):
        region = found(source, some, 0.5)
        assert region.start == 0.0
        assert region.why.endswith("nothing but level and polarity, so it is the beginning")


def test_a_long_source_is_never_in_memory_whole(tmp_path: Path) -> None:
    minute = np.tile(sound()[:, :1], (10, 1))
    with sf.SoundFile(tmp_path / "long.wav", "w", RATE, 1, "PCM_16") as file:
        for _ in range(20):
            file.write(minute)
    choices = rig(tmp_path, "10 uH/m")
    source = Take.of(tmp_path / "long.wav", WHOLE)
    found(Take.of(tmp_path / "long.wav", Excerpt(0.0, 1.0)), choices)  # what is loaded once
    tracemalloc.start()
    try:
        found(source, choices)
        most = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert most < 0.25 * source.frames * 8  # of what its samples would take
