"""The card of presets: usual lays of the longest run, and usual sizes of its conductors."""

from __future__ import annotations

from textual import on
from textual.app import ComposeResult
from textual.binding import Binding
from textual.containers import Vertical
from textual.screen import ModalScreen
from textual.widgets import Static
from textual.widgets.option_list import Option

from auralize.errors import AuralizeError
from auralize.rig.editing import RigDraft
from auralize.rig.presets import Preset, lays_of, sizes_of, take

from .picking import PickList
from .plain import is_plain


class PresetScreen(ModalScreen[str | None]):
    """Enter makes the run so; what was assumed is told. The words of what was done, None for nothing."""

    BINDINGS = [Binding("escape,y", "dismiss(None)", "Leave", id="presets.leave")]

    def __init__(self, draft: RigDraft, choice: str) -> None:
        super().__init__()
        self._draft, self._choice = draft, choice
        self._presets: list[Preset | None] = [
            *lays_of(draft, choice),
            None,
            *sizes_of(draft, choice),
        ]

    def compose(self) -> ComposeResult:
        run = next(preset.run for preset in self._presets if preset)
        with Vertical(classes="card"):
            yield Static(f"{self._choice}: the {run} run, laid or sized as is usual", markup=False)
            yield PickList(*self._options(), markup=False)
            yield Static(
                "Enter takes it, u takes it back, Esc leaves", id="presets-message", markup=False
            )

    def _options(self) -> list[Option | None]:
        """The lines of the list; the rule between lays and sizes only where it can be drawn."""
        return [Option(p.words) if p else None for p in self._presets if p or not is_plain()]

    @on(PickList.OptionSelected)
    def pick(self, event: PickList.OptionSelected) -> None:
        """Make the run so, or say why not."""
        preset = [p for p in self._presets if p][event.option_index]
        try:
            words = take(self._draft, self._choice, preset)
        except AuralizeError as error:
            self.query_one("#presets-message", Static).update(str(error))
        else:
            self.dismiss(words)
