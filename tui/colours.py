"""Colours that eyes of every kind tell apart, for curves on a dark and on a light ground.

M. Okabe and K. Ito's set ("Color universal design", 2008; values from memory), of which a dark ground shows
the light ones and a light ground the dark ones. No colour says anything that no mark says as well.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from textual.app import App

ORANGE, SKY_BLUE, GREEN, YELLOW = "#E69F00", "#56B4E9", "#009E73", "#F0E442"
BLUE, VERMILLION, PURPLE = "#0072B2", "#D55E00", "#CC79A7"


@dataclass(frozen=True)
class Colours:
    """Styles, as Rich writes them; empty where there is no colour."""

    curves: tuple[str, ...] = ("", "", "")
    """One beside the other; no more are shown at once than these."""
    muted: str = ""
    """What is there to be looked past: grid, ranges, the programme."""
    plain: str = ""
    """Words and the cursor."""


NONE: Final = Colours()
DARK: Final = Colours((SKY_BLUE, ORANGE, GREEN), "#6c6c6c", "#c8c8c8")
LIGHT: Final = Colours((BLUE, "#c05500", "#007a59"), "#8a8a8a", "#303030")
"""Vermillion and green of a light ground are Okabe and Ito's, darker, to stand off it 3 to 1."""


def colours_of(app: App[object]) -> Colours:
    """What suits the theme that is on; none where colour is not wanted (NO_COLOR)."""
    if app.no_color:
        return NONE
    return DARK if app.current_theme.dark else LIGHT
