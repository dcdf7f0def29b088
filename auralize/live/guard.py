"""The guard against feedback: nothing from an input sounds until somebody has said that it may."""

from __future__ import annotations

from typing import Final

QUESTION: Final = (
    "Is no microphone of this input near the loudspeakers? It would howl. Space again lets it sound"
)
HELD_FOR: Final = 2.0
"""s that a howl is told by: the limiter holds it down, and it is as steady as a tone."""
TONE_CREST: Final = 5.0
"""dB between peak and mean of a steady tone at the limiter: a sine has 3.0; speech and music have 10 or
more (common practice, no source)."""
HOWLED: Final = (
    "Muted: a steady tone was at the limiter for 2 s, as when a microphone hears the loudspeakers. "
    "Turn down, then space twice"
)


class Guard:
    """Shut, asked, or open."""

    def __init__(self) -> None:
        self.open = False
        self._asked = False
        self._held_since: float | None = None

    def pressed(self) -> str:
        """Somebody wants to hear it: the question, or nothing when it may sound now."""
        if self.open or self._asked:
            self.open = True
            return ""
        self._asked = True
        return QUESTION

    def shut(self) -> None:
        """Ask again before anything sounds: other loudspeakers, another input, or a howl."""
        self.open = self._asked = False
        self._held_since = None

    def howls(self, limiting: bool, crest: float, now: float) -> bool:
        """Whether it has howled until ``now`` (s); from time to time. ``crest`` in dB."""
        if not (self.open and limiting and crest < TONE_CREST):
            self._held_since = None
            return False
        if self._held_since is None:
            self._held_since = now
        return now - self._held_since >= HELD_FOR
