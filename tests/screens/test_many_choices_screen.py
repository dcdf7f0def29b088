"""Many choices: all of them reachable, the chosen one in sight, two pinned, none worked out unseen."""

import numpy as np
import pytest
import soundfile as sf
from auralize_tui import hearing
from auralize_tui.app import BenchApp
from auralize_tui.choice_list import window
from auralize_tui.finding import FindScreen, found
from textual.widgets import Input

from auralize.gains import End
from auralize.rig.editing import RigDraft
from support.bench_app import DEMO, drive, everything, text_of
from support.bench_engine import SilentEngine

pytest.importorskip("tomlkit", reason="the bench edits with tomlkit (extra: bench)")


@pytest.fixture
def many(tmp_path):
    """The demo and so many choices besides, of 10 m and more."""

    def on(count):
        text = DEMO.read_text(encoding="utf-8")
        for n in range(count):
            text += f'[choices.reel-{n + 10}]\nlabel = "{n + 10} m of it"\n'
            text += f'runs.pond = {{ cable = "reel", length = "{n + 10} m" }}\n'
        rig, sound = tmp_path / "many.toml", tmp_path / "bells.wav"
        rig.write_text(text, encoding="utf-8")
        sf.write(sound, np.full(4800, 0.1), 48_000)
        draft = RigDraft(rig)
        return BenchApp(draft, sound, SilentEngine(draft.rig.choices.values()), tmp_path)

    return on


@pytest.mark.parametrize("count", [1, 7, 8, 9, 500])
@pytest.mark.parametrize("first", [0, 3, 499])
def test_the_chosen_one_is_always_within_the_window(count, first):
    for chosen in range(count):
        start = window(first, count, chosen, 8)
        assert start <= chosen < start + 8
        assert 0 <= start <= max(0, count - 8)


def test_the_window_moves_no_more_than_it_must():
    assert window(10, 500, 12, 8) == 10
    assert window(10, 500, 18, 8) == 11
    assert window(10, 500, 4, 8) == 4


def test_every_choice_is_reached_by_page_keys_and_seen(many):
    app = many(12)

    async def steps(pilot):
        for number, name in enumerate(app.screen.names[1:], 2):
            await pilot.press("pagedown")
            assert app.engine.status().heard == End("receiving", name)
            await pilot.pause()
            assert f">{number:>2} {name[:12]}" in everything(app)
        await pilot.press("pagedown")
        assert "reel-21 is the last choice" in text_of(app.screen, "#message")
        await pilot.press(*["pageup"] * 20)
        assert app.engine.status().heard == End("receiving", "reel")

    drive(app, steps)


def test_of_five_hundred_choices_only_those_seen_are_worked_out(many, monkeypatch):
    solved = []
    headline = hearing.headline
    monkeypatch.setattr(
        hearing, "headline", lambda choice: solved.append(choice.name) or headline(choice)
    )
    app = many(500)

    async def steps(pilot):
        await pilot.press("slash", *"reel-312", "enter")
        await pilot.pause()
        assert app.engine.status().heard == End("receiving", "reel-312")
        assert ">306 reel-312" in everything(app)
        assert "of 503" in everything(app)

    drive(app, steps)
    assert len(set(solved)) < 60  # a screen or two of them


def test_a_choice_is_found_by_name_or_label_in_any_case():
    labels = {"reel": "2.5 mm2 twin", "bought": "4 mm2 twisted pair", "beams": "4 mm2 cores, Reel"}
    assert found("REEL", labels) == ["reel", "beams"]  # what begins so stands first
    assert found("4 mm2", labels) == ["bought", "beams"]
    assert found("mm2 pair", labels) == ["bought"]
    assert found("", labels) == list(labels)
    assert found("copper", labels) == []


def test_leaving_the_search_changes_nothing(app):
    async def steps(pilot):
        heard = app.engine.status().heard
        await pilot.press("slash")
        await pilot.pause()
        assert isinstance(app.screen, FindScreen)
        app.screen.query_one(Input).value = "no such thing"
        await pilot.press("enter")  # nothing fits: it stays open
        assert isinstance(app.screen, FindScreen)
        await pilot.press("escape")
        await pilot.pause()
        assert app.engine.status().heard == heard

    drive(app, steps)


def test_two_are_pinned_marked_and_heard_in_turn(app):
    async def steps(pilot):
        await pilot.press("p", "3", "p", "d")
        assert app.screen.pinned == ["reel", "beams"]
        await pilot.pause()
        marks = [line for line in everything(app).splitlines() if " A " in line or " B " in line]
        assert "1 reel" in marks[0]
        assert ">3 beams" in marks[1]
        for name in ("reel", "beams", "reel"):
            await pilot.press("tab")
            assert app.engine.status().heard == End("drop", name)  # the same signal of the other
        await pilot.press("p")
        assert app.screen.pinned == ["beams"]

    drive(app, steps)


def test_a_third_takes_the_place_of_the_first(app):
    async def steps(pilot):
        await pilot.press("p", "2", "p", "3", "p")
        assert app.screen.pinned == ["bought", "beams"]
        assert "in place of reel" in text_of(app.screen, "#message")

    drive(app, steps)


def test_with_one_pinned_tab_goes_there_and_back(app):
    async def steps(pilot):
        await pilot.press("tab")
        assert "No choice is pinned" in text_of(app.screen, "#message")
        await pilot.press("p", "3", "tab")
        assert app.screen.chosen == "reel"
        await pilot.press("tab")
        assert app.screen.chosen == "beams"

    drive(app, steps)


def test_the_wheel_looks_on_without_changing_what_is_heard(many):
    app = many(40)

    async def steps(pilot):
        before = app.engine.status().heard
        for _ in range(5):
            app.screen.query_one("#choices")._look(3)
        await pilot.pause()
        assert "16 reel-22" in everything(app)
        assert app.engine.status().heard == before

    drive(app, steps)
