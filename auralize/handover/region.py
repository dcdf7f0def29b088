"""Which part of a source goes into a page: where the two choices that differ most sound most different.

Heard at the receiving ends, both made equally loud and of one polarity, with K-weighting (ITU-R BS.1770).
The source is read once, in blocks; what is kept of it are three numbers for each 100 ms.
"""

from __future__ import annotations

import itertools
import os
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from auralize.audio.loudness import STEPS_PER_SECOND, k_weighting, power_response
from auralize.audio.metering import Samples
from auralize.audio.recursion import MOST, Recursion
from auralize.filters.fir import Fir
from auralize.filters.stream import through
from auralize.renderer.files import Designs
from auralize.renderer.parts import Share, as_it_is
from auralize.renderer.take import Take
from auralize.rig.choice import Choice

USUAL_SECONDS: Final = 20.0
"""Long enough for a phrase of music, short enough to be heard again."""
_NOTHING: Final = 1e-14
"""Of the power of what arrives; choices that differ by no more differ by rounding alone."""
_POINTS: Final = 300
"""Hz at which pairs are held against each other, in equal steps of the logarithm, as pink noise is heard."""
_LOW, _HIGH = 20.0, 20_000.0


@dataclass(frozen=True)
class Region:
    """A part of a source, and in words why it is that one; no words where it was asked for."""

    start: float
    seconds: float
    why: str = ""


@dataclass(frozen=True)
class Differing:
    """Where in a source two signals differ: mean power of the difference in each 100 ms."""

    power: NDArray[np.float64]
    words: str
    """Which two."""
    audible: bool
    """Whether they differ at all."""

    def region(self, seconds: float) -> Region:
        """The part of that length in which they differ most, the first of several alike."""
        steps = max(1, min(round(seconds * STEPS_PER_SECOND), len(self.power)))
        sums = np.concatenate([[0.0], np.cumsum(self.power)])
        first = int(np.argmax(sums[steps:] - sums[:-steps])) if self.audible else 0
        why = f"there {self.words} differ most, made equally loud"
        if not self.audible:
            why = f"{self.words} differ in nothing but level and polarity, so it is the beginning"
        return Region(first / STEPS_PER_SECOND, seconds, why)


def differing(take: Take, choices: Sequence[Choice], designs: Designs, share: Share) -> Differing:
    """Where in the source those two choices differ that differ most; one alone: from the source."""
    firs = [designs.of(choice, take.info.rate).receiving for choice in choices]
    names = [choice.name for choice in choices]
    if len(firs) == 1:
        firs.append(as_it_is(firs[0]))
        names.append("the source")
    one, other = _furthest(firs)
    power = _powers(take, firs[one], firs[other], share)
    arrives = power[0].sum(), power[2].sum()
    gain = np.sqrt(arrives[0] / arrives[1]) if arrives[1] > 0.0 else 0.0
    gain *= np.sign(power[1].sum())  # swapped conductors are heard beside other loudspeakers only
    apart = np.maximum(power[0] - 2.0 * gain * power[1] + gain**2 * power[2], 0.0)
    return Differing(
        apart, f"{names[one]} and {names[other]}", bool(apart.sum() > _NOTHING * arrives[0])
    )


def _furthest(firs: Sequence[Fir]) -> tuple[int, int]:
    """The two that differ most for pink noise, made equally loud and of one polarity."""
    rate = firs[0].rate
    frequency = np.geomspace(_LOW, min(_HIGH, 0.49 * rate), _POINTS)
    ears = np.sqrt(power_response(k_weighting(rate), frequency / rate))
    heard = [ears * fir.response(frequency) for fir in firs]
    loud = [float(np.linalg.norm(one)) for one in heard]
    alike = [one / most if most > 0.0 else one for one, most in zip(heard, loud, strict=True)]

    def apart(pair: tuple[int, int]) -> float:
        one, other = alike[pair[0]], alike[pair[1]]
        return float(min(np.linalg.norm(one - other), np.linalg.norm(one + other)))

    return max(itertools.combinations(range(len(firs)), 2), key=apart)


def _powers(take: Take, one: Fir, other: Fir, share: Share) -> NDArray[np.float64]:
    """Sums over 100 ms of a a, a b and b b, (3, steps), a and b being the two as they are heard."""
    steps = -(-take.frames * STEPS_PER_SECOND // take.info.rate)
    sums, done = np.zeros((3, steps)), 0
    for wet in _heard(take, one, other):
        a, b = wet.astype(np.float64)
        at = (done + np.arange(len(a))) * STEPS_PER_SECOND // take.info.rate
        first, last = (int(at[0]), int(at[-1]) + 1) if len(at) else (0, 0)
        for row, (left, right) in zip(sums, ((a, a), (a, b), (b, b)), strict=True):
            row[first:last] += np.bincount(at - first, np.einsum("nc,nc->n", left, right))
        done += len(a)
        share.add(len(a))
    return sums


def _heard(take: Take, one: Fir, other: Fir) -> Iterator[Samples]:
    """Both as a loudness meter hears them, (2, n, channels). Single precision is -140 dB: enough here."""
    workers = os.cpu_count() or 1
    for _, wet in through(_weighted(take), [one, other], take.channels, 0, workers, single=True):
        yield wet


def _weighted(take: Take) -> Iterator[Samples]:
    weighting = Recursion(k_weighting(take.info.rate), take.channels)
    for block in take.blocks():
        for start in range(0, len(block), MOST):
            yield weighting.run(block[start : start + MOST].T).T
