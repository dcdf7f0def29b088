"""Work on the bench: choices that come and go, presets, a file changed elsewhere, places, settings, files."""

import re

import pytest
import soundfile as sf
from auralize_tui.app import BenchApp
from auralize_tui.bench import BenchScreen
from auralize_tui.conflict import ConflictScreen
from auralize_tui.edit import EditScreen
from auralize_tui.keeping import KeepScreen
from auralize_tui.places import PlacesScreen
from auralize_tui.presets import PresetScreen
from auralize_tui.rendering import RenderScreen
from textual.widgets import Input, OptionList

from auralize.gains import LOUDNESS, End
from auralize.live.settings import settings_path
from auralize.rig.editing import RigDraft
from auralize.rig.reading import load_rig
from support.bench_app import drive, edit, everything, text_of
from support.bench_engine import SilentEngine

pytest.importorskip("tomlkit", reason="the bench edits with tomlkit (extra: bench)")
LENGTH = ("runs", "pond", "length")


async def typed(pilot, app, text):
    """Type into the card's own field, and take it."""
    app.screen.query_one(Input).value = text
    await pilot.press("enter")
    await pilot.pause()


async def picked(pilot, app, words):
    """Pick the line of a card that begins so."""
    options = app.screen.query_one(OptionList)
    lines = [str(options.get_option_at_index(n).prompt) for n in range(options.option_count)]
    options.focus()
    options.highlighted = next(n for n, line in enumerate(lines) if line.startswith(words))
    await pilot.press("enter")
    await pilot.pause()


# ---- choices that come and go ------------------------------------------------------------------------


def test_a_choice_is_copied_named_and_removed_and_heard_by_its_name(app):
    async def steps(pilot):
        screen = app.screen
        await pilot.press("d", "e", "c")
        await typed(pilot, app, "longer")
        assert screen.names == ["reel", "bought", "beams", "longer"]
        assert app.engine.status().heard == End("drop", "longer")
        assert "longer is a copy of reel" in text_of(screen, "#message")
        await edit(pilot, app, "pond: length", "200 m")
        assert "longer: length of the pond run is now 200 m" in text_of(screen, "#message")
        assert app.engine.choices["longer"].network.runs["pond"].length == 200.0
        await pilot.press("e", "n")
        await typed(pilot, app, "far")
        assert app.engine.status().heard == End("drop", "far")
        assert set(app.engine.choices) == {"reel", "bought", "beams", "far"}
        await pilot.press("e", "delete")
        await pilot.pause()
        assert screen.names == ["reel", "bought", "beams"]
        assert screen.chosen == "beams"
        assert app.engine.status().heard == End("drop", "beams")
        await pilot.press("u")
        assert screen.names[-1] == "far"
        assert app.engine.choices["far"].network.runs["pond"].length == 200.0

    drive(app, steps)


def test_undoing_a_new_name_goes_on_with_the_old_one(app):
    async def steps(pilot):
        await pilot.press("2", "e", "n")
        await typed(pilot, app, "paid for")
        assert app.screen.chosen == "paid for"
        await pilot.press("u")
        assert app.screen.chosen == "bought"
        assert app.engine.status().heard == End("receiving", "bought")

    drive(app, steps)


def test_the_last_choice_stays_and_a_name_there_is_is_refused(app):
    async def steps(pilot):
        await pilot.press("e", "c")
        await typed(pilot, app, "bought")
        assert "there is a choice 'bought'" in text_of(app.screen, "#edit-message")
        await pilot.press("escape")
        for _ in range(2):
            await pilot.press("e", "delete")
            await pilot.pause()
        await pilot.press("e", "delete")
        assert isinstance(app.screen, EditScreen)
        assert "the last choice stays" in text_of(app.screen, "#edit-message")

    drive(app, steps)


def test_all_choices_are_edited_as_one(app):
    async def steps(pilot):
        await pilot.press("e", "a")
        assert text_of(app.screen, "#edit-head").startswith("Edit all choices:")
        await picked(pilot, app, "length of the pond run")
        await typed(pilot, app, "90 m")
        assert {c.network.runs["pond"].length for c in app.engine.choices.values()} == {90.0}
        assert "all choices: length of the pond run is now 90 m" in text_of(app.screen, "#message")

    drive(app, steps)


def test_what_may_have_become_untrue_is_marked(app):
    async def steps(pilot):
        await edit(pilot, app, "reel: conductor", "6 mm2")
        assert "reel: (edited) 2.5 mm2" in everything(app)
        await pilot.press("u")
        await pilot.pause()
        assert "(edited)" not in everything(app)

    drive(app, steps)


def test_all_that_may_be_said_can_be_asked_for(app):
    async def steps(pilot):
        await pilot.press("e")
        options = app.screen.query_one(OptionList)
        few = options.option_count
        await picked(pilot, app, "more:")
        assert app.screen.query_one(OptionList).option_count > few + 10
        await picked(pilot, app, "dielectric of the reel cable")
        assert "one of: PVC, PE, rubber, air" in text_of(app.screen, "#edit-message")
        await typed(pilot, app, "PE")
        assert app.draft.value("reel", ("cables", "reel", "dielectric")) == "PE"

    drive(app, steps)


