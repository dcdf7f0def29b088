"""Blind trials at the screen: setup, a session and its end, and what is never given away."""

import json

import pytest
from auralize_tui.bench import BenchScreen
from auralize_tui.outcome import OutcomeScreen, RowScreen
from auralize_tui.setup import TrialSetup
from auralize_tui.trials import TrialScreen
from textual.widgets import Static

from auralize.gains import INSTALLED, LOUDNESS, End
from auralize.trials.checking import verify
from auralize.trials.log import Log
from auralize.trials.plan import TrialError
from support.bench_app import begin_trial, drive, text_of
from support.rig_text import text

pytest.importorskip("tomlkit", reason="the bench edits with tomlkit (extra: bench)")


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
        await pilot.press("enter")
        assert "Up and down pick an answer" in text_of(app.screen, "#trial-text")
        await pilot.press("down", "up", "enter")
        assert "listen to 1, 2, 3 first" in text_of(app.screen, "#trial-text")
        await pilot.press("1", "3", "enter")
        assert "listen to 2 first" in text_of(app.screen, "#trial-text")
        assert app.screen._sitting.session.answered == 0
        await pilot.press("2", "enter")
        assert app.screen._sitting.session.answered == 1
        await pilot.press("down", "enter")  # each trial anew
        assert app.screen._sitting.session.answered == 1

    drive(app, steps)


def test_no_answer_is_taken_while_the_device_takes_no_sound(app):
    async def steps(pilot):
        await begin_trial(pilot, app)
        await pilot.press("1", "2")
        app.engine.now(state="lost")
        await pilot.press("3", "down", "enter")
        await pilot.pause(0.4)
        text = text_of(app.screen, "#trial-text")
        assert "THE DEVICE TAKES NO SOUND" in text
        assert "listen to 1, 2, 3 first" in text
        app.engine.now(state="running")
        await pilot.press("enter")
        assert app.screen._sitting.session.answered == 0
        await pilot.press("1", "2", "3", "enter")
        assert app.screen._sitting.session.answered == 1
        assert "playing" not in text_of(app.screen, "#trial-text")  # paused after each answer
        await pilot.press("1")
        assert "volume -20 dB, playing" in text_of(app.screen, "#trial-text")

    drive(app, steps)


def test_what_was_asked_for_and_did_not_sound_is_asked_for_again(app):
    """At the end of the programme, whatever was pressed there; and the screen says why it is still."""

    async def steps(pilot):
        await begin_trial(pilot, app)
        await pilot.press("1", "2")
        app.engine.slot_heard = lambda: 0.0
        await pilot.press("3")
        app.engine.now(playing=False, ended=True)
        await pilot.press("down", "enter")
        text = text_of(app.screen, "#trial-text")
        assert "listen to 3 first, each for a moment while it plays" in text
        assert "the programme has ended; listening begins it again" in text
        assert app.screen._sitting.session.answered == 0
        del app.engine.slot_heard
        app.engine.now(ended=False)
        await pilot.press("3", "enter")
        assert app.screen._sitting.session.answered == 1

    drive(app, steps)


def test_listening_tells_the_engine_which_slot_and_to_play_and_nothing_else(app):
    """Anything else could be a cue: a jump that comes with one of the two, a volume, a pause."""

    async def steps(pilot):
        await begin_trial(pilot, app, protocol="matched-to-sample")
        for trial in range(4):
            app.engine.calls.clear()
            await pilot.press("1", "2", "3", "2", "1")
            unknown = app.screen._sitting.session._hidden.arrangements[trial].right
            slots = [0, 1, unknown, 1, 0]
            assert app.engine.calls == [
                call for slot in slots for call in (("hear_slot", slot), "play")
            ]
            await pilot.press("down", "enter")

    drive(app, steps)


