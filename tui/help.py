"""Help: what every key does here, read from the same bindings that do it."""

from __future__ import annotations

from textual.app import ComposeResult
from textual.binding import Binding
from textual.containers import VerticalScroll
from textual.screen import ModalScreen, Screen
from textual.widgets import Static

ABOUT = """\
The loss is the level at the loudspeaker relative to the amplifier's terminals.
The drop is the voltage that the cable keeps; its make-up gain is always shown.
Playing starts quiet. Loud sound damages hearing: raise the volume slowly."""


class HelpScreen(ModalScreen[None]):
    """The keys of the screen below."""

    BINDINGS = [Binding("escape,question_mark,q", "dismiss", "Close", id="help.close")]

    def __init__(self, below: Screen[object]) -> None:
        super().__init__()
        self._below = below

    def compose(self) -> ComposeResult:
        lines = ["Keys on this screen (Esc closes):", ""]
        for active in self._below.active_bindings.values():
            binding = active.binding
            if binding.id and (binding.tooltip or binding.show):
                key = self.app.get_key_display(binding)
                lines.append(f"  {key:<12} {binding.tooltip or binding.description}")
        lines.append(f"  {'^p':<12} Every command by its name")
        with VerticalScroll(classes="card"):
            yield Static("\n".join([*lines, "", ABOUT]), markup=False)
