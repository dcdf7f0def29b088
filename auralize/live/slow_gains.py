"""Gains that follow what came in so far, but slowly, so that levels do not wander."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields
from typing import Final

from auralize.gains import Gains, Heard

TOLERANCE: Final = 1.5
"""dB that every gain may be off before any is changed, so that levels do not wander."""


class SlowGains:
    """Brings gains to what they ought to be without haste, all by the same share of their ways.

    So what is shared by all, headroom and make-up, stays shared on the way.
    """

    def __init__(self) -> None:
        self._moving = False

    def towards(
        self, now: Mapping[Heard, Gains], target: Mapping[Heard, Gains], most: float
    ) -> dict[Heard, Gains]:
        """The next gains; none moves by more than ``most`` dB. What had none gets its own at once."""
        ways = [abs(target[h].total - now[h].total) for h in target if h in now]
        farthest = max(ways, default=0.0)
        if farthest > TOLERANCE:
            self._moving = True
        if not self._moving:
            return {h: now.get(h, gains) for h, gains in target.items()}
        if farthest <= most:
            self._moving = False
            return dict(target)
        share = most / farthest
        return {h: _between(now.get(h, g), g, share) for h, g in target.items()}


def _between(now: Gains, target: Gains, share: float) -> Gains:
    names = [field.name for field in fields(Gains)]
    return Gains(**{n: (1.0 - share) * getattr(now, n) + share * getattr(target, n) for n in names})
