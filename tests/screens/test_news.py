"""News: what waits for an answer waits, what passes goes, and no word is cut in two."""

import math

import pytest
from auralize_tui.news import Item, laid_out

from support.bench_app import drive, text_of

FOUND = "Unsaved work was found and is in use; w writes it, u goes back to the file"


def _words(lines):
    return {word.strip("();:,.") for line in lines for word in line.split()}


@pytest.mark.parametrize("width", [20, 37, 74, 118])
@pytest.mark.parametrize("rows", [1, 2, 3, 5])
def test_no_word_is_cut_and_nothing_is_wider_than_its_room(width, rows):
    items = [Item(FOUND, math.inf), Item("Loop from 0:12.5; l again marks the end", 1e9)]
    lines = [line.words for line in laid_out(items, width, rows)]
    assert len(lines) <= rows
    assert all(len(line) <= width for line in lines)
    told = _words([FOUND, items[1].words, "Enter: seen", "... i: all"])
    assert _words(lines) - {""} <= told


def test_what_is_shortened_says_where_the_whole_is():
    lines = [line.words for line in laid_out([Item(FOUND, math.inf)], 40, 1)]
    assert lines == ["Unsaved work ... (i: all) (Enter: seen)"]


def test_a_word_wider_than_the_screen_is_still_shown():
    (line,) = laid_out([Item("x" * 50, 1e9)], 20, 1)
    assert line.words.startswith("xxxx")
    assert len(line.words) <= 20


@pytest.fixture
def left(app, again, tmp_path):
    """The bench opened on work that was left unsaved, the rig file changed since."""
    app.draft.change("reel", ("runs", "pond", "length"), "50 m")
    rig = tmp_path / "mill.toml"
    rig.write_bytes(rig.read_bytes() + b"\n# seen to\n")
    app.draft.close()
    again.draft.close()
    return type(app)(
        type(app.draft)(rig), app.source, type(app.engine)(app.engine.choices.values()), tmp_path
    )


def test_work_that_was_found_is_told_until_it_is_answered(left):
    """It used to go with the first word of the device, a tenth of a second after the start."""

    async def steps(pilot):
        left.engine.tell("playing on null sink at 48000 Hz", "device")
        left.engine.tell("reel: the change is heard", "edit")
        await pilot.pause(0.3)
        assert "Unsaved work was found" in text_of(left.screen, "#message")
        for key in ("space", "d", "2", "l", "right", "l"):
            await pilot.press(key)
        await pilot.pause(0.3)
        assert "Unsaved work was found" in text_of(left.screen, "#message")
        await pilot.press("enter")
        assert "Unsaved work" not in text_of(left.screen, "#message")

    drive(left, steps)


def test_what_comes_behind_waits_for_its_turn(app):
    async def steps(pilot):
        app.screen.say("The first to be answered", math.inf)
        app.screen.say("The second to be answered", math.inf)
        shown = text_of(app.screen, "#message")
        assert "first" in shown
        assert "second" not in shown
        assert "1 more" in shown
        await pilot.press("escape")
        assert "second" in text_of(app.screen, "#message")
        await pilot.press("enter")
        assert "second" not in text_of(app.screen, "#message")

    drive(app, steps)


def test_writing_answers_what_was_said_of_unsaved_work(left):
    async def steps(pilot):
        assert "Unsaved work was found" in text_of(left.screen, "#message")
        left.draft.save(over=left.draft.theirs())
        left.screen.draw()
        assert "Unsaved work" not in text_of(left.screen, "#message")

    drive(left, steps)


def test_a_fault_told_again_and_again_stands_once(app):
    async def steps(pilot):
        for _ in range(3):
            app.engine.tell("null sink is gone; playing goes on when it is back")
            await pilot.pause(0.2)
        assert "more" not in text_of(app.screen, "#message")
        app.engine.tell("playing on null sink at 48000 Hz", "device")
        await pilot.pause(0.2)
        assert "is gone" not in text_of(app.screen, "#message")

    drive(app, steps)


def test_a_fault_of_the_device_stands_before_what_waits(app):
    async def steps(pilot):
        app.screen.say("The first to be answered", math.inf)
        app.engine.tell("null sink is gone; playing goes on when it is back", "fault")
        await pilot.pause(0.3)
        assert "is gone" in text_of(app.screen, "#message")
        await pilot.press("enter")
        assert "first" in text_of(app.screen, "#message")

    drive(app, steps)


def test_what_passes_and_is_said_again_is_shown_anew(app):
    async def steps(pilot):
        app.screen.say("Loop from 0:12.5")
        app.screen.say("Another word")
        app.screen.say("Loop from 0:12.5")
        assert text_of(app.screen, "#message").startswith("Loop")

    drive(app, steps)


def test_each_press_of_the_key_of_loops_takes_back_what_the_one_before_said(app):
    async def steps(pilot):
        await pilot.press("l")
        assert "l again marks the end" in text_of(app.screen, "#message")
        await pilot.press("right", "l")
        shown = text_of(app.screen, "#message")
        assert "l ends it" in shown
        assert "l again marks the end" not in shown
        await pilot.press("l")
        assert "l ends it" not in text_of(app.screen, "#message")

    drive(app, steps)


def test_back_at_the_curves_no_key_of_the_analyser_is_named(app):
    async def steps(pilot):
        await pilot.press("a", "a")
        shown = text_of(app.screen, "#message")
        assert "a: the curves again" in shown
        assert "a: fine line" not in shown
        await pilot.press("a")
        assert "a: the curves again" not in text_of(app.screen, "#message")

    drive(app, steps)


def test_what_was_refused_outlasts_the_device(app):
    """It used to be taken for a fault of the device, and went with the next good word of that."""

    async def steps(pilot):
        app.engine.tell("reel stays as it was: its filter cannot be designed", "refused")
        app.engine.tell("playing on null sink at 48000 Hz", "device")
        await pilot.pause(0.3)
        assert "stays as it was" in text_of(app.screen, "#message")
        await pilot.press("enter")
        assert "stays as it was" not in text_of(app.screen, "#message")

    drive(app, steps)