# ---- presets -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ("coiled", "62 m (203 ft) in 49.3 turns, 40 cm mean diameter"),
        ("each conductor", "distance 1 m"),
        ("each coiled by itself, a steel", "tube of diameter 60 mm, wall 4 mm, length 1 m"),
        ("twisted", "lay_length"),
        ("4 mm2", "the pond run is now 4 mm2, class 5"),
        ("14 AWG", "the pond run is now 14 AWG, stranded"),
    ],
)
def test_a_preset_says_what_it_assumed_and_is_one_step(app, words, told):
    async def steps(pilot):
        before = app.draft.text
        await pilot.press("y")
        assert isinstance(app.screen, PresetScreen)
        await picked(pilot, app, words)
        assert isinstance(app.screen, BenchScreen)
        said = "\n".join(app.screen.query_one("#message").all_of_it())
        assert told in said
        assert ("update", "reel") in app.engine.calls
        await pilot.press("u")
        assert app.draft.text == before

    drive(app, steps)


# ---- a file that was changed elsewhere ---------------------------------------------------------------


@pytest.fixture
def parted(app):
    """Unsaved work here, another length in the file."""
    app.draft.change("reel", LENGTH, "70 m")
    path = app.draft.path
    path.write_text(path.read_text().replace('length = "62 m"', 'length = "99 m"'))
    return app


def test_writing_asks_first_and_esc_leaves_both(parted):
    theirs = parted.draft.path.read_text()

    async def steps(pilot):
        await pilot.press("w")
        assert isinstance(parted.screen, ConflictScreen)
        assert '- length = "99 m"' in everything(parted)
        await pilot.press("escape")
        assert parted.draft.path.read_text() == theirs
        assert parted.draft.unsaved

    drive(parted, steps, (76, 21))


def test_mine_can_be_written_over_it(parted):
    async def steps(pilot):
        await pilot.press("w")
        await picked(pilot, parted, "write mine")
        assert load_rig(parted.draft.path).choices["reel"].network.runs["pond"].length == 70.0
        assert "Written over" in text_of(parted.screen, "#message")

    drive(parted, steps)


def test_what_was_written_while_the_card_was_read_is_not_written_over(parted):
    path = parted.draft.path

    async def steps(pilot):
        await pilot.press("w")
        later = path.read_text().replace('length = "99 m"', 'length = "98 m"')
        path.write_text(later)
        await picked(pilot, parted, "write mine")
        assert "changed once more" in text_of(parted.screen, "#conflict-message")
        assert '- length = "98 m"' in everything(parted)
        assert path.read_text() == later
        await picked(pilot, parted, "write mine")
        assert load_rig(path).choices["reel"].network.runs["pond"].length == 70.0

    drive(parted, steps)


def test_enter_alone_loses_nothing(parted):
    theirs = parted.draft.path.read_text()

    async def steps(pilot):
        await pilot.press("w", "enter", "enter")
        assert parted.draft.path.name == "mill.mine.toml"
        assert parted.draft.path.with_name("mill.toml").read_text() == theirs

    drive(parted, steps)


def test_both_can_be_kept(parted):
    path = parted.draft.path

    async def steps(pilot):
        await pilot.press("w")
        await picked(pilot, parted, "keep both")
        await typed(pilot, parted, "mill.toml")
        assert "is there" in text_of(parted.screen, "#conflict-message")
        await typed(pilot, parted, "mill.mine.toml")
        assert "99 m" in path.read_text()
        assert parted.draft.path.name == "mill.mine.toml"
        assert not parted.draft.unsaved

    drive(parted, steps)


def test_theirs_can_be_taken_up_and_is_heard(parted):
    async def steps(pilot):
        await pilot.press("w")
        await picked(pilot, parted, "take theirs")
        lengths = {c.network.runs["pond"].length for c in parted.engine.choices.values()}
        assert lengths == {99.0}
        await pilot.press("u")
        assert parted.engine.choices["reel"].network.runs["pond"].length == 70.0

    drive(parted, steps)


def test_a_second_bench_is_told_of_the_first(app, again):
    app.draft.change("reel", LENGTH, "70 m")

    async def steps(pilot):
        assert "This rig is open at another bench" in text_of(again.screen, "#message")
        assert not again.draft.unsaved

    drive(again, steps)


# ---- places ------------------------------------------------------------------------------------------


def test_times_are_typed_places_marked_and_looped(app):
    async def steps(pilot):
        await pilot.press("t")
        assert isinstance(app.screen, PlacesScreen)
        await typed(pilot, app, "0:05.3")
        assert app.engine.status().position == 5.3
        await pilot.press("full_stop", "full_stop", "comma")
        assert app.engine.status().position == pytest.approx(5.4)
        await pilot.press("t")
        await typed(pilot, app, "verse")
        await pilot.press("right", "t")
        await typed(pilot, app, "verse to 20 s")
        assert app.engine.status().loop == (pytest.approx(5.4), 20.0)
        await pilot.press("t")
        await typed(pilot, app, "verse")
        assert app.engine.status().position == pytest.approx(5.4)
        await pilot.press("t")
        await typed(pilot, app, "0:59")
        assert "after the end" in text_of(app.screen, "#places-message")
        app.screen.query_one(OptionList).focus()
        app.screen.query_one(OptionList).highlighted = 0
        await pilot.press("delete", "escape")
        assert app.screen.markers == {}

    drive(app, steps)


