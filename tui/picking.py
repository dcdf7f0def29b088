"""A list to pick from that can take a key at any time."""

from __future__ import annotations

from contextlib import suppress

from textual.widgets import OptionList


class PickList(OptionList):
    """As Textual has it (8.2), whose own goes down on a page key before it was laid out, or has no room."""

    DEFAULT_CSS = "PickList { min-width: 12; }"

    def action_page_up(self) -> None:
        """Up by a page, where it is known how long one is."""
        with suppress(LookupError):
            super().action_page_up()  # type: ignore[no-untyped-call]

    def action_page_down(self) -> None:
        """Down by a page, likewise."""
        with suppress(LookupError):
            super().action_page_down()  # type: ignore[no-untyped-call]
