"""The application: one rig, one programme, one engine; the screens on top of each other."""

from __future__ import annotations

import os
from collections.abc import Iterable, Sequence
from functools import partial
from pathlib import Path
from typing import Any

from rich.traceback import Traceback
from textual.app import App, SystemCommand
from textual.binding import Binding
from textual.screen import Screen
from textual.scrollbar import ScrollBar, ScrollBarRender

from auralize.live.protocol import EngineLike
from auralize.live.sources import Feed, feed_of
from auralize.rig.editing import RigDraft

from .bench import BenchScreen
from .help import HelpScreen
from .plain import KEYS, PlainBars, is_plain
from .theme import COLUMNS, CSS, DARK, LINES, THEMES


class BenchApp(App[None]):
    """Opens on the bench. The engine is started and stopped by whoever made it."""

    TITLE = "auralize"
    ENABLE_COMMAND_PALETTE = True
    BINDINGS = [
        Binding("question_mark", "help", "Help", key_display="?", tooltip="This list", id="help"),
        Binding("ctrl+c", "leave", show=False),
        Binding("q", "leave", "Quit", show=False, tooltip="Quit; unsaved work is kept", id="quit"),
    ]
    CSS = CSS
    HORIZONTAL_BREAKPOINTS = COLUMNS
    VERTICAL_BREAKPOINTS = LINES

    def __init__(
        self, draft: RigDraft, source: Path | Feed, engine: EngineLike, log_folder: Path
    ) -> None:
        # Else Textual (8.2) sends greys where NO_COLOR asks for no colour.
        super().__init__(ansi_color=True if "NO_COLOR" in os.environ else None)
        self.draft = draft
        self.source = source
        self.engine = engine
        self.log_folder = log_folder

    def on_mount(self) -> None:
        for theme in THEMES.values():
            self.register_theme(theme)
        self.theme = DARK.name
        self.set_class(is_plain(), "-plain")
        ScrollBar.renderer = PlainBars if is_plain() else ScrollBarRender
        self.push_screen(
            BenchScreen(self.draft, feed_of(self.source), self.engine, self.log_folder)
        )

    def get_key_display(self, binding: Binding) -> str:
        """A key as the sentences of the screens call it."""
        shown = {"⏎": "Enter", "tab": "Tab"}.get(found := super().get_key_display(binding), found)
        return KEYS.get(shown, shown) if is_plain() else shown

    def get_system_commands(self, screen: Screen[Any]) -> Iterable[SystemCommand]:
        """Everything that a key does on this screen, by name."""
        for active in screen.active_bindings.values():
            binding = active.binding
            if binding.id and (binding.tooltip or binding.show):
                run = partial(self.run_action, binding.action, active.node)
                key = self.get_key_display(binding)
                yield SystemCommand(binding.tooltip or binding.description, key, run)
        if not self.no_color:
            for words, theme in THEMES.items():
                yield SystemCommand(
                    f"Colours: {words}", "How the screen looks", partial(self._wear, theme.name)
                )
            yield SystemCommand("Colours: all others", "How the screen looks", self.search_themes)

    def _wear(self, theme: str) -> None:
        self.theme = theme

    def _fatal_error(self) -> None:
        """Show no values of variables: one could be a blind order.

        Textual's own (8.2) always shows them, and no option, variable or public hook changes that:
        an exception is caught in the loop of whatever widget raised it, and comes here.
        """
        self.panic(Traceback(show_locals=False))

    def action_help(self) -> None:
        """What can be done on the screen that is shown."""
        if not isinstance(self.screen, HelpScreen):
            self.push_screen(HelpScreen(self.screen))

    def action_leave(self) -> None:
        """Quit; unsaved work stays in the recovery file and is found next time."""
        kept = f"Unsaved work is kept beside {self.draft.path} and found again next time."
        self.exit(message=kept if self.draft.unsaved else None)


def open_bench(
    rig: Path,
    programmes: Sequence[Feed],
    output: str | None,
    log_folder: Path,
    *,
    files_anywhere: bool = False,
) -> None:
    """Open the bench on a rig file and one or several programmes.

    ``output``: the device to play on, by name or number; None: the default one.
    ``files_anywhere``: the rig may name measurements outside of its folder.
    Raises AuralizeError where either cannot be read; the engine is stopped whatever happens.
    """
    from auralize.live.engine import Engine

    draft = RigDraft(rig, files_anywhere=files_anywhere)
    first, *others = programmes
    try:
        engine = Engine(first, list(draft.rig.choices.values()), others=others)
        try:
            engine.start(output)
            BenchApp(draft, first, engine, log_folder).run()
        finally:
            engine.stop()
    finally:
        draft.close()
