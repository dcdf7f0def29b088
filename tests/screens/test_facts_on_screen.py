"""What a choice is, and what warns of it, on the bench: the same sentences as the figures have."""

from pathlib import Path

import pytest
from auralize_tui.card import CardScreen
from auralize_tui.facts_line import FactsLine

from auralize.commands.main import main
from support.bench_app import DEMO, drive, everything, text_of

pytest.importorskip("tomlkit", reason="the bench edits with tomlkit (extra: bench)")
FOLDER = Path(DEMO).parent


async def _worked_out(pilot, app):
    line, choice = app.screen.query_one(FactsLine), app.draft.rig.choices[app.screen.chosen]
    for _ in range(200):
        if line.told(choice) is not None:
            return line.told(choice)
        await pilot.pause(0.05)
    raise TimeoutError


def test_every_sentence_of_the_figures_stands_on_the_card(opened, tmp_path, capsys):
    """Against the command: joints, polarity, taps, coils."""
    app = opened((FOLDER / "path.toml").read_text(encoding="utf-8"))
    assert main(["figures", str(tmp_path / "mill.toml"), "--choice", "swapped"]) == 0
    printed = " ".join(capsys.readouterr().out.split())

    async def steps(pilot):
        await pilot.press("4")
        told = await _worked_out(pilot, app)
        assert len(told) > 5
        assert all(" ".join(sentence.split()) in printed for sentence in told)
        assert "! 1 caution: i" in text_of(app.screen, "#facts")
        await pilot.press("i")
        await pilot.pause(0.3)
        assert isinstance(app.screen, CardScreen)
        card = " ".join(text_of(app.screen, "#card-text").split())
        assert all(" ".join(sentence.split()) in card for sentence in told)
        assert "! load lawn has plus and minus swapped" in card
        assert "transformer gate, tapped at 10 W" in card

    drive(app, steps)


def test_a_coil_warns_of_its_heat(opened):
    app = opened((FOLDER / "lay.toml").read_text(encoding="utf-8"))

    async def steps(pilot):
        await _worked_out(pilot, app)
        assert "caution" not in text_of(app.screen, "#facts")  # laid out straight
        await pilot.press("pagedown")
        await _worked_out(pilot, app)
        assert "! 1 caution: i" in text_of(app.screen, "#facts")
        await pilot.press("i")
        await pilot.pause(0.3)
        assert "a coiled cable cannot shed its heat" in text_of(app.screen, "#card-text")

    drive(app, steps)


def test_the_line_says_what_the_chosen_one_is(app):
    async def steps(pilot):
        for key, words in (("2", "62 m (203 ft) of 4 mm2 (11.2 AWG)"), ("1", "2.5 mm2 (13.2 AWG)")):
            await pilot.press(key)
            await pilot.pause(0.2)
            assert words in text_of(app.screen, "#facts")

    drive(app, steps)


def test_the_card_marks_a_label_that_an_edit_may_have_made_untrue_as_the_list_does(app):
    async def steps(pilot):
        app.screen.draft.change("reel", ("runs", "pond", "length"), "31 m")
        app.screen._changed("")
        await pilot.press("i")
        await pilot.pause(0.3)
        assert text_of(app.screen, "#card-text").startswith("reel: (edited) 2.5 mm2 twin")

    drive(app, steps)


def test_an_edit_is_told_anew(app):
    async def steps(pilot):
        await _worked_out(pilot, app)
        app.screen.draft.change("reel", ("runs", "pond", "length"), "31 m")
        app.screen._changed("")
        assert "31 m (102 ft)" in text_of(app.screen, "#facts")
        assert any("31 m" in sentence for sentence in await _worked_out(pilot, app))

    drive(app, steps)


def test_news_that_went_by_stand_on_the_card(app):
    async def steps(pilot):
        await pilot.press("l", "right", "l", "l", "i")
        await pilot.pause(0.2)
        card = text_of(app.screen, "#card-text")
        assert "Loop from 0:12.5; l again marks the end" in card
        assert "Loop off" in card

    drive(app, steps)


@pytest.mark.parametrize("size", [(80, 30), (120, 40), (200, 60)])
def test_the_installation_is_drawn_where_there_is_room(app, size):
    async def steps(pilot):
        await pilot.press("d")
        await pilot.pause(0.3)
        shown = everything(app)
        assert "pond 62 m" in shown
        assert "the drop over both conductors" in shown

    drive(app, steps, size)
