"""Help: what every key does here by what it acts on, read from the same bindings that do it."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from rich.text import Text
from textual.app import ComposeResult
from textual.binding import Binding
from textual.containers import VerticalScroll
from textual.screen import ModalScreen, Screen
from textual.widgets import Static

from .bindings import HEARING, PLAYING, VIEWING, WORKING

ABOUT: Final = """\
The loss is the level at the loudspeaker relative to the amplifier's terminals.
The drop is the voltage that the cable keeps; its make-up gain is always shown.
Playing starts quiet. Loud sound damages hearing: raise the volume slowly."""
_LEVELS: Final = frozenset(
    f"bench.{name}" for name in ("up", "down", "match", "drops", "more", "less")
)
_WHICH: Final = frozenset(f"bench.{name}" for name in ("previous", "next", "find", "pin", "other"))
"""Keys of the screen that looks through choices; what they do is heard."""
_PROGRAM: Final = frozenset({"help", "quit"})
_GROUPS: Final = {
    "Listening": [*PLAYING, *HEARING],
    "Levels": [],
    "Looking": VIEWING,
    "Rig": WORKING,
}


def _group(binding: Binding) -> str:
    if binding.id in _LEVELS:
        return "Levels"
    if binding.id in _WHICH:
        return "Listening"
    for name, bindings in _GROUPS.items():
        if any(isinstance(one, Binding) and one.id == binding.id for one in bindings):
            return name
    return "Program" if binding.id in _PROGRAM else "Here"


def grouped(bindings: Iterable[Binding]) -> dict[str, list[Binding]]:
    """Those with words for help, by what they act on, in the order that help lists them."""
    groups: dict[str, list[Binding]] = {name: [] for name in ("Here", *_GROUPS, "Program")}
    told: set[str] = set()
    for binding in bindings:
        if binding.id and binding.id not in told and (binding.tooltip or binding.show):
            told.add(binding.id)  # two keys may do the same
            groups[_group(binding)].append(binding)
    return {name: found for name, found in groups.items() if found}


class HelpScreen(ModalScreen[None]):
    """The keys of the screen below."""

    BINDINGS = [Binding("escape,question_mark,q", "dismiss", "Close", id="help.close")]

    def __init__(self, below: Screen[object]) -> None:
        super().__init__()
        self._below = below

    def compose(self) -> ComposeResult:
        groups = grouped(active.binding for active in self._below.active_bindings.values())
        text = Text()
        for name, bindings in groups.items():
            if len(groups) > 1:
                text.append(f"{name}\n", "bold")
            for one in bindings:
                text.append(f"  {self.app.get_key_display(one):<8}", "bold")
                text.append(f" {one.tooltip or one.description}\n")
        text.append(f"  {'^p':<8}", "bold").append(" Every command by its name, and colours\n\n")
        text.append(ABOUT)
        card = VerticalScroll(Static(text, markup=False), classes="card")
        card.border_title = "Keys on this screen (Esc closes)"
        yield card
