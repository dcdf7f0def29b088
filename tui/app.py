"""The application: one rig, one programme, one engine; the screens on top of each other."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import partial
from pathlib import Path
from typing import Any

from rich.traceback import Traceback
from textual.app import App, SystemCommand
from textual.binding import Binding
from textual.screen import Screen

from auralize.live.protocol import EngineLike
from auralize.live.sources import Feed, feed_of
from auralize.rig.editing import RigDraft

from .bench import BenchScreen
from .help import HelpScreen


class BenchApp(App[None]):
    """Opens on the bench. The engine is started and stopped by whoever made it."""

    TITLE = "auralize"
    ENABLE_COMMAND_PALETTE = True
    BINDINGS = [
        Binding("question_mark", "help", "Help", key_display="?", tooltip="This list", id="help"),
        Binding("ctrl+c", "leave", show=False),
        Binding("q", "leave", "Quit", show=False, tooltip="Quit; unsaved work is kept", id="quit"),
    ]
    CSS = """
    Screen { layout: vertical; }
    #title, #caution { height: 1; }
    #message { height: 2; }
    #top { height: 1fr; min-height: 9; }
    #choices { width: 36; height: 100%; border: round $foreground; padding: 0 1; }
    #curves { width: 1fr; }
    #now { height: 5; border: heavy $foreground; padding: 0 1; text-style: bold; }
    #meters { height: 2; padding: 0 1; }
    ModalScreen { align: center middle; }
    .card { width: 74; max-width: 100%; height: auto; max-height: 100%; border: double $foreground;
            padding: 0 1; background: $surface; }
    .card Input, .card Select { height: 3; }
    .card OptionList { max-height: 50vh; }
    """

    def __init__(
        self, draft: RigDraft, source: Path | Feed, engine: EngineLike, log_folder: Path
    ) -> None:
        super().__init__()
        self.draft = draft
        self.source = source
        self.engine = engine
        self.log_folder = log_folder

    def on_mount(self) -> None:
        self.theme = "textual-ansi" if self.console.no_color else self.theme
        self.push_screen(
            BenchScreen(self.draft, feed_of(self.source), self.engine, self.log_folder)
        )

    def get_system_commands(self, screen: Screen[Any]) -> Iterable[SystemCommand]:
        """Everything that a key does on this screen, by name."""
        for active in screen.active_bindings.values():
            binding = active.binding
            if binding.id and (binding.tooltip or binding.show):
                run = partial(self.run_action, binding.action, active.node)
                yield SystemCommand(binding.tooltip or binding.description, binding.key, run)

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
    engine = Engine(first, list(draft.rig.choices.values()), others=others)
    try:
        engine.start(output)
        BenchApp(draft, first, engine, log_folder).run()
    finally:
        engine.stop()