@pytest.mark.parametrize(
    ("signal", "across", "words"),
    [
        ("receiving", "both", "receiving end"),
        ("drop", "both", "drop"),
        ("drop", "plus", "drop over plus"),
        ("drop", "minus", "drop over minus"),
    ],
)
def test_a_trial_compares_the_signal_that_was_picked(app, signal, across, words):
    async def steps(pilot):
        await begin_trial(pilot, app, signal=signal, across=across)
        (loaded,) = (call for call in app.engine.calls if call[0] == "load_slots")
        assert loaded[1] == (End(signal, "reel", across), End(signal, "bought", across))
        names = [choice.name for choice in app.screen._sitting.session.plan.choices]
        assert names == [f"{words} of reel", f"{words} of bought"]

    drive(app, steps)


@pytest.mark.parametrize("certainty", ["unknown", "predicted"])
@pytest.mark.parametrize("practice", [False, True])
def test_nothing_begins_before_all_levels_are_measured(app, certainty, practice):
    async def steps(pilot):
        app.engine.now(certainty=certainty)
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
        app.engine.now(editing=True)
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
        app.engine.now(state="lost")
        await pilot.pause(0.4)
        app.engine.now(state="running")
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
        assert app.engine.status().match == LOUDNESS
        await pilot.press("escape")
        await pilot.pause()
        assert app.engine.status().match == INSTALLED

    drive(app, steps)


def test_giving_up_is_asked_twice_and_does_not_count(app):
    async def steps(pilot):
        await begin_trial(pilot, app)
        await pilot.press("1", "2", "3", "down", "enter", "q")
        assert isinstance(app.screen, TrialScreen)
        assert "will not count" in text_of(app.screen, "#trial-text")
        await pilot.press("1")  # goes on, and is asked anew
        assert "will not count" not in text_of(app.screen, "#trial-text")
        await pilot.press("q")
        assert isinstance(app.screen, TrialScreen)
        await pilot.press("escape")
        await pilot.pause()
        assert isinstance(app.screen, BenchScreen)

    drive(app, steps)
    (log,) = app.log_folder.glob("*.jsonl")
    check = verify(log)
    assert (check.state, check.answered, check.outcome) == ("given up", 1, None)


def test_an_end_that_cannot_be_written_is_told_and_can_be_tried_again(app, monkeypatch):
    def full(log, record):
        raise TrialError("the disk is full")

    append = Log.append

    async def steps(pilot):
        await begin_trial(pilot, app)
        monkeypatch.setattr(Log, "append", full)
        await pilot.press("q", "q")
        assert isinstance(app.screen, TrialScreen)
        assert "Not given up: the disk is full" in text_of(app.screen, "#trial-text")
        monkeypatch.setattr(Log, "append", append)
        await pilot.press("q", "q")
        await pilot.pause()
        assert isinstance(app.screen, BenchScreen)

    drive(app, steps)


@pytest.mark.parametrize(("count", "opens"), [(1, False), (2, True)])
def test_a_blind_trial_needs_two_choices(opened, count, opens):
    rig = text('title = "A run"', choices="".join(f"[choices.{n}]\n" for n in "ab"[:count]))
    app = opened(rig)

    async def steps(pilot):
        await pilot.press("b")
        await pilot.pause()
        assert isinstance(app.screen, TrialSetup) == opens
        if not opens:
            said = "A blind trial needs two choices; this rig has one"
            assert text_of(app.screen, "#message") == said

    drive(app, steps)


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


@pytest.mark.parametrize(("pins", "second"), [([], "reel"), (["3", "p"], "beams")])
def test_setup_begins_with_what_is_heard(app, pins, second):
    async def steps(pilot):
        await pilot.press(*pins, "2", "d", "c", "b")
        await pilot.pause()
        picked = {
            name: app.screen.query_one(f"#{name}").value for name in ("first", "second", "signal")
        }
        assert picked == {"first": "bought", "second": second, "signal": ("drop", "plus")}
        assert any(app.source.name in str(one.render()) for one in app.screen.query(Static))

    drive(app, steps)


@pytest.mark.parametrize("practice", [False, True])
def test_what_is_compared_on_what_and_by_whom_stands_on_every_screen(app, practice):
    question = f"receiving end of reel against receiving end of bought, made equally loud; {app.source.name}"

    async def steps(pilot):
        await begin_trial(pilot, app, trials="1", practice=practice)
        told = text_of(app.screen, "#trial-text")
        assert question in told
        assert practice or "Trial 1 of 1: lamplighter" in told
        await pilot.press("1", "2", "3", "down", "enter")
        await pilot.pause()
        if not practice:
            outcome = str(app.screen.query_one(Static).render())
            assert f"lamplighter: {question}" in outcome
            assert "How small the difference is: equally loud, bought gives at most" in outcome

    drive(app, steps)


