"""The newcomer's first minute: what to press next, until it was all done once."""

from __future__ import annotations

from collections.abc import Collection
from typing import Final

STEPS: Final = (
    ("play", "space plays"),
    ("drop", "d: the drop"),
    ("other", "2: another choice"),
    ("loud", "g: drops equally loud"),
)
"""What there is to do first, and the words for it."""
AFTERWARDS: Final = "i: what this is; p pins a choice, Tab goes back to it; ?: all keys"


def hint(done: Collection[str]) -> str:
    """What of the first steps is left to do, in one line; then where all else is found."""
    left = [words for step, words in STEPS if step not in done]
    return f"Next: {'; '.join(left)}" if left else AFTERWARDS
