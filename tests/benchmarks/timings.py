"""Rows of times, round by round, and what is made of them: ratios, limits, a table."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from statistics import median


@dataclass
class Timing:
    """What one row took, round by round."""

    name: str
    size: float = 1.0
    """What its time is told for: minutes, channels, taps, choices."""
    heads: bool = False
    """Whether it and the rows below are held against it, as they are against the first of a table."""
    seconds: list[float] = field(default_factory=list)
    processor: list[float] = field(default_factory=list)
    memory: float = 0.0
    """MB, the most at a time: of all its processes together on Linux, elsewhere of the largest."""

    def ratio(self, other: Timing) -> float:
        return ratio(self.seconds, other.seconds)


def ratio(ours: Sequence[float], theirs: Sequence[float]) -> float:
    """The median over rounds, of which each has both."""
    return median(a / b for a, b in zip(ours, theirs, strict=True))


@dataclass(frozen=True)
class Bar:
    """What was found, and the most that it should be."""

    words: str
    found: float
    most: float

    @property
    def met(self) -> bool:
        return self.found <= self.most

    @property
    def told(self) -> str:
        met = "met" if self.met else "NOT MET"
        return f"{self.words:<58}{self.found:8.3g}  (at most {self.most:g}: {met})"


def table(rows: Sequence[Timing]) -> str:
    """Each row, and its head held against it, in time and in time of processors."""
    words = ("s", "processor s", "peak MB", "of its s", "of its proc.", "s per unit")
    lines, head = [f"{'':<32}" + "".join(f"{word:>13}" for word in words)], rows[0]
    for row in rows:
        head = row if row.heads else head
        cells = [
            f"{median(row.seconds):.4g}",
            f"{median(row.processor):.3f}" if row.processor else "",
            f"{row.memory:.0f}" if row.memory else "",
            f"{head.ratio(row):.3f}",
            f"{ratio(head.processor, row.processor):.3f}" if row.processor else "",
            f"{median(row.seconds) / row.size:.5f}" if row.size != 1 else "",
        ]
        lines.append(f"{row.name:<32}" + "".join(f"{cell:>13}" for cell in cells).rstrip())
    return "\n".join(lines)
