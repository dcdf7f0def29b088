"""What is said of a live input: its name, and how long sound takes from there to the ear."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from .words import clock

if TYPE_CHECKING:
    from auralize.live.status import Status

NO_SEEK: Final = "Nothing to go to: a live input is heard as it comes"
NO_LOOP: Final = "Nothing to loop: what came in from a live input is not kept"
_DOING: Final = {
    "waiting": "muted (space)",
    "muted": "muted",
    "sounding": "live",
    "lost": "input lost, silence",
}


def live_words(status: Status) -> str:
    """How long it has been heard, and the latency from input to ear in milliseconds."""
    live = status.live_input
    assert live is not None
    doing = f"{_DOING[live.state]} {clock(status.position)}"
    if live.state == "lost":
        return doing
    parts = [1e3 * live.latency, 1e3 * live.ours, 1e3 * status.latency]
    drift = "" if live.drift is None else f", clocks {1e6 * live.drift:+.0f} ppm"
    return (
        f"{doing}, up to {sum(parts):.0f} ms late "
        f"(in {parts[0]:.0f}, ours {parts[1]:.0f}, out {parts[2]:.0f}){drift}"
    )
