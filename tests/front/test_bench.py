"""The screens, driven by keys: what they tell the engine and what they say."""

import asyncio
import gc
import io
import json
import os
from pathlib import Path

import numpy as np
import pytest
import soundfile as sf
from bench_engine import SilentEngine
from rich.console import Console
from textual.dom import DOMNode
from textual.widgets import Button, Input, OptionList, Static

from auralize.live.measurer import SOURCE, Heard
from auralize.rig.editing import RigDraft
from auralize.trials.checking import verify
from auralize.trials.compared import sha256_of
from auralize.trials.log import Log
from auralize.trials.plan import Choice as Compared
from auralize.trials.plan import Plan, TrialError
from auralize.trials.session import Session
from tui.app import BenchApp
from tui.bench import BenchScreen
from tui.curves import Curves, column_at, columns_of, draw
from tui.edit import EditScreen, fields_of, typed
from tui.help import HelpScreen
from tui.keyline import KeyLine
from tui.setup import TrialSetup
from tui.trials import OutcomeScreen, TrialScreen

pytest.importorskip("tomlkit", reason="the bench edits with tomlkit (extra: bench)")
DEMO = Path(__file__).parents[2] / "audio_demo" / "saltmarsh.toml"
SIZE = (80, 24)


@pytest.fixture
def app(tmp_path):
    rig = tmp_path / "mill.toml"
    rig.write_bytes(DEMO.read_bytes())
    sound = tmp_path / "bells.wav"
    t = np.arange(48_000) / 48_000
    sf.write(sound, 0.3 * np.sin(2 * np.pi * 440 * t), 48_000, "PCM_24")
    draft = RigDraft(rig)
    return BenchApp(draft, sound, SilentEngine(draft.rig.choices.values()), tmp_path / "trials")


@pytest.fixture
def again(app, tmp_path):
    """The application opened once more on the same rig and programme."""
    draft = RigDraft(tmp_path / "mill.toml")
    engine = SilentEngine(draft.rig.choices.values())
    return BenchApp(draft, app.source, engine, app.log_folder)


def drive(app, steps, size=SIZE):
    """Run the app and ``steps(pilot)`` in it."""

    async def run():
        async with app.run_test(size=size) as pilot:
            await pilot.pause()
            await app.workers.wait_for_complete()
            await steps(pilot)

    asyncio.run(run())


def text_of(screen, name):
    return str(screen.query_one(name, Static).render())


def everything(app):
    """All text that is on the screen."""
    return "\n".join(
        "".join(segment.text for segment in strip)
        for strip in app.screen._compositor.render_strips()
    )


