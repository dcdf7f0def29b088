"""The card of places: a time to go to, markers by name, a stretch to be looped."""

from __future__ import annotations

from textual import on
from textual.app import ComposeResult
from textual.binding import Binding
from textual.containers import Vertical
from textual.screen import ModalScreen
from textual.widgets import Input, Static
from textual.widgets.option_list import Option

from auralize.errors import AuralizeError
from auralize.live.places import Destination, FromTo, Marker, place_of

from .picking import PickList
from .words import clock


class PlacesScreen(ModalScreen[Destination | FromTo | Marker | None]):
    """What is typed or picked; ``markers`` may lose some here."""

    BINDINGS = [
        Binding("escape", "dismiss(None)", "Leave", id="places.leave"),
        Binding("delete", "forget", "Forget", id="places.forget"),
    ]

    def __init__(self, markers: dict[str, float], length: float) -> None:
        super().__init__()
        self._markers, self._length = markers, length

    def compose(self) -> ComposeResult:
        with Vertical(classes="card"):
            yield Static(
                "Go to: a time such as 1:05.3, or a marker. A new name marks this place.\n"
                '"verse to chorus" loops between two; l ends a loop.',
                markup=False,
            )
            yield Input()
            yield PickList(markup=False)
            yield Static(
                "Enter goes, Tab to the list, Del forgets a marker, Esc leaves",
                id="places-message",
                markup=False,
            )

    def on_mount(self) -> None:
        self._list()
        self.query_one(Input).focus()

    def _list(self) -> None:
        self._markers_by_time = sorted(self._markers, key=self._markers.__getitem__)
        options = self.query_one(PickList)
        options.clear_options()
        options.add_options(
            [Option(f"{clock(self._markers[n]):>8}  {n}") for n in self._markers_by_time]
        )
        options.display = bool(self._markers)

    def action_forget(self) -> None:
        """Forget the marker that the list is at."""
        at = self.query_one(PickList).highlighted
        if at is not None:
            del self._markers[self._markers_by_time[at]]
            self._list()

    @on(PickList.OptionSelected)
    def pick(self, event: PickList.OptionSelected) -> None:
        """Go to a marker."""
        self.dismiss(Destination(self._markers[self._markers_by_time[event.option_index]]))

    @on(Input.Submitted)
    def take(self, event: Input.Submitted) -> None:
        """Go there, or say why not."""
        try:
            found = place_of(event.value, self._markers, self._length)
        except AuralizeError as error:
            self.query_one("#places-message", Static).update(str(error))
        else:
            self.dismiss(found)
