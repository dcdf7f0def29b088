"""The screen of the bench, driven by keys: what it tells the engine and what it says."""

import gc

import numpy as np
import pytest
import soundfile as sf
from auralize_tui.app import BenchApp
from auralize_tui.bench import BenchScreen
from auralize_tui.help import HelpScreen
from auralize_tui.keyline import KeyLine
from auralize_tui.trials import TrialScreen
from textual.dom import DOMNode
from textual.widgets import Static

from auralize.gains import INSTALLED, LOUDNESS, SOURCE, End, Match
from auralize.rig.editing import RigDraft
from support.bench_app import DEMO, SIZE, begin_trial, drive, everything, text_of
from support.bench_engine import SilentEngine

pytest.importorskip("tomlkit", reason="the bench edits with tomlkit (extra: bench)")


def test_keys_choose_what_is_heard(app):
    async def steps(pilot):
        for key in ("2", "d", "c", "c", "s", "r", "d", "c"):
            await pilot.press(key)
        heard = [call[1] for call in app.engine.calls if call[0] == "hear"]
        assert heard[-8:] == [
            End("receiving", "bought"),
            End("drop", "bought"),
            End("drop", "bought", "plus"),
            End("drop", "bought", "minus"),
            SOURCE,
            End("receiving", "bought"),
            End("drop", "bought", "minus"),
            End("drop", "bought"),
        ]

    drive(app, steps)


def test_transport_keys(app):
    async def steps(pilot):
        await pilot.press("space", "space", "right", "left", "left", "up", "down")
        calls = [
            c for c in app.engine.calls if c in ("play", "pause") or c[0] in ("seek", "volume")
        ]
        assert calls == [
            "play",
            "pause",
            ("seek", 17.5),
            ("seek", 12.5),
            ("seek", 7.5),
            ("volume", -19.0),
            ("volume", -20.0),
        ]

    drive(app, steps)


def test_match_goes_round(app):
    async def steps(pilot):
        await pilot.press("m", "m", "m")
        assert [c[1] for c in app.engine.calls if c[0] == "match"] == [
            LOUDNESS,
            Match.at(1000.0),
            INSTALLED,
        ]

    drive(app, steps)


def test_loop_takes_three_presses(app):
    async def steps(pilot):
        await pilot.press("l", "right", "l", "l")
        assert [c[1] for c in app.engine.calls if c[0] == "loop"] == [(12.5, 17.5), None]

    drive(app, steps)


def test_what_is_heard_and_all_its_gains_are_in_plain_words(app):
    async def steps(pilot):
        await pilot.press("2", "d")
        await pilot.pause(0.2)
        now = text_of(app.screen, "#now")
        assert "THE DROP OVER BOTH CONDUCTORS of bought" in now
        assert "levels as installed" in now
        assert "make-up" in now
        assert "headroom -1.50" in now
        assert "0:12.5 of 0:24.0" in text_of(app.screen, "#meters")

    drive(app, steps)


def test_choices_and_key_figures_are_shown_without_colour(app):
    async def steps(pilot):
        shown = everything(app)
        for words in ("1 reel", "2 bought", "3 beams", "-1.39 dB 1 kHz, damping 7.92"):
            assert words in shown
        assert ">1 reel" in shown  # the chosen one is marked by a sign, not by a colour alone

    drive(app, steps)


def test_a_click_hears_a_choice(app):
    async def steps(pilot):
        await pilot.click("#choices", offset=(4, 3))
        assert app.engine.status().heard == End("receiving", "bought")

    drive(app, steps)


def test_a_click_on_a_key_presses_it(app):
    async def steps(pilot):
        line = app.screen.query_one(KeyLine)
        place = str(line.render()).index("Drop")
        await pilot.click(KeyLine, offset=(place, 0))
        assert app.engine.status().heard == End("drop", "reel")
        await pilot.click(KeyLine, offset=(79, 0))  # behind the last one

    drive(app, steps)


def test_a_closed_dialog_leaves_no_widget_and_no_garbage(app):
    """Collections of garbage would get longer and longer, and hold up the audio callback."""
    alive = []

    async def steps(pilot):
        for _ in range(3):
            app.engine.calls.clear()
            await pilot.press("e")
            await pilot.pause()
            await pilot.press("escape")
            await pilot.pause()
            assert app.engine.calls[-1] == "settle"
            gc.collect()
            alive.append(sum(isinstance(thing, DOMNode) for thing in gc.get_objects()))

    drive(app, steps)
    assert alive[0] == alive[1] == alive[2]


def test_nine_choices_scroll_on_a_small_screen(tmp_path):
    rig = tmp_path / "nine.toml"
    more = "".join(f'[choices.more{n}]\nruns.pond.cable = "bought"\n' for n in range(6))
    rig.write_text(DEMO.read_text() + more)
    sound = tmp_path / "bells.wav"
    sf.write(sound, np.full(4800, 0.1), 48_000)
    draft = RigDraft(rig)
    app = BenchApp(draft, sound, SilentEngine(draft.rig.choices.values()), tmp_path)

    async def steps(pilot):
        assert "1 to 8 of 9" in everything(app)
        assert all(f"{n} more{n - 4} " in everything(app) for n in range(4, 9))
        await pilot.press("9")
        assert all(f"{n} more{n - 4} " in everything(app) for n in range(4, 10))
        await pilot.click("#choices", offset=(6, 7))
        assert app.engine.status().heard == End("receiving", "more4")
        await pilot.resize_terminal(100, 48)
        await pilot.pause()
        await pilot.click("#choices", offset=(6, 3))
        assert app.engine.status().heard == End("receiving", "bought")

    drive(app, steps)


