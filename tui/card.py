"""The card of a choice: the drawing of its installation, facts, cautions, ranges; and all news."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Final

from rich.text import Text
from textual.app import ComposeResult
from textual.binding import Binding
from textual.containers import VerticalScroll
from textual.screen import ModalScreen
from textual.widgets import Static

from auralize.figures.facts import facts
from auralize.figures.sentences import is_caution

from .drawing import drawing, tree

if TYPE_CHECKING:
    from auralize.circuit.signals import Signal
    from auralize.circuit.solution import Across
    from auralize.rig.choice import Choice

_LOOK: Final = 0.2
"""s between two looks whether the figures are there."""
_AROUND: Final = 5
"""Columns of the card that are no text, its scroll bar among them."""


class CardScreen(ModalScreen[None]):
    """What is to be known of one choice; it scrolls where it is long."""

    BINDINGS = [Binding("escape,i,enter,q", "dismiss", "Close", id="card.close")]

    def __init__(
        self,
        choice: Choice,
        label: str,
        taken: tuple[Signal | None, Across],
        told: Callable[[], Sequence[str] | None],
        news: Sequence[str],
        *,
        plain: bool,
    ) -> None:
        super().__init__()
        self._label = label
        self._choice, self._taken, self._told, self._news = choice, taken, told, news
        self._plain = plain

    def compose(self) -> ComposeResult:
        card = VerticalScroll(Static(id="card-text", markup=False), classes="card")
        card.border_title = "What this is (Esc closes)"
        yield card

    def on_mount(self) -> None:
        self.call_after_refresh(self._look)
        if self._told() is None:
            self.set_interval(_LOOK, self._look)

    def on_resize(self) -> None:
        """Draw to the new width."""
        self.call_after_refresh(self._look)

    def _look(self) -> None:
        text = self.query_one("#card-text", Static)
        width = text.size.width or self.app.size.width - _AROUND
        text.update(
            card_text(
                self._choice,
                self._label,
                self._taken,
                self._told(),
                self._news,
                width,
                self._plain,
            )
        )


def card_text(
    choice: Choice,
    label: str,
    taken: tuple[Signal | None, Across],
    told: Sequence[str] | None,
    news: Sequence[str],
    width: int,
    plain: bool,
) -> Text:
    """All that stands on the card; ``told`` None: the figures are not known yet.

    ``label``: as the list of choices has it, which marks what edits may have made untrue.
    """
    name = choice.name if label == choice.name else f"{choice.name}: {label}"
    text = Text(f"{name}\n", "bold")
    text.append(
        "\n".join([*drawing(choice, *taken, width, plain=plain), facts(choice)]), "not bold"
    )
    cautions = [sentence for sentence in told or () if is_caution(sentence)]
    others = [sentence for sentence in told or () if not is_caution(sentence)]
    if told is None:
        others = ["(working out)"]
    _section(text, "Cautions", [f"! {sentence.strip()}" for sentence in cautions])
    _section(text, "What the figures say", others)
    parts = tree(choice)
    _section(text, "All of the installation", parts if len(parts) > 3 else ())
    _section(text, "News, the latest last", news)
    return text


def _section(text: Text, title: str, lines: Sequence[str]) -> None:
    if lines:
        text.append(f"\n\n{title}\n", "bold")
        text.append("\n".join(lines), "not bold")