def test_a_listener_can_go_back_and_listen_to_a_loop(app):
    """By the programme, not by what is heard: the same keys do the same whatever is behind a number."""

    async def steps(pilot):
        await begin_trial(pilot, app)
        await pilot.press("1")
        app.engine.calls.clear()
        await pilot.press("left", "right", "l", "right")
        assert "Loop from 0:12.5; l again marks the end" in text_of(app.screen, "#trial-text")
        await pilot.press("l")
        assert app.engine.calls == [
            ("seek", 7.5),
            ("seek", 12.5),
            ("seek", 17.5),
            ("loop", (12.5, 17.5)),
        ]
        await pilot.press("2")
        assert "playing 0:17.5 of 0:24.0, loop 0:12.5 to 0:17.5" in text_of(
            app.screen, "#trial-text"
        )
        await pilot.press("o", "m", "d", "up")  # keys of the bench alone
        assert not [
            c for c in app.engine.calls if c == "next_device" or c[0] in ("match", "hear", "volume")
        ]

    drive(app, steps)


async def _answer_all(pilot, trials):
    for _ in range(trials):
        await pilot.press("1", "2", "3", "down", "enter")
        await pilot.pause()


def test_a_row_of_listeners_is_told_when_the_last_one_is_done(app):
    async def steps(pilot):
        await begin_trial(pilot, app, trials="2", listeners="2")
        assert "Trial 1 of 2: lamplighter, listener 1 of 2" in text_of(app.screen, "#trial-text")
        await _answer_all(pilot, 2)
        assert isinstance(app.screen, RowScreen)
        told = text_of(app.screen, "#row-text")
        assert "What came out is told when the last one is done" in told
        assert "Right answers" not in told
        await pilot.press(*"lamplighter", "enter")
        assert "has had a turn in this row" in text_of(app.screen, "#row-message")
        app.screen.query_one("#next").value = "ferryman"
        await pilot.press("enter")
        await pilot.pause()
        assert "Trial 1 of 2: ferryman, listener 2 of 2" in text_of(app.screen, "#trial-text")
        await _answer_all(pilot, 2)
        told = text_of(app.screen, "#row-text")
        assert "lamplighter: " in told
        assert "of 2 right" in told
        assert "ferryman: " in told
        assert "All trials are taken as independent" in told
        assert "How small the difference is" in told
        await pilot.press("escape")
        await pilot.pause()
        assert isinstance(app.screen, BenchScreen)

    drive(app, steps)
    assert len(list(app.log_folder.glob("*.jsonl"))) == 2


def test_a_row_that_ends_early_says_who_is_missing(app):
    async def steps(pilot):
        await begin_trial(pilot, app, trials="1", listeners="3")
        await _answer_all(pilot, 1)
        app.screen.query_one("#next").value = "ferryman"
        await pilot.press("enter")
        await pilot.pause()
        await _answer_all(pilot, 1)
        await pilot.press("escape")
        assert "once more ends the row" in text_of(app.screen, "#row-message")
        await pilot.press("escape")
        assert "1 more listener was to follow" in text_of(app.screen, "#row-text")
        await pilot.press("escape")
        await pilot.pause()
        assert isinstance(app.screen, BenchScreen)

    drive(app, steps)


@pytest.mark.parametrize("typed", ["0", "", "1001"])
def test_a_row_that_cannot_be_is_refused_in_one_sentence(app, typed):
    async def steps(pilot):
        await begin_trial(pilot, app, listeners=typed)
        assert isinstance(app.screen, TrialSetup)
        assert text_of(app.screen, "#setup-message").startswith(
            "listeners in a row: from 1 (alone) to 1000"
        )

    drive(app, steps)
    assert not list(app.log_folder.glob("*"))