# ---- settings ----------------------------------------------------------------------------------------


def test_settings_are_kept_only_when_asked_and_taken_up_at_the_next_start(app, tmp_path):
    async def steps(pilot):
        await pilot.press("2", "d", "m", "p")
        app.screen.markers["verse"] = 7.0
        assert not settings_path(app.draft.path).exists()
        await pilot.press("W")
        assert isinstance(app.screen, KeepScreen)
        await picked(pilot, app, "keep")
        assert "Kept in" in text_of(app.screen, "#message")

    drive(app, steps)
    app.draft.close()
    draft = RigDraft(app.draft.path)
    fresh = BenchApp(draft, app.source, SilentEngine(draft.rig.choices.values()), tmp_path)

    async def then(pilot):
        screen = fresh.screen
        assert "Taken up from mill.bench.toml" in text_of(screen, "#message")
        status = fresh.engine.status()
        assert (status.heard, status.match) == (End("drop", "bought"), LOUDNESS)
        assert (screen.pinned, screen.markers) == (["bought"], {"verse": 7.0})
        await pilot.press("W")
        await picked(pilot, fresh, "throw away")
        assert not settings_path(draft.path).exists()

    drive(fresh, then)


def test_a_file_that_is_not_ours_stays(app):
    path = settings_path(app.draft.path)
    path.write_text('chosen = "bought"\n')

    async def steps(pilot):
        assert "not as the bench left it" in text_of(app.screen, "#message")
        assert app.screen.chosen == "reel"
        await pilot.press("W")
        await picked(pilot, app, "keep")
        assert path.read_text() == 'chosen = "bought"\n'

    drive(app, steps)


# ---- files -------------------------------------------------------------------------------------------


async def ended(pilot, app):
    await app.workers.wait_for_complete()
    await pilot.pause()


def test_what_is_compared_is_rendered_with_its_gains(app):
    folder = app.source.with_name("bells-compared")

    async def steps(pilot):
        await pilot.press("p", "2", "p", "d", "m", "x")
        assert isinstance(app.screen, RenderScreen)
        await pilot.press("enter")
        await ended(pilot, app)
        told = text_of(app.screen, "#render-message")
        assert "match" in told
        assert "make-up" in told
        room = app.screen.query_one("#render-message").size.width
        lines = told.splitlines()
        assert lines[0].endswith("bells-compared. Esc leaves.")
        start = next(at for at, line in enumerate(lines) if line.split()[:1] == ["match"])
        table = lines[start : start + 2 + 2 * 3]  # heads, then a name and its figures for each file
        assert lines[start + 2].startswith("bells.")
        assert max(map(len, table)) <= room  # no row is broken in two
        assert app.screen.focused is app.screen.query_one(".card")  # which keys then scroll
        names = sorted(path.name for path in folder.glob("*.wav"))
        assert [re.sub(r"\.make-up.*|\.matched.*", "", name) for name in names] == [
            "bells.bought.drop",
            "bells.reel.drop",
            "bells.source",
        ]
        assert all("matched-loudness" in name for name in names)
        assert sf.info(folder / names[0]).frames == 48_000
        await pilot.press("escape")
        assert isinstance(app.screen, BenchScreen)

    drive(app, steps)


def test_a_make_up_gain_that_is_not_yet_known_is_none_to_render_with(app):
    async def steps(pilot):
        await pilot.press("p", "2", "p", "d")
        for certainty, found in (
            ("unknown", None),
            ("predicted", app.engine.status().gains.makeup),
        ):
            app.engine.now(certainty=certainty)
            await pilot.press("x")
            assert app.screen._compared.options.makeup == found
            await pilot.press("escape")

    drive(app, steps)


def test_a_folder_with_a_file_of_that_name_is_refused(app, tmp_path):
    mine = tmp_path / "bells.source.wav"
    mine.write_text("mine")

    async def steps(pilot):
        await pilot.press("x")
        await typed(pilot, app, str(tmp_path))
        await ended(pilot, app)
        assert "auralize did not write it" in text_of(app.screen, "#render-message")
        assert mine.read_text() == "mine"

    drive(app, steps)


def test_stopping_leaves_nothing(app, monkeypatch):
    folder = app.source.with_name("bells-compared")

    async def steps(pilot):
        from auralize.renderer import watched

        first = watched.Watched.__call__

        def stopped_half_way(self, share):
            if share > 0.5:
                self.stop()
            first(self, share)

        monkeypatch.setattr(watched.Watched, "__call__", stopped_half_way)
        await pilot.press("x", "enter")
        await ended(pilot, app)
        assert "nothing was written" in text_of(app.screen, "#render-message")
        assert not folder.exists()

    drive(app, steps)
