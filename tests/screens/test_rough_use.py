"""Rough use of the bench: terminals with no room, keys before a card is laid out, names of nobody."""

import pytest
from auralize_tui.bench import BenchScreen
from auralize_tui.rendering import RenderScreen
from textual.widgets import Input

from support.bench_app import drive, text_of

pytest.importorskip("tomlkit", reason="the bench edits with tomlkit (extra: bench)")
CARDS = ("e", "t", "W", "y", "slash", "x", "i", "b", "question_mark")
NO_ROOM = ((5, 60), (1, 1), (200, 1), (3, 3), (80, 24))


@pytest.mark.parametrize("key", CARDS)
def test_a_card_stays_where_the_terminal_has_no_room_for_it(app, key):
    async def steps(pilot):
        await pilot.press(key)
        card = app.screen
        for size in NO_ROOM:
            await pilot.resize_terminal(*size)
            await pilot.press("pageup", "pagedown", "tab")
            assert app.screen is card
        await pilot.press("escape")
        assert isinstance(app.screen, BenchScreen)

    drive(app, steps)


@pytest.mark.parametrize("folder", ["~nobody-of-that-name/heard", "a\0b"])
def test_files_go_to_no_folder_that_cannot_be(app, folder):
    async def steps(pilot):
        await pilot.press("x")
        card = app.screen
        card.query_one(Input).value = folder
        await pilot.press("enter")
        await app.workers.wait_for_complete()
        await pilot.pause(0.3)
        assert app.screen is card
        assert isinstance(card, RenderScreen)
        assert "can be no folder" in text_of(card, "#render-message")
        await pilot.press("escape")
        assert isinstance(app.screen, BenchScreen)

    drive(app, steps)