def test_keys_choose_what_is_heard(app):
    async def steps(pilot):
        for key in ("2", "d", "c", "s", "r"):
            await pilot.press(key)
        heard = [call[1] for call in app.engine.calls if call[0] == "hear"]
        assert heard[-5:] == [
            Heard("receiving", "bought"),
            Heard("drop", "bought"),
            Heard("drop", "bought", 1),
            SOURCE.__class__("source", None, 1),
            Heard("receiving", "bought", 1),
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
            "loudness",
            1000.0,
            "installed",
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
        assert "THE DROP of bought" in now
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
        assert app.engine.status().heard == Heard("receiving", "bought")

    drive(app, steps)


def test_a_click_on_a_key_presses_it(app):
    async def steps(pilot):
        line = app.screen.query_one(KeyLine)
        place = str(line.render()).index("Drop")
        await pilot.click(KeyLine, offset=(place, 0))
        assert app.engine.status().heard == Heard("drop", "reel")
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


def test_nine_choices_are_all_on_a_small_screen(tmp_path):
    rig = tmp_path / "nine.toml"
    more = "".join(f'[choices.more{n}]\nruns.pond.cable = "bought"\n' for n in range(6))
    rig.write_text(DEMO.read_text() + more)
    sound = tmp_path / "bells.wav"
    sf.write(sound, np.full(4800, 0.1), 48_000)
    draft = RigDraft(rig)
    app = BenchApp(draft, sound, SilentEngine(draft.rig.choices.values()), tmp_path)

    async def steps(pilot):
        assert all(f"{n} more{n - 4} " in everything(app) for n in range(4, 10))
        await pilot.click("#choices", offset=(6, 9))
        assert app.engine.status().heard == Heard("receiving", "more5")
        await pilot.resize_terminal(100, 40)
        await pilot.pause()
        await pilot.click("#choices", offset=(6, 3))
        assert app.engine.status().heard == Heard("receiving", "bought")

    drive(app, steps)


def test_news_of_the_engine_are_told(app):
    async def steps(pilot):
        app.engine.tell("null sink is gone; playing goes on when it is back")
        await pilot.pause(0.3)
        assert "is gone" in text_of(app.screen, "#message")

    drive(app, steps)


def test_a_fault_stays_until_the_device_is_right_again(app, monkeypatch):
    now = 1000.0
    monkeypatch.setattr("tui.bench.monotonic", lambda: now)

    async def steps(pilot):
        nonlocal now
        app.engine.tell("null sink is gone; playing goes on when it is back")
        app.engine.tell("reel: the change is heard", "edit")
        await pilot.pause(0.3)
        now += 60.0
        await pilot.pause(0.3)
        assert text_of(app.screen, "#message") == (
            "null sink is gone; playing goes on when it is back"
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
        app.engine._set(state="lost", playing=True)
        await pilot.pause(0.3)
        assert text_of(app.screen, "#meters").startswith("waiting for the device at 0:12.5")
        app.engine._set(state="running")
        await pilot.pause(0.3)
        assert text_of(app.screen, "#meters").startswith("playing 0:12.5")

    drive(app, steps)


def test_an_edit_is_heard_before_it_is_drawn(app, monkeypatch):
    """It is waited for by ear: the engine gets it before the screen solves its figures and curves."""
    calls = []
    solve, update = BenchScreen._solve, app.engine.update_choice
    monkeypatch.setattr(
        BenchScreen, "_solve", lambda *given: calls.append("solved") or solve(*given)
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
        assert "the bench needs 76 x 21" in text_of(app.screen, "#message")[: size[0] * 2]

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


def edit(pilot, app, words, value):
    """Open the editor, pick a field by its words, type a value."""

    async def go():
        await pilot.press("e")
        await pilot.pause()
        assert isinstance(app.screen, EditScreen)
        fields = [f.words for f in fields_of(app.draft, app.screen._choice)]
        options = app.screen.query_one(OptionList)
        options.highlighted = fields.index(words)
        await pilot.press("enter")
        entry = app.screen.query_one(Input)
        entry.value = value
        await pilot.press("enter")
        await pilot.pause()

    return go()


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
    path, kept = app.draft.path, app.draft.path.with_name("mill.toml.unsaved")
    os.utime(path, (0, kept.stat().st_mtime + 60))
    draft = RigDraft(path)
    fresh = BenchApp(draft, app.source, again.engine, app.log_folder)

    async def steps(pilot):
        told = text_of(fresh.screen, "#message")
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
        assert "runs.pond.length" in everything(app)

    drive(app, steps, (76, 21))


def test_another_lay_begins_with_something_that_can_be_edited(app):
    app.draft.change("reel", ("runs", "pond", "lay"), {"shape": "straight"})

    async def steps(pilot):
        await edit(pilot, app, "pond: lay, shape", "coiled")
        assert isinstance(app.screen, BenchScreen)
        assert "runs.pond.lay is now shape coiled, mean_diameter 40 cm" in text_of(
            app.screen, "#message"
        )
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
    assert fields["amplifier: damping factor"] == 100
    assert fields["amplifier: into"] == "8 ohm"
    assert fields["reel: strands"] == "class 5"


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


def test_typed_values_keep_their_kind():
    assert typed("50", 400) == 50.0
    assert typed("62 m", "60 m") == "62 m"
    assert typed("many", 400) == "many"


async def begin_trial(pilot, app, *, protocol=None, signal=None, trials="4", practice=False):
    await pilot.press("b")
    await pilot.pause()
    setup = app.screen
    assert isinstance(setup, TrialSetup)
    setup.query_one("#listener", Input).value = "lamplighter"
    setup.query_one("#trials", Input).value = trials
    if protocol:
        setup.query_one("#protocol").value = protocol
    if signal:
        setup.query_one("#signal").value = signal
    if practice:
        setup.query_one("#counts").value = "practice"
    await pilot.pause()
    setup.begin()
    await pilot.pause()


@pytest.mark.parametrize(("protocol", "answers"), [("matched-to-sample", 2), ("triangle", 3)])
def test_a_whole_blind_session(app, protocol, answers):
    async def steps(pilot):
        await begin_trial(pilot, app, protocol=protocol)
        assert isinstance(app.screen, TrialScreen)
        shown = []
        for trial in range(4):
            for key in "123":
                await pilot.press(key)
            shown.append(
                text_of(app.screen, "#trial-text").replace(f"Trial {trial + 1} ", "Trial N ")
            )
            await pilot.press(*["down"] * (1 + trial % answers), "enter")
            await pilot.pause()
        assert len(set(shown)) == 1  # no trial looks different from another
        assert isinstance(app.screen, OutcomeScreen)
        outcome = str(app.screen.query_one(Static).render())
        assert "of 4" in outcome
        assert "Seed" in outcome
        assert "no difference" not in outcome.lower()
        await pilot.press("escape")
        assert isinstance(app.screen, BenchScreen)
        assert app.engine.calls[-2][0] == "hear"  # openly again
        (loaded,) = (call for call in app.engine.calls if call[0] == "load_slots")
        assert loaded[2]  # equally loud

    drive(app, steps)
    (log,) = app.log_folder.glob("*.jsonl")
    assert not verify(log).discrepancies
    assert verify(log).outcome is not None
    records = [json.loads(line) for line in log.read_text().splitlines()]
    assert [r["record"] for r in records] == ["opening", *["answer"] * 4, "closing"]


def test_no_answer_is_given_by_accident(app):
    async def steps(pilot):
        await begin_trial(pilot, app)
        await pilot.press("enter", "down", "up", "enter")
        assert "listen to 1, 2, 3 first" in text_of(app.screen, "#trial-text")
        await pilot.press("1", "3", "enter")
        assert "listen to 2 first" in text_of(app.screen, "#trial-text")
        assert app.screen._presenter.answered == 0
        await pilot.press("2", "enter")
        assert app.screen._presenter.answered == 1
        await pilot.press("down", "enter")  # each trial anew
        assert app.screen._presenter.answered == 1

    drive(app, steps)


def test_no_answer_is_taken_while_the_device_takes_no_sound(app):
    async def steps(pilot):
        await begin_trial(pilot, app)
        await pilot.press("1", "2")
        app.engine._set(state="lost")
        await pilot.press("3", "down", "enter")
        await pilot.pause(0.4)
        text = text_of(app.screen, "#trial-text")
        assert "THE DEVICE TAKES NO SOUND" in text
        assert "listen to 1, 2, 3 first" in text
        app.engine._set(state="running")
        await pilot.press("enter")
        assert app.screen._presenter.answered == 0
        await pilot.press("1", "2", "3", "enter")
        assert app.screen._presenter.answered == 1
        assert "playing" not in text_of(app.screen, "#trial-text")  # paused after each answer
        await pilot.press("1")
        assert "volume -20 dB, playing" in text_of(app.screen, "#trial-text")

    drive(app, steps)


def test_listening_tells_the_engine_which_slot_and_to_play_and_nothing_else(app):
    """Anything else could be a cue: a jump that comes with one of the two, a volume, a pause."""

    async def steps(pilot):
        await begin_trial(pilot, app, protocol="matched-to-sample")
        for trial in range(4):
            app.engine.calls.clear()
            await pilot.press("1", "2", "3", "2", "1")
            unknown = app.screen._presenter._hidden.arrangements[trial].right
            slots = [0, 1, unknown, 1, 0]
            assert app.engine.calls == [
                call for slot in slots for call in (("hear_slot", slot), "play")
            ]
            await pilot.press("down", "enter")

    drive(app, steps)


@pytest.mark.parametrize(("signal", "words"), [("receiving", "receiving end"), ("drop", "drop")])
def test_a_trial_compares_the_signal_that_was_picked(app, signal, words):
    async def steps(pilot):
        await begin_trial(pilot, app, signal=signal)
        (loaded,) = (call for call in app.engine.calls if call[0] == "load_slots")
        assert loaded[1] == (Heard(signal, "reel"), Heard(signal, "bought"))
        names = [choice.name for choice in app.screen._presenter.plan.choices]
        assert names == [f"{words} of reel", f"{words} of bought"]

    drive(app, steps)


@pytest.mark.parametrize("certainty", ["unknown", "predicted"])
@pytest.mark.parametrize("practice", [False, True])
def test_nothing_begins_before_all_levels_are_measured(app, certainty, practice):
    async def steps(pilot):
        app.engine._set(certainty=certainty)
        await begin_trial(pilot, app, practice=practice)
        assert isinstance(app.screen, TrialSetup)
        assert text_of(app.screen, "#setup-message") == (
            "levels are still being measured; begin again in a few seconds"
        )
        assert "load_slots" not in [call[0] for call in app.engine.calls]

    drive(app, steps)
    assert not list(app.log_folder.glob("*"))


@pytest.mark.parametrize("practice", [False, True])
def test_an_answer_stops_the_sound(app, practice):
    async def steps(pilot):
        await begin_trial(pilot, app, practice=practice)
        await pilot.press("1", "2", "3", "down")
        app.engine.calls.clear()
        await pilot.press("enter")
        assert app.engine.calls == ["pause"]
        assert "-20 dB, paused" in text_of(app.screen, "#trial-text")

    drive(app, steps)


@pytest.mark.parametrize("practice", [False, True])
def test_giving_up_stops_the_sound_before_the_bench_is_heard_again(app, practice):
    async def steps(pilot):
        await begin_trial(pilot, app, practice=practice)
        await pilot.press("1")
        app.engine.calls.clear()
        await pilot.press(*["q"] * (1 if practice else 2))
        await pilot.pause()
        assert isinstance(app.screen, BenchScreen)
        assert app.engine.calls[0] == "pause"
        assert "play" not in app.engine.calls

    drive(app, steps)


def test_in_a_trial_plus_is_louder_and_minus_is_softer(app):
    async def steps(pilot):
        await begin_trial(pilot, app)
        app.engine.calls.clear()
        await pilot.press("plus", "plus", "minus")
        assert app.engine.calls == [("volume", -19.0), ("volume", -18.0), ("volume", -19.0)]
        await pilot.pause(0.3)
        assert "volume -19 dB" in text_of(app.screen, "#trial-text")

    drive(app, steps)


def test_no_trial_begins_while_an_edit_is_being_worked_out(app):
    async def steps(pilot):
        app.engine._set(editing=True)
        await begin_trial(pilot, app)
        assert isinstance(app.screen, TrialSetup)
        assert "still being worked out" in text_of(app.screen, "#setup-message")

    drive(app, steps)


def test_an_end_that_could_not_be_written_can_be_tried_again_after_an_outage(app, monkeypatch):
    """Nothing can be listened to any more then, so that nothing has to be."""

    def full(log, record):
        if record["record"] == "closing":
            raise TrialError("the disk is full")
        append(log, record)

    append = Log.append

    async def steps(pilot):
        await begin_trial(pilot, app, trials="1")
        monkeypatch.setattr(Log, "append", full)
        await pilot.press("1", "2", "3", "down", "enter")
        assert "the disk is full; Enter tries again" in text_of(app.screen, "#trial-text")
        app.engine._set(state="lost")
        await pilot.pause(0.4)
        app.engine._set(state="running")
        await pilot.press("1")
        assert "all trials are answered" in text_of(app.screen, "#trial-text")
        monkeypatch.setattr(Log, "append", append)
        await pilot.press("enter")
        await pilot.pause()
        assert isinstance(app.screen, OutcomeScreen)

    drive(app, steps)


def test_the_match_is_as_before_after_a_trial(app):
    async def steps(pilot):
        await begin_trial(pilot, app, practice=True)
        assert app.engine.status().match == "loudness"
        await pilot.press("escape")
        await pilot.pause()
        assert app.engine.status().match == "installed"

    drive(app, steps)


def test_giving_up_is_asked_twice_and_does_not_count(app):
    async def steps(pilot):
        await begin_trial(pilot, app)
        await pilot.press("1", "down", "enter", "q")
        assert isinstance(app.screen, TrialScreen)
        assert "will not count" in text_of(app.screen, "#trial-text")
        await pilot.press("escape")
        await pilot.pause()
        assert isinstance(app.screen, BenchScreen)

    drive(app, steps)


def cut_off_after_two(app, protocol="triangle"):
    """A session that ends with the application in the middle of its third trial; its log."""

    async def steps(pilot):
        await begin_trial(pilot, app, protocol=protocol)
        for _ in range(2):
            await pilot.press("1", "2", "3", "down", "enter")
        await pilot.press("2")

    drive(app, steps)
    (log,) = app.log_folder.glob("*.jsonl")
    return log


def test_a_session_that_was_cut_off_goes_on(app, again):
    log = cut_off_after_two(app)

    async def steps(pilot):
        await pilot.press("b")
        await pilot.pause()
        await pilot.press("enter")  # the first thing there is, if there is one
        await pilot.pause()
        assert isinstance(again.screen, TrialScreen)
        assert "Trial 3 of 4" in text_of(again.screen, "#trial-text")
        for _ in range(2):
            await pilot.press("1", "2", "3", "down", "enter")
        await pilot.pause()
        assert isinstance(again.screen, OutcomeScreen)
        assert str(log) in str(again.screen.query_one(Static).render())
        await pilot.press("escape", "b")
        await pilot.pause()
        assert not again.screen.query("#resume")  # it is over

    drive(again, steps)
    check = verify(log)
    assert check.outcome is not None
    assert "cut off and resumed" in check.remarks[0]


def refusal(app):
    """What the setup says when it is asked to go on."""
    said = []

    async def steps(pilot):
        await pilot.press("b")
        await pilot.pause()
        await pilot.click("#resume")
        await pilot.pause()
        assert isinstance(app.screen, TrialSetup)
        said.append(text_of(app.screen, "#setup-message"))

    drive(app, steps)
    return said[0]


def test_a_session_does_not_go_on_with_other_sound(app, again, monkeypatch):
    cut_off_after_two(app)
    monkeypatch.setattr(again.engine, "load_slots", lambda heard, *, equal: [0.0, -0.5])
    assert refusal(again) == (
        "receiving end of bought has changed since: its gain is -0.50 dB now and was +0.00 dB; "
        "that session needs the rig as it was"
    )


@pytest.mark.parametrize(("gain", "goes_on"), [(-0.02, False), (0.02, False), (0.005, True)])
def test_a_session_goes_on_only_where_gains_are_the_same_to_a_hundredth_of_a_decibel(
    app, again, monkeypatch, gain, goes_on
):
    cut_off_after_two(app)
    monkeypatch.setattr(again.engine, "load_slots", lambda heard, *, equal: [0.0, gain])

    async def steps(pilot):
        await pilot.press("b")
        await pilot.pause()
        await pilot.click("#resume")
        await pilot.pause()
        assert isinstance(again.screen, TrialScreen) == goes_on

    drive(again, steps)


def cut_off_before_an_answer(app, name, listener, programme_sha256):
    """A session of three trials that was begun and left."""
    pair = tuple(
        Compared(f"receiving end of {choice}", 0.0, "62 m", "0" * 64)
        for choice in ("reel", "bought")
    )
    plan = Plan("triangle", 3, pair, "made equally loud", "bells.wav", programme_sha256, listener)
    app.log_folder.mkdir(exist_ok=True)
    Session.start(plan, app.log_folder / name).close_log()


def offered(app):
    """What the setup offers to go on with."""
    found = []

    async def steps(pilot):
        await pilot.press("b")
        await pilot.pause()
        found.append(str(app.screen.query_one("#resume", Button).label))

    drive(app, steps)
    return found[0]


def test_of_several_sessions_the_last_on_this_programme_is_gone_on_with(app):
    here, elsewhere = sha256_of(app.source), "0" * 64
    cut_off_before_an_answer(app, "trial-1.jsonl", "first", here)
    cut_off_before_an_answer(app, "trial-2.jsonl", "second", here)
    cut_off_before_an_answer(app, "trial-3.jsonl", "third", elsewhere)
    assert offered(app).startswith("Go on with the session of second ")


def test_of_several_sessions_on_other_programmes_the_last_is_offered(app):
    cut_off_before_an_answer(app, "trial-1.jsonl", "first", "0" * 64)
    cut_off_before_an_answer(app, "trial-2.jsonl", "second", "1" * 64)
    assert offered(app).startswith("Go on with the session of second ")


def test_a_listener_may_have_a_name_that_looks_like_markup(app):
    cut_off_before_an_answer(app, "trial-1.jsonl", "[/] [b]mill[/b]", sha256_of(app.source))
    assert offered(app) == (
        "Go on with the session of [/] [b]mill[/b] that was cut off: 0 of 3 answered"
    )


def test_a_session_does_not_go_on_with_another_build(app, again):
    """Also where it is so little that its gain is the same."""
    cut_off_after_two(app)
    again.draft.change("bought", ("runs", "pond", "temperature"), "25 degC")
    said = refusal(again)
    assert said.startswith("receiving end of bought is now pond 62 m (203 ft) of 4 mm2")
    assert "at 25 degC" in said
    assert "and was pond 62 m (203 ft) of 4 mm2" in said


def test_a_session_does_not_go_on_with_another_programme(app, again):
    cut_off_after_two(app)
    sf.write(again.source, np.zeros((100, 1)), 48_000)
    assert refusal(again) == "that session was held on another programme: bells.wav"


def test_a_session_does_not_go_on_with_another_rig(app, again):
    cut_off_after_two(app)
    again.draft.rig.choices.pop("bought")
    assert refusal(again) == (
        "that session was held on another rig: it has receiving end of bought"
    )


def test_a_session_cut_off_after_its_last_answer_shows_what_it_found(app, again, monkeypatch):
    def full(log, record):
        if record["record"] == "closing":
            raise TrialError("the disk is full")
        append(log, record)

    append = Log.append

    async def steps(pilot):
        await begin_trial(pilot, app, trials="1")
        monkeypatch.setattr(Log, "append", full)
        await pilot.press("1", "2", "3", "down", "enter")
        monkeypatch.setattr(Log, "append", append)

    drive(app, steps)

    async def go_on(pilot):
        await pilot.press("b")
        await pilot.pause()
        await pilot.click("#resume")
        await pilot.pause()
        assert isinstance(again.screen, OutcomeScreen)

    drive(again, go_on)


def test_practice_tells_after_each_answer_and_writes_nothing(app):
    async def steps(pilot):
        await begin_trial(pilot, app, practice=True)
        await pilot.press("1", "2", "3", "down", "enter")
        told = text_of(app.screen, "#trial-text")
        assert "Right: in truth, the unknown is" in told or "Wrong: in truth, the unknown" in told
        await pilot.press("escape")

    drive(app, steps)
    assert not app.log_folder.exists()


def test_setup_refuses_in_one_sentence(app):
    async def steps(pilot):
        await begin_trial(pilot, app, trials="0")
        assert isinstance(app.screen, TrialSetup)
        assert "trials" in text_of(app.screen, "#setup-message")

    drive(app, steps)


def test_a_sessions_folder_that_is_a_file_is_refused_in_one_sentence(app):
    app.log_folder.write_text("no folder")

    async def steps(pilot):
        await begin_trial(pilot, app)
        assert isinstance(app.screen, TrialSetup)
        assert text_of(app.screen, "#setup-message") == (
            f"{app.log_folder}: this folder cannot be made: file exists"
        )

    drive(app, steps)
    assert app.log_folder.read_text() == "no folder"


def test_a_programme_that_has_gone_is_refused_in_one_sentence(app):
    async def steps(pilot):
        app.source.unlink()
        await begin_trial(pilot, app)
        assert isinstance(app.screen, TrialSetup)
        assert text_of(app.screen, "#setup-message") == (
            f"{app.source} cannot be read: no such file or directory"
        )

    drive(app, steps)
    assert not list(app.log_folder.glob("*"))


def test_a_cut_off_session_is_offered_and_refused_where_the_programme_has_gone(app, again):
    cut_off_after_two(app)

    async def steps(pilot):
        again.source.unlink()
        await pilot.press("b")
        await pilot.pause()
        await pilot.click("#resume")
        await pilot.pause()
        assert text_of(again.screen, "#setup-message") == (
            f"{again.source} cannot be read: no such file or directory"
        )

    drive(again, steps)


def test_a_crash_page_shows_no_value_of_a_variable(app, monkeypatch):
    """One of them could be the order of a trial."""

    def crash(screen, step):
        order = "-".join(reversed(["odd", "the", "is", "third"]))
        raise ZeroDivisionError(len(order))

    monkeypatch.setattr(TrialScreen, "action_pick", crash)

    async def steps(pilot):
        await begin_trial(pilot, app)
        await pilot.press("down")
        await pilot.pause()

    with monkeypatch.context() as patch:
        patch.setattr(app, "_print_error_renderables", lambda: None)  # it would forget them
        with pytest.raises(ZeroDivisionError):
            drive(app, steps)
    page = io.StringIO()
    for shown in app._exit_renderables:
        Console(file=page, width=200).print(shown)
    assert "ZeroDivisionError" in page.getvalue()
    assert "order = " in page.getvalue()  # the line of the program, not what came of it
    assert "third-is-the-odd" not in page.getvalue()


def test_quit(app):
    async def steps(pilot):
        await pilot.press("q")

    drive(app, steps)
    assert app.return_code == 0


# ---- curves ---------------------------------------------------------------------------------------


def test_the_frequency_axis_is_logarithmic():
    columns = columns_of(60)
    assert np.allclose(np.diff(np.log(columns)), np.log(1000) / 60)
    assert column_at(20, 60) == 0
    assert column_at(20_000, 60) == 59
    assert abs(column_at(632.5, 60) - 30) <= 1


def test_a_curve_is_drawn_where_it_is():
    levels = np.linspace(-6.0, 0.0, 54)
    lines = draw({"1": levels}, "1", None, 60, 14)
    assert lines[0].rstrip().endswith("1")  # 0 dB is top right
    assert lines[-3][6] == "1"  # -6 dB is bottom left
    assert max(len(line) for line in lines) <= 60


def test_curves_fill_their_widget(app):
    async def steps(pilot):
        drawn = app.screen.query_one(Curves).render().plain
        assert "terminals, dB" in drawn
        assert "prog|" in drawn
        assert {"1", "2", "3"} <= set(drawn)

    drive(app, steps)