def test_a_long_name_takes_no_more_than_its_line(opened):
    """Else a click would hear the choice below the one that was clicked."""
    app = opened(DEMO.read_text(encoding="utf-8").replace("choices.reel", f"choices.{'m' * 40}"))

    async def steps(pilot):
        lines = everything(app).splitlines()
        at = next(number for number, line in enumerate(lines) if f">1 {'m' * 28}~" in line)
        assert "-1.39 dB" in lines[at + 1]
        assert " 2 bought" in lines[at + 2]
        await pilot.click("#choices", offset=(4, 3))
        assert app.engine.status().heard == End("receiving", "bought")

    drive(app, steps)


def test_news_of_the_engine_are_told(app):
    async def steps(pilot):
        app.engine.tell("null sink is gone; playing goes on when it is back")
        await pilot.pause(0.3)
        assert "is gone" in text_of(app.screen, "#message")

    drive(app, steps)


def test_a_fault_stays_until_the_device_is_right_again(app, monkeypatch):
    now = 1000.0
    monkeypatch.setattr("auralize_tui.news.monotonic", lambda: now)

    async def steps(pilot):
        nonlocal now
        app.engine.tell("null sink is gone; playing goes on when it is back")
        app.engine.tell("reel: the change is heard", "edit")
        await pilot.pause(0.3)
        now += 60.0
        await pilot.pause(0.3)
        assert text_of(app.screen, "#message") == (
            "null sink is gone; playing goes on when it is back (Enter: seen)"
        )
        app.engine.tell("playing on null sink at 48000 Hz", "device")
        await pilot.pause(0.3)
        assert text_of(app.screen, "#message") == "playing on null sink at 48000 Hz"
        now += 60.0
        await pilot.pause(0.3)
        assert text_of(app.screen, "#message") == ""

    drive(app, steps)


def test_nothing_is_said_to_play_while_the_device_is_not_there(app):
    async def steps(pilot):
        app.engine.now(state="lost", playing=True)
        await pilot.pause(0.3)
        assert text_of(app.screen, "#meters").startswith("waiting for the device at 0:12.5")
        app.engine.now(state="running")
        await pilot.pause(0.3)
        assert text_of(app.screen, "#meters").startswith("playing 0:12.5")

    drive(app, steps)


def test_an_edit_is_heard_before_it_is_drawn(app, monkeypatch):
    """It is waited for by ear: the engine gets it before the screen solves its figures and curves."""
    calls = []
    solve, update = BenchScreen.solve, app.engine.update_choice
    monkeypatch.setattr(
        BenchScreen, "solve", lambda *given: calls.append("solved") or solve(*given)
    )
    monkeypatch.setattr(
        app.engine, "update_choice", lambda choice: calls.append("heard") or update(choice)
    )

    async def steps(pilot):
        calls.clear()
        app.screen.draft.change("reel", ("runs", "pond", "length"), "50 m")
        app.screen._changed("")
        assert calls == ["heard", "solved"]

    drive(app, steps)


@pytest.mark.parametrize("size", [(40, 12), (75, 24), (80, 20)])
def test_a_small_terminal_says_what_it_needs(app, size):
    async def steps(pilot):
        lines = text_of(app.screen, "#message").splitlines()
        assert "the bench needs 76 x 21" in " ".join(lines)
        assert max(map(len, lines)) <= size[0]

    drive(app, steps, size)


def test_it_grows_back(app):
    async def steps(pilot):
        await pilot.resize_terminal(40, 12)
        await pilot.resize_terminal(100, 30)
        await pilot.pause()
        assert app.screen.query_one("#now").display

    drive(app, steps)


def test_help_lists_every_key_of_the_bench(app):
    async def steps(pilot):
        await pilot.press("question_mark")
        assert isinstance(app.screen, HelpScreen)
        text = str(app.screen.query_one(Static).render())
        for words in ("Hear the drop", "Set up a blind trial", "Write the rig file", "Back 5 s"):
            assert words in text
        await pilot.press("escape")
        assert isinstance(app.screen, BenchScreen)

    drive(app, steps)


def test_command_palette_opens(app):
    async def steps(pilot):
        await pilot.press("ctrl+p")
        await pilot.pause()
        assert app.screen.__class__.__name__ == "CommandPalette"
        await pilot.press("escape")

    drive(app, steps)


def test_a_crash_page_shows_no_value_of_a_variable(app, monkeypatch, capsys):
    """One of them could be the order of a trial."""

    def crash(screen, step):
        order = "-".join(reversed(["odd", "the", "is", "third"]))
        raise ZeroDivisionError(len(order))

    monkeypatch.setattr(TrialScreen, "action_pick", crash)

    async def steps(pilot):
        await begin_trial(pilot, app)
        await pilot.press("down")

    app.run(headless=True, size=SIZE, auto_pilot=steps)
    page = capsys.readouterr().err
    assert app.return_code == 1
    assert "ZeroDivisionError" in page
    assert "order = " in page  # the line of the program, not what came of it
    assert "third-is-the-odd" not in page


def test_quit(app):
    async def steps(pilot):
        await pilot.press("q")

    drive(app, steps)
    assert app.return_code == 0


def test_a_name_that_looks_like_markup_is_shown_as_it_is(opened):
    app = opened(DEMO.read_text(encoding="utf-8").replace("choices.reel", 'choices."[b]mill"'))

    async def steps(pilot):
        assert "1 [b]mill" in everything(app)
        await pilot.press("s", "r")
        await pilot.pause(0.2)
        assert "RECEIVING END of [b]mill" in everything(app)
        for key, words in (("e", "Edit [b]mill:"), ("b", "first: [b]mill")):
            await pilot.press(key)
            await pilot.pause()
            assert words in everything(app)
            await pilot.press("escape")
            await pilot.pause()

    drive(app, steps)
