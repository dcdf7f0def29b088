"""Editing a rig at the screen: what is heard, refused, undone, written and recovered."""

import re

import pytest
from auralize_tui.app import BenchApp
from auralize_tui.bench import BenchScreen
from auralize_tui.edit import EditScreen

from auralize.rig.editing import RigDraft
from auralize.rig.fields import fields_of
from support.bench_app import DEMO, drive, edit, everything, text_of
from support.bench_engine import SilentEngine

pytest.importorskip("tomlkit", reason="the bench edits with tomlkit (extra: bench)")


def test_an_edit_is_heard_undone_and_written_only_when_asked(app):
    before = app.draft.path.read_text()

    async def steps(pilot):
        await edit(pilot, app, "pond: length", "200 ft")
        assert ("update", "reel") in app.engine.calls
        assert ("update", "bought") not in app.engine.calls
        assert app.draft.rig.choices["reel"].network.runs["pond"].length == pytest.approx(60.96)
        assert "(not saved)" in text_of(app.screen, "#title")
        assert app.draft.path.read_text() == before
        await pilot.press("u")
        assert app.draft.rig.choices["reel"].network.runs["pond"].length == 62.0
        await edit(pilot, app, "amplifier: damping factor", "50")
        assert app.draft.rig.choices["reel"].network.amplifier.resistance == pytest.approx(0.16)
        await pilot.press("w")
        assert "damping_factor = 50" in app.draft.path.read_text()
        assert "# the load that the damping factor refers to" in app.draft.path.read_text()

    drive(app, steps)


def test_a_long_title_leaves_room_for_what_is_not_saved(opened):
    long = "Saltmarsh Tide Mill: the concert in the mill yard"
    app = opened(
        re.sub('title = ".*"', f'title = "{long}"', DEMO.read_text(encoding="utf-8"), count=1)
    )

    async def steps(pilot):
        await edit(pilot, app, "pond: length", "70 m")
        assert "(not saved)" in everything(app).splitlines()[0]

    drive(app, steps, (80, 24))


def test_a_wrong_edit_is_refused_in_one_sentence_and_changes_nothing(app):
    async def steps(pilot):
        await edit(pilot, app, "pond: length", "62")
        assert isinstance(app.screen, EditScreen)  # it stays, with what was typed
        assert "has no unit" in text_of(app.screen, "#edit-message")
        await pilot.press("escape")
        assert not app.draft.unsaved
        assert not [c for c in app.engine.calls if c[0] == "update"]

    drive(app, steps)


def test_unsaved_work_of_a_crash_is_offered(app, tmp_path):
    app.draft.change("reel", ("runs", "pond", "length"), "70 m")
    app.draft.close()
    again = RigDraft(app.draft.path)
    fresh = BenchApp(
        again, app.source, SilentEngine(again.rig.choices.values()), tmp_path / "trials"
    )

    async def steps(pilot):
        assert "Unsaved work" in text_of(fresh.screen, "#message")
        assert fresh.draft.rig.choices["reel"].network.runs["pond"].length == 70.0

        await pilot.press("u")
        assert not fresh.draft.unsaved
        assert fresh.draft.rig.choices["reel"].network.runs["pond"].length == 62.0
        assert not fresh.draft.path.with_name("mill.toml.unsaved").exists()

    drive(fresh, steps)


def test_a_rig_file_that_is_newer_than_the_unsaved_work_is_told(app, again):
    app.draft.change("reel", ("runs", "pond", "length"), "70 m")
    path = app.draft.path
    path.write_text(path.read_text().replace('length = "62 m"', 'length = "61 m"'))
    app.draft.close()
    again.draft.close()
    draft = RigDraft(path)
    fresh = BenchApp(draft, app.source, again.engine, app.log_folder)

    async def steps(pilot):
        told = " ".join(text_of(fresh.screen, "#message").split())
        assert "Mind: the rig file has been changed since that work" in told

    drive(fresh, steps)


def test_an_edit_that_a_crash_would_lose_is_told(app):
    async def steps(pilot):
        app.draft.path.with_name("mill.toml.unsaved").mkdir()
        await edit(pilot, app, "pond: length", "70 m")
        assert "A crash would lose this:" in text_of(app.screen, "#message")
        assert ("update", "reel") in app.engine.calls

    drive(app, steps)


def test_a_refused_edit_is_told_where_it_can_be_seen(app):
    """Also in the smallest terminal, below a list that is longer than it."""

    async def steps(pilot):
        await edit(pilot, app, "pond: length", "-5 m")
        assert "length of the pond run: '-5 m' was found" in everything(app)

    drive(app, steps, (76, 21))


def test_another_lay_begins_with_something_that_can_be_edited(app):
    app.draft.change("reel", ("runs", "pond", "lay"), {"shape": "straight"})

    async def steps(pilot):
        await edit(pilot, app, "pond: lay, shape", "coiled")
        assert isinstance(app.screen, BenchScreen)
        told = "reel: lay of the pond run is now shape coiled, mean diameter 40 cm"
        assert told in text_of(app.screen, "#message")
        await edit(pilot, app, "pond: lay, mean diameter", "20 cm")
        lay = app.draft.rig.choices["reel"].runs["pond"].lay
        assert "20 cm mean diameter" in lay.words
        await edit(pilot, app, "pond: lay, shape", "figure of eight")
        await edit(pilot, app, "pond: lay, shape", "straight")
        assert app.draft.rig.choices["reel"].runs["pond"].lay is None

    drive(app, steps)


def test_all_that_can_be_edited_can_still_be_after_an_edit(app):
    before = [field.words for field in fields_of(app.draft, "reel")]
    app.draft.change("reel", ("amplifier", "damping_factor"), 100)
    fields = {field.words: field.value for field in fields_of(app.draft, "reel")}
    assert list(fields) == before
    assert fields["damping factor of the amplifier"] == 100
    assert fields["into of the amplifier"] == "8 ohm"
    assert fields["strands of the reel cable"] == "class 5"


def test_control_c_quits_and_unsaved_work_is_told(app, monkeypatch):
    told = []
    leave = app.exit
    monkeypatch.setattr(app, "exit", lambda message: told.append(message) or leave(message=message))

    async def steps(pilot):
        await edit(pilot, app, "pond: length", "50 m")
        await pilot.press("ctrl+c")

    drive(app, steps)
    assert app.return_code == 0
    assert told[0].startswith("Unsaved work is kept beside")
