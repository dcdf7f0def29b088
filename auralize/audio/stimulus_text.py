"""Test signals as they are written: ``pink``, ``sine 1 kHz -20 dBFS``, ``sweep 20 Hz to 20 kHz 10 s``."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Final

from auralize.audio.stimulus import Noise, Sine, Steps, Stimulus, Sweep
from auralize.errors import RequestError
from auralize.units import parse, parse_frequency, quoted

EXAMPLES: Final = (
    '"pink", "white", "programme", "sine 1 kHz", "sweep 20 Hz to 20 kHz 10 s", "steps 1 s", '
    'each with a level in rms such as "-20 dBFS" behind it'
)
_QUANTITY: Final = re.compile(
    r"([-+\u2212]?(?:\d+(?:\.\d*)?|\.\d+))\s*(dBFS|dB|kHz|Hz|min|ms|s)\b(?:\s*rms\b)?",
    re.IGNORECASE,
)
_LONGEST: Final = 200
"""Characters; no signal needs as many."""
_FILLING: Final = frozenset({"noise", "tone", "sine", "hz", "to", "from", "in", "at", "each", "of"})
"""Words that may stand between and say nothing more."""


def parse_stimulus(text: str) -> Stimulus:
    """The test signal that ``text`` asks for; raises RequestError with one sentence."""
    kind, _, rest = text.strip().partition(" ")
    making = _KINDS.get(kind.lower()) if len(text) <= _LONGEST else None
    rest = rest[:_LONGEST]  # looking through it takes time with its square
    found = _QUANTITY.findall(rest)
    left = _QUANTITY.sub(" ", rest).replace(",", " ").split()
    if making is None or any(word.lower() not in _FILLING for word in left):
        raise RequestError(f"{quoted(text)} is no test signal; write one of {EXAMPLES}")
    try:
        hertz = [parse_frequency(n + u) for n, u in found if u.lower().endswith("hz")]
        levels = [parse(f"{n} dB", "level") for n, u in found if u.lower().startswith("db")]
        seconds = [parse(f"{n} {u.lower()}", "time") for n, u in found if u.lower() in _TIMES]
    except ValueError as error:
        raise RequestError(f"{quoted(text)}: {error}") from None
    frequencies, times = making[1:]
    if len(hertz) not in frequencies or len(seconds) > times or len(levels) > 1:
        raise RequestError(
            f"{quoted(text)} has too many quantities or too few; write one of {EXAMPLES}"
        )
    # What is not said is left to the signal; a level is the last thing of each.
    given = {"level": levels[0]} if levels else {}
    if seconds:
        given["seconds"] = seconds[0]
    return making[0](*hertz, **given)


_TIMES: Final = frozenset({"s", "ms", "min"})
_KINDS: Final[dict[str, tuple[Callable[..., Stimulus], tuple[int, ...], int]]] = {
    "pink": (lambda **given: Noise("pink", **given), (0,), 0),
    "white": (lambda **given: Noise("white", **given), (0,), 0),
    "programme": (lambda **given: Noise("programme", **given), (0,), 0),
    "sine": (Sine, (1,), 0),
    "sweep": (Sweep, (0, 2), 1),
    "steps": (Steps, (0,), 1),
}
"""What makes each, how many frequencies it takes, and how many times."""
